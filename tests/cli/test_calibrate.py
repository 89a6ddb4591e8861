"""Fitting the tool to a shop on the command line, with painted plates whose colours are the truth."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from shutil import copytree, rmtree

import cv2
import numpy as np
import pytest

from prepcheck import tasks
from prepcheck.evaluate.fit_shop_read import read_labelled
from prepcheck.settings import Settings
from prepcheck.tasks.shop_fit import keep_fit
from prepcheck.terms import State
from tests import painted
from tests.command import photo_bytes, write_plate
from tests.store.logs import copy_log

AT = datetime(2026, 11, 28, 9, 0, tzinfo=UTC)
SETTINGS = Settings()
MODEL = painted.model(sure=0.98)
FIT = ("calibrate", "fit", "shop", "--person", "Rune")


@pytest.fixture(autouse=True)
def too_sure(monkeypatch):
    """A model that is surer of what it says than this shop bears out."""
    for place in (
        "prepcheck.looking.look.load_model",
        "prepcheck.surface.load_model",
        "prepcheck.tasks.shop_fit.load_model",
    ):
        monkeypatch.setattr(place, lambda name=None: MODEL)


@pytest.fixture(scope="module")
def fitted_once(tmp_path_factory):
    """A store with a fit in use, made by the use case that the command calls."""
    folder = tmp_path_factory.mktemp("fitted")
    brush(folder)
    store, _ = tasks.open_log(folder / "store", SETTINGS)
    keep_fit(store, read_labelled([folder / "shop"], MODEL, SETTINGS), MODEL, SETTINGS, person="Rune", at=AT)
    return folder / "store"


@pytest.fixture
def fitted(fitted_once, command):
    """A copy of that store where the command finds it."""
    copy_log(fitted_once, copytree(fitted_once, command.folder / "store"))


def brush(folder, name="shop", photos=13, wrong=0.25, start=0):
    """Make a folder of brushed plates; of what the tool calls bright metal, people call a share oxide."""
    for part in ("images", "states"):
        (folder / name / part).mkdir(parents=True, exist_ok=True)
    for number in range(start, start + photos):
        rng = np.random.default_rng(number)
        spot = (int(rng.integers(90, 230)), int(rng.integers(70, 170)), int(rng.integers(40, 65)))
        states = painted.plate((State.OXIDE, spot[0], spot[1], 20), size=(240, 320), spot=spot)
        (folder / name / f"images/{number}.jpg").write_bytes(photo_bytes(states))
        brushed = np.where(np.isin(states, (State.BRIGHT, State.OXIDE)), states, 255).astype(np.uint8)
        brushed[(rng.random(states.shape) < wrong) & (brushed == State.BRIGHT)] = State.OXIDE
        cv2.imwrite(str(folder / name / f"states/{number}.png"), brushed)


def test_a_fit_that_helps_is_taken_shown_used_and_taken_back(command):
    brush(command.folder)
    plate = write_plate(command.folder / "plate.jpg")
    done = command(*FIT)
    assert done.code == 0
    assert "Taken into use: answers in this log are read with this shop's own fit of" in done.out
    shown = command("calibrate", "show")
    assert (shown.code, "File, key and signature are those that were logged" in shown.out) == (0, True)
    fit = json.loads(command("calibrate", "show", "--json").out)
    line = command.inspect(plate).line
    assert line["origin"]["shop_fit"] == fit["event"]["entry"]["sha256"]
    table = command("inspect", plate).out
    assert f"Read with this shop's own fit of {line['origin']['shop_fit_made_on']}." in table
    assert command("calibrate", "back", "--person", "Rune", "--reason", "new lamps").code == 0
    assert command.inspect(plate).line["origin"]["shop_fit"] is None
    assert "No fit is in use" in command("calibrate", "show").out


def test_a_fit_that_does_not_help_is_refused_with_reasons_and_evidence(command):
    brush(command.folder, wrong=0.0)
    done = command(*FIT)
    assert done.code == 1
    assert "Refused, nothing changes:\n  on photos that it has not seen, wrongly bright rises from 0.0% to" in done.out
    (kept,) = (command.folder / "store/shop-fits").glob("*.json")
    assert kept.name in done.out
    shown = command("calibrate", "show").out
    assert "No fit is in use" in shown
    assert "Rune: shop's own fit of palette refused; on photos that it has not seen" in shown


def test_json_tells_the_whole_evidence(command):
    brush(command.folder, photos=4)
    done = command(*FIT, "--json")
    told = json.loads(done.out)
    assert (done.code, len(told["photos"])) == (1, 4)
    assert told["refused"][0].startswith("4 photos that do not show the same, at least 10")
    assert {row["name"] for row in told["rows"]} >= {"wrongly bright", "residue found", "log loss", "coverage"}


def test_a_changed_file_is_told_by_show_and_by_each_answer(command, fitted):
    (kept,) = (command.folder / "store/shop-fits").glob("*.json")
    kept.chmod(0o644)
    kept.write_bytes(kept.read_bytes() + b"\n")
    shown = command("calibrate", "show")
    assert (shown.code, "NOT USED: its file is not the one that was logged" in shown.out) == (1, True)
    table = " ".join(command("inspect", write_plate(command.folder / "plate.jpg")).out.split())
    assert "Flag: the shop's own fit was not used (its file is not the one that was logged)" in table


def test_drift_says_nothing_against_labels_like_those_fitted_and_much_against_others(command, fitted):
    brush(command.folder, "same", start=100)
    same = command("calibrate", "drift", "same")
    assert (same.code, "Nothing here speaks against it" in same.out) == (0, True)
    brush(command.folder, "other", wrong=0.7, start=200)
    other = command("calibrate", "drift", "other", "--json")
    assert other.code == 1
    assert {one["name"]: one["speaks_against"] for one in json.loads(other.out)}["lean"]


def test_drift_without_anything_recent_says_so(command, fitted):
    assert "Nothing could be checked" in command("calibrate", "drift").out


def test_drift_and_back_need_a_fit_in_use(command):
    command.open_job()
    assert "no fit is in use" in command("calibrate", "drift").complaint
    assert "no fit is in use" in command("calibrate", "back", "--person", "Rune", "--reason", "x").complaint


def test_a_folder_without_labels_is_wrong_use(command):
    (command.folder / "shop").mkdir()
    done = command(*FIT)
    assert (done.code, "holds no counted and no brushed photos" in done.complaint) == (2, True)


def test_a_fit_whose_files_are_gone_is_not_used_silently(command, fitted):
    rmtree(command.folder / "store/shop-fits")
    assert [flag["code"] for flag in command.inspect(write_plate(command.folder / "plate.jpg")).line["flags"]].count(
        "shop_fit_not_used"
    ) == 1


def test_a_batch_with_the_log_is_read_with_its_fit(command, fitted, monkeypatch):
    seen = []
    monkeypatch.setattr("prepcheck.cli.batch._look", lambda *call, **more: seen.append(call[3]) or 0)
    (kept,) = (command.folder / "store/shop-fits").glob("*.json")
    assert command("batch", "photos", "--out", "table").code == 0
    assert seen[0].origin.shop_fit.sha256 == kept.stem
