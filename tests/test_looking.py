"""Looking at one photo: what a call depends on, where it is logged, what is told when something fails."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from prepcheck import looking, tasks
from prepcheck.archive import Archive
from prepcheck.errors import UnknownRecord, WrongUse
from prepcheck.inspection import Outlines
from prepcheck.looking import Look, Looked, Place, look_at, place_in_log
from prepcheck.record import BrokenRecord, Record
from prepcheck.settings import Settings
from prepcheck.store.store import Store
from prepcheck.surface import Model
from prepcheck.terms import Standing, State
from tests import painted
from tests.command import two_spots, write_plate
from tests.store.records import AT, new_log

SETTINGS = Settings()
LOOK = Look(SETTINGS, painted.model())
SQUARE = np.array([[130.0, 90.0], [190.0, 90.0], [190.0, 150.0], [130.0, 150.0]])


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    return write_plate(tmp_path / "plate.jpg", (State.OXIDE, 160, 120, 30))


@pytest.fixture
def log(tmp_path: Path) -> tuple[Store, Archive]:
    (tmp_path / "store").mkdir()
    return new_log(tmp_path / "store")


@pytest.fixture
def place(log: tuple[Store, Archive]) -> Place:
    return Place(*log, "J-0001", "1", 1, "Ida")


def record(looked: Looked) -> Record:
    assert isinstance(looked.line, Record)
    return looked.line


# ---- what the answer depends on


def test_nothing_more_than_photo_model_and_settings_has_no_hash() -> None:
    assert LOOK.inputs_sha256() == ""


@pytest.mark.parametrize(
    "changed",
    [
        {"mm_per_px": 0.2},
        {"outlines": Outlines()},
        {"outlines": Outlines(drawn=(SQUARE,))},
        {"outlines": Outlines(refused={1: "primer"})},
        {"outlines": Outlines(drawn=(SQUARE,)), "mm_per_px": 0.2},
    ],
)
def test_each_other_input_changes_the_hash(changed: dict[str, object]) -> None:
    others = [
        {"mm_per_px": 0.3},
        {"outlines": Outlines(drawn=(SQUARE + 1,))},
        {"outlines": Outlines(refused={1: "oil"})},
    ]
    hashes = {dataclasses.replace(LOOK, **told).inputs_sha256() for told in (changed, *others)}  # type: ignore[arg-type]
    assert len(hashes) == 4


def test_keeping_the_position_changes_no_hash() -> None:
    assert dataclasses.replace(LOOK, keep_position=True).inputs_sha256() == ""


def test_a_clip_over_the_limit_is_told_with_what_to_film_instead(tmp_path: Path) -> None:
    path = tmp_path / "sweep.mp4"
    path.write_bytes(bytes(2000))
    strict = SETTINGS.model_copy(update={"clip": SETTINGS.clip.model_copy(update={"max_bytes": 1000})})
    looked = look_at(path, dataclasses.replace(LOOK, settings=strict), None, AT)
    assert looked.error is not None
    assert "Film the spot for some 5 seconds while the torch moves, 1080p" in looked.error.message


# ---- before work starts


@pytest.mark.parametrize("scale", [0.0, -1.0, 1e-5, 101.0, float("nan"), float("inf")])
def test_a_scale_out_of_range_is_refused(scale: float) -> None:
    with pytest.raises(WrongUse, match=r"between 0\.0001 and 100"):
        looking.prepare(mm_per_px=scale)


def test_outlines_for_two_photos_are_refused(tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="outlines belong to one photo"):
        looking.prepare(outline_file=tmp_path / "o.json", photos=2)


ALL: dict[str, object] = {"job": "J-0001", "spot": "1", "pass_no": 1, "person": "Ida"}
NONE = dict.fromkeys(ALL)


def test_no_job_means_no_place_in_the_log(tmp_path: Path) -> None:
    assert place_in_log(tmp_path, SETTINGS, **NONE) is None  # type: ignore[arg-type]


@pytest.mark.parametrize("missing", ALL)
def test_each_part_of_a_place_is_needed(tmp_path: Path, missing: str) -> None:
    option = f"--{missing.replace('_', '-')}"
    with pytest.raises(WrongUse, match=f"a log entry needs {option} too"):
        place_in_log(tmp_path, SETTINGS, **{**ALL, missing: None})  # type: ignore[arg-type]


def test_no_log_is_made_by_logging_a_photo(tmp_path: Path) -> None:
    with pytest.raises(UnknownRecord, match="holds no log yet"):
        place_in_log(tmp_path / "new", SETTINGS, **ALL)  # type: ignore[arg-type]
    assert not (tmp_path / "new").exists()


def test_a_job_that_is_not_there_is_named(tmp_path: Path, log: tuple[Store, Archive]) -> None:
    with pytest.raises(UnknownRecord, match="J-0077: no such job"):
        place_in_log(tmp_path / "store", SETTINGS, **{**ALL, "job": "77"})  # type: ignore[arg-type]


def test_a_place_is_found(tmp_path: Path, log: tuple[Store, Archive]) -> None:
    found = place_in_log(tmp_path / "store", SETTINGS, **ALL)  # type: ignore[arg-type]
    assert found is not None
    assert (found.job, found.spot, found.pass_no, found.person) == ("J-0001", "1", 1, "Ida")


# ---- one photo


def test_an_answer_comes_with_the_inspection_behind_it(photo: Path) -> None:
    looked = look_at(photo, LOOK, None, AT)
    assert looked.inspection is not None
    assert (record(looked).standing, looked.exit_code, looked.error) == (Standing.RESIDUE_LEFT, 1, None)


def test_a_clean_photo_exits_with_nought(tmp_path: Path) -> None:
    assert look_at(write_plate(tmp_path / "clean.jpg"), LOOK, None, AT).exit_code == 0


def test_a_persons_worse_answer_asks_for_a_person(tmp_path: Path) -> None:
    look = dataclasses.replace(LOOK, outlines=Outlines(drawn=(np.array([[5.0, 5.0], [60.0, 5.0], [60.0, 60.0]]),)))
    looked = look_at(write_plate(tmp_path / "clean.jpg"), look, None, AT)
    assert (record(looked).standing, looked.exit_code) == (Standing.BRIGHT, 1)


def test_a_file_that_cannot_be_read_is_told_not_raised(tmp_path: Path) -> None:
    looked = look_at(tmp_path / "none.jpg", LOOK, None, AT)
    assert isinstance(looked.line, BrokenRecord)
    assert (looked.line.error.code, looked.exit_code) == ("unreadable", 3)


def test_a_net_that_stumbles_is_told_not_raised(photo: Path) -> None:
    class Stumbling(painted.PaletteNet):
        def forward(self):  # type: ignore[no-untyped-def]
            return np.full((1, 8, 4, 4), np.nan, np.float32)

    look = Look(SETTINGS, Model(painted.model().origin, Stumbling()))
    looked = look_at(photo, look, None, AT)
    assert isinstance(looked.line, BrokenRecord)
    assert (looked.line.error.code, looked.exit_code) == ("model_fault", 3)


def test_a_logged_answer_says_where(photo: Path, place: Place) -> None:
    looked = look_at(photo, LOOK, place, AT)
    assert looked.logged is not None
    assert (looked.logged.inspection, looked.logged.job, looked.logged.outline) == (1, "J-0001", 1)


def test_an_equal_question_is_answered_from_the_log(photo: Path, place: Place) -> None:
    fresh = look_at(photo, LOOK, place, AT)
    again = look_at(photo, LOOK, place, AT)
    assert again.inspection is None
    assert again.line == fresh.line


STRICTER = SETTINGS.model_copy(update={"score": SETTINGS.score.model_copy(update={"residue_limit": 0.04})})
OTHER_MODEL = Model(dataclasses.replace(LOOK.model.origin, sha256="3" * 64), LOOK.model.net)


@pytest.mark.parametrize(
    "changed",
    [{"mm_per_px": 0.2}, {"outlines": Outlines()}, {"model": OTHER_MODEL}, {"settings": STRICTER}],
    ids=["scale", "outlines", "model", "settings"],
)
def test_another_question_is_computed(photo: Path, place: Place, changed: dict[str, object]) -> None:
    look_at(photo, LOOK, place, AT)
    other = dataclasses.replace(LOOK, **changed)  # type: ignore[arg-type]
    assert look_at(photo, other, place, AT).inspection is not None


def test_maps_need_the_inspection_even_of_a_known_answer(photo: Path, place: Place) -> None:
    look_at(photo, LOOK, place, AT)
    assert look_at(photo, LOOK, place, AT, keep_maps=True).inspection is not None


def test_an_answer_whose_log_failed_is_told_all_the_same(photo: Path, place: Place) -> None:
    place.archive.folder.write_text("a file in the place of the folder")
    looked = look_at(photo, LOOK, place, AT)
    assert (record(looked).standing, looked.logged, looked.exit_code) == (Standing.RESIDUE_LEFT, None, 3)
    assert tasks.job_story(place.store, "1").spots == ()


def test_the_named_outline_is_the_jobs_spot(tmp_path: Path, place: Place) -> None:
    two = two_spots(tmp_path / "two.jpg")
    looked = look_at(two, LOOK, dataclasses.replace(place, outline=2), AT)
    assert looked.logged is not None
    assert (looked.logged.outline, looked.logged.not_assigned) == (2, (1,))
