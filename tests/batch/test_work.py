"""One task: a photo in, plain data out, faults told and never raised."""

from __future__ import annotations

import hashlib
import pickle

import cv2
import numpy as np
import pytest

from prepcheck.batch.sources import Folder, Item
from prepcheck.batch.work import LookSpec, PhotoTask, start_worker, work_on
from prepcheck.errors import ModelFault
from prepcheck.inspection import settings_sha256
from prepcheck.looking import Look
from prepcheck.record import LINE, BrokenRecord, Record
from prepcheck.settings import Settings
from prepcheck.surface.shop_fit import ShopFit
from tests import painted
from tests.batch.small import MOST, SPEC, plate

pytestmark = pytest.mark.usefixtures("palette_workers")


def task(folder, data=None, name="b/a.jpg", **changes):
    if data is not None:
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(data)
    return PhotoTask(7, Item(name), Folder(folder, MOST), changes.pop("spec", SPEC), **changes)


def test_the_answer_is_that_of_an_inspection(tmp_path):
    data = plate(12)
    done = work_on(task(tmp_path, data))
    line = LINE.validate_json(done.line)
    assert isinstance(line, Record)
    assert (done.number, done.sha256, line.standing) == (7, hashlib.sha256(data).hexdigest(), "residue left")


def test_the_line_has_the_name_with_its_folders(tmp_path):
    line = LINE.validate_json(work_on(task(tmp_path, plate(0), "b/s\udcff.jpg")).line)
    assert line.photo.name == "b/s\\udcff.jpg"


def test_there_is_a_small_picture(tmp_path):
    small = cv2.imdecode(np.frombuffer(work_on(task(tmp_path, plate(12))).thumbnail, np.uint8), cv2.IMREAD_COLOR)
    assert small.shape == (240, 320, 3)


def test_a_damaged_photo_is_told_with_its_hash(tmp_path):
    done = work_on(task(tmp_path, b"\xff\xd8\xff nothing"))
    assert (done.error, len(done.sha256), done.thumbnail) == ("damaged_photo", 64, b"")


def test_a_photo_that_is_gone_is_told_without_hash_so_that_it_is_tried_again(tmp_path):
    done = work_on(task(tmp_path))
    line = LINE.validate_json(done.line)
    assert isinstance(line, BrokenRecord)
    assert (done.error, done.sha256, line.photo.name) == ("unreadable", "", "b/a.jpg")


def test_bytes_that_are_known_are_not_looked_at(tmp_path, monkeypatch):
    monkeypatch.setattr(Look, "inspect", None)
    data = plate(0)
    sha256 = hashlib.sha256(data).hexdigest()
    done = work_on(task(tmp_path, data, known=frozenset({sha256})))
    assert (done.sha256, done.line, done.error) == (sha256, "", "")


def test_a_task_can_carry_its_photo_to_where_the_source_is_not(tmp_path):
    carrying = task(tmp_path, plate(0)).carrying()
    (tmp_path / "b/a.jpg").unlink()
    assert work_on(pickle.loads(pickle.dumps(carrying))).error == ""


def test_a_task_whose_photo_is_gone_carries_nothing(tmp_path):
    assert task(tmp_path).carrying().files is None


def test_another_model_on_the_worker_is_told_and_tried_again(tmp_path):
    other = LookSpec.of(Look(Settings(), painted.model(), None))
    spec = LookSpec(other.settings, type(other.origin)("palette", "2" * 64, 0.5, 0.5, 0.0))
    done = work_on(task(tmp_path, plate(0), spec=spec))
    assert (done.error, done.sha256) == (ModelFault.code, "")


def test_a_shops_fit_goes_with_the_look():
    model = painted.model()
    fitted = model.origin.fitted(ShopFit(0.9, 0.1, "3" * 64))
    look = Look(Settings(), type(model)(fitted, model.net), None)
    spec = pickle.loads(pickle.dumps(LookSpec.of(look)))
    assert spec.look().model.origin == fitted
    assert spec.key.settings_sha256 == settings_sha256(look.settings, look.model)


def test_a_stated_scale_changes_the_key_and_nothing_else_of_it():
    first, second = SPEC.key, SPEC.stating(0.5).key
    assert (first.text == second.text, first.settings_sha256 == second.settings_sha256) == (False, True)
    assert SPEC.stating(None) is SPEC


def test_a_worker_has_one_thread():
    before = cv2.getNumThreads()
    try:
        start_worker()
        assert cv2.getNumThreads() == 1
    finally:
        cv2.setNumThreads(before)
