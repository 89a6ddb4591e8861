"""Hatches show only what the logged answer rested on: same program, model, settings, same spots."""

import io

import numpy as np
import pytest
from PIL import Image

from prepcheck.errors import ModelFault
from prepcheck.inspection import inspect
from prepcheck.photo import from_bytes
from prepcheck.record import record_of
from prepcheck.report.job.again import Again
from prepcheck.report.job.build import report_of
from prepcheck.report.job.content import Strip
from prepcheck.report.job.pictures import picture_of
from prepcheck.settings import Settings
from prepcheck.terms import State
from tests import painted
from tests.command import photo_bytes
from tests.report.job import made

DATA = photo_bytes(painted.plate((2, 160, 120, 24), size=(240, 320), spot=(160, 120, 80)))


@pytest.fixture(scope="module")
def record():
    return record_of(
        inspect(from_bytes(DATA, "plate.jpg", Settings()), painted.model(), Settings(), stated_mm_per_px=0.5)
    )


def again(load=painted.model, photo=lambda sha256: DATA):
    return Again(photo, load, Settings())


def test_the_states_of_the_answer_come_back(record):
    states = again()(record)
    assert (states == State.OXIDE).mean() == pytest.approx(np.pi * 24**2 / (240 * 320), rel=0.2)  # a disc of radius 24


def test_a_photo_is_looked_at_once(record):
    loaded = []
    look = again(load=lambda: loaded.append(1) or painted.model())
    assert look(record) is look(record)
    assert len(loaded) == 1


@pytest.mark.parametrize("changed", ["version", "model_sha256", "settings_sha256"])
def test_another_program_model_or_setting_gives_no_hatches(record, changed):
    origin = record.origin.model_copy(update={changed: "0" * 64})
    assert again()(record.model_copy(update={"origin": origin})) is None


def test_spots_that_come_out_otherwise_give_no_hatches(record):
    (spot,) = record.spots
    other = record.model_copy(update={"spots": [spot.model_copy(update={"area_px": 1})]})
    assert again()(other) is None


def test_a_model_that_is_not_there_gives_no_hatches(record):
    def gone():
        raise ModelFault("is not there", "Reinstall prepcheck", "m")

    assert again(load=gone)(record) is None


def test_bytes_that_cannot_be_read_give_no_hatches(record):
    assert again(photo=lambda sha256: b"nothing")(record) is None


def test_hatches_are_drawn_where_the_states_are(record):
    plain, hatched = (
        np.asarray(Image.open(io.BytesIO(picture_of(DATA, "p.jpg", record, "c", "a", states=states).jpeg)), int)
        for states in (None, again()(record))
    )
    changed = np.abs(plain - hatched).max(axis=2) > 60
    y, x = np.nonzero(changed)
    assert changed.any()
    assert np.hypot(x - 160, y - 120).max() < 80  # nothing outside the spot


def test_the_report_hatches_with_the_states_it_is_given():
    def whole(record):
        return np.full((record.photo.height // 4, record.photo.width // 4), State.OXIDE, np.uint8)

    def first(report):
        return next(b for s in report.sections for b in s.blocks if isinstance(b, Strip)).pictures[0].jpeg

    assert first(report_of(made.told(states=whole))) != first(report_of(made.told()))
