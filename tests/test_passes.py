"""A photo of a later pass is compared with the passes before, from the archive."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from prepcheck import light_set, passes, tasks
from prepcheck.errors import UnknownRecord
from prepcheck.looking import Look, Looked, Place, look_at
from prepcheck.passes import CHANGES, spot_history
from prepcheck.photo.align import Alignment, NotAligned, Ready
from prepcheck.record import Record, SinceLastPass
from prepcheck.settings import Settings
from prepcheck.terms import State
from tests import painted
from tests.command import two_spots, write_plate
from tests.store.records import AT, new_log

SETTINGS = Settings()
LOOK = Look(SETTINGS, painted.model(), mm_per_px=0.4)
OXIDE = (State.OXIDE, 160, 120, 20)
Log = Callable[..., Looked]


@pytest.fixture(autouse=True)
def aligned(monkeypatch: pytest.MonkeyPatch) -> None:
    """Makes every photo lie on every other."""
    lying = Alignment(np.eye(3), 0.4, 80, "features")
    monkeypatch.setattr(passes, "align", lambda *_: lying)
    monkeypatch.setattr(light_set, "align", lambda *_: lying)


@pytest.fixture
def place(tmp_path: Path) -> Place:
    (tmp_path / "store").mkdir()
    return Place(*new_log(tmp_path / "store"), "J-0001", "seam", 1, "Ida")


@pytest.fixture
def log(place: Place, tmp_path: Path) -> Log:
    """Logs a painted plate with patches as pass `pass_no` of the spot."""

    def logged(pass_no: int, *patches: tuple[State, int, int, int], **changes: object) -> Looked:
        path = write_plate(tmp_path / f"pass {pass_no}.jpg", *patches)
        return look_at(path, LOOK, dataclasses.replace(place, pass_no=pass_no, **changes), AT)  # type: ignore[arg-type]

    return logged


def unaligned(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(passes, "align", lambda *_: NotAligned("too few places look the same in both"))


def record(looked: Looked) -> Record:
    assert looked.error is None, looked.error
    assert isinstance(looked.line, Record)
    return looked.line


def since(looked: Looked) -> SinceLastPass:
    told = record(looked).since_last_pass
    assert told is not None
    return told


def shares(looked: Looked) -> dict[str, float]:
    told = since(looked).shares
    assert told is not None
    return told


def flags(looked: Looked) -> set[str]:
    return {flag.code for flag in record(looked).flags}


# ---- what changed


def test_the_first_pass_has_nothing_before_it(log: Log) -> None:
    assert record(log(1, OXIDE)).since_last_pass is None


def test_a_photo_that_is_not_logged_is_not_compared(log: Log, tmp_path: Path) -> None:
    log(1, OXIDE)
    assert record(look_at(tmp_path / "pass 1.jpg", LOOK, None, AT)).since_last_pass is None


def test_a_second_photo_of_the_same_pass_is_not_compared(log: Log) -> None:
    log(1, OXIDE)
    assert record(log(1)).since_last_pass is None


def test_a_later_pass_names_the_inspection_it_is_compared_with(log: Log) -> None:
    log(1, OXIDE)
    log(2, OXIDE)
    told = since(log(4))
    assert (told.inspection, told.pass_no, told.error_px) == (2, 2, 0.4)


def test_oxide_that_was_ground_off_is_newly_bright(log: Log) -> None:
    log(1, OXIDE)
    assert shares(log(2))["newly_bright"] == pytest.approx((20 / 80) ** 2, rel=0.15)


def test_oxide_that_is_left_is_still_residue(log: Log) -> None:
    log(1, OXIDE)
    assert shares(log(2, OXIDE))["still_residue"] == pytest.approx((20 / 80) ** 2, rel=0.15)


def test_a_pit_that_was_not_seen_before_is_newly_exposed(log: Log) -> None:
    log(1)
    assert shares(log(2, (State.PIT, 160, 120, 20)))["newly_exposed"] == pytest.approx((20 / 80) ** 2, rel=0.15)


def test_the_shares_make_up_the_spot(log: Log) -> None:
    log(1, OXIDE)
    told = shares(log(2, (State.PIT, 130, 120, 12)))
    assert set(told) == set(CHANGES)
    assert sum(told.values()) == pytest.approx(1, abs=1e-5)


def test_areas_are_given_where_a_scale_is_known(log: Log) -> None:
    log(1, OXIDE)
    told = since(log(2)).areas_mm2
    assert told is not None
    assert told["newly_bright"] == pytest.approx(np.pi * (20 * 0.4) ** 2, rel=0.15)


def test_a_set_is_compared_with_a_set(log: Log, place: Place, tmp_path: Path) -> None:
    def taken(pass_no: int) -> Looked:
        paths = [write_plate(tmp_path / f"{pass_no} {n}.jpg", OXIDE, (State.PIT, 100 + n, 120, 3)) for n in range(2)]
        return look_at(paths, LOOK, dataclasses.replace(place, pass_no=pass_no), AT)

    taken(1)
    assert shares(taken(2))["still_residue"] == pytest.approx((20 / 80) ** 2, rel=0.2)


def test_all_earlier_passes_are_laid_on_one_photo_made_ready_once(log: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    for pass_no in (1, 2):
        log(pass_no, OXIDE)
    bases: list[object] = []
    lying = Alignment(np.eye(3), 0.4, 80, "features")
    monkeypatch.setattr(passes, "align", lambda base, *_: bases.append(base) or lying)
    log(3, OXIDE)
    assert (len(bases), len(set(map(id, bases))), type(bases[0])) == (2, 1, Ready)


# ---- residue that stays


def test_oxide_seen_in_two_passes_may_go_deep(log: Log) -> None:
    log(1, OXIDE)
    second = log(2, OXIDE)
    assert "residue_may_go_deep" in flags(second)
    (patch,) = since(second).persisting
    assert (patch.since, patch.passes) == (1, 2)


def test_oxide_in_another_place_does_not(log: Log) -> None:
    log(1, (State.OXIDE, 130, 120, 12))
    assert "residue_may_go_deep" not in flags(log(2, (State.OXIDE, 190, 120, 12)))


def test_oxide_seen_in_three_passes_is_counted_from_the_first(log: Log) -> None:
    for pass_no in (1, 2):
        log(pass_no, OXIDE)
    (patch,) = since(log(3, OXIDE)).persisting
    assert (patch.since, patch.passes) == (1, 3)


def test_the_flag_is_told_with_the_job_and_is_no_part_of_the_kept_answer(log: Log, place: Place) -> None:
    log(1, OXIDE)
    second = record(log(2, OXIDE))
    told = tasks.job_story(place.store, "1").spots[0].passes[1].inspections[0]
    assert "residue_may_go_deep" in {flag.code for flag in told.flags}
    kept = tasks.cached_result(place.store, second.photo.sha256, second.origin.model_sha256,
                               second.origin.settings_sha256, LOOK.inputs_sha256())  # fmt: skip
    assert kept is not None
    assert (kept.since_last_pass, "residue_may_go_deep" in {flag.code for flag in kept.flags}) == (None, False)


def test_what_changed_is_told_with_the_job(log: Log, place: Place) -> None:
    log(1, OXIDE)
    second = since(log(2))
    assert tasks.job_story(place.store, "1").spots[0].passes[1].inspections[0].since == second


def test_an_answer_from_the_log_is_compared_all_the_same(log: Log) -> None:
    log(1, OXIDE)
    first, again = log(2, OXIDE), log(2, OXIDE)
    assert again.inspection is None
    assert since(again) == since(first)


# ---- what cannot be compared


def test_a_photo_that_does_not_lie_on_the_last_pass_is_logged_and_told(
    log: Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    log(1, OXIDE)
    unaligned(monkeypatch)
    second = log(2, OXIDE)
    assert (since(second).shares, since(second).reason) == (None, "too few places look the same in both")
    assert "not_compared" in flags(second)
    assert second.logged is not None


def test_a_lost_photo_of_the_last_pass_loses_no_entry(log: Log, place: Place) -> None:
    first = record(log(1, OXIDE))
    next(place.archive.folder.rglob(f"{first.photo.sha256}*")).unlink()
    second = log(2, OXIDE)
    assert since(second).reason.startswith("its photo cannot be used")
    assert second.logged is not None


def test_a_pass_without_a_photo_that_was_fit_to_judge_is_passed_over(log: Log, place: Place, tmp_path: Path) -> None:
    log(1, OXIDE)
    blank = write_plate(tmp_path / "blank.jpg", (State.COATING, 160, 120, 90))
    look_at(blank, LOOK, dataclasses.replace(place, pass_no=2), AT)
    assert since(log(3, OXIDE)).pass_no == 1


def test_a_corrected_inspection_is_passed_over(log: Log, place: Place, tmp_path: Path) -> None:
    first = record(log(1, OXIDE))
    tasks.log_inspection(
        place.store, place.archive, first, (tmp_path / "pass 1.jpg").read_bytes(),
        job="1", spot="rim", pass_no=1, person="Ida", at=AT, corrects=1,
    )  # fmt: skip
    assert record(log(2, OXIDE)).since_last_pass is None


# ---- which outline is the spot


def test_of_several_outlines_the_one_where_the_last_pass_had_the_spot_is_taken(place: Place, tmp_path: Path) -> None:
    look_at(two_spots(tmp_path / "a.jpg"), LOOK, dataclasses.replace(place, outline=2), AT)
    looked = look_at(two_spots(tmp_path / "b.jpg"), LOOK, dataclasses.replace(place, pass_no=2), AT)
    assert looked.logged is not None
    assert looked.logged.outline == 2


def test_the_outline_that_a_person_names_is_taken(place: Place, tmp_path: Path) -> None:
    look_at(two_spots(tmp_path / "a.jpg"), LOOK, dataclasses.replace(place, outline=2), AT)
    looked = look_at(two_spots(tmp_path / "b.jpg"), LOOK, dataclasses.replace(place, pass_no=2, outline=1), AT)
    assert looked.logged is not None
    assert looked.logged.outline == 1


def test_where_the_photos_do_not_lie_on_each_other_a_person_is_asked(
    place: Place, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    look_at(two_spots(tmp_path / "a.jpg"), LOOK, dataclasses.replace(place, outline=2), AT)
    unaligned(monkeypatch)
    looked = look_at(two_spots(tmp_path / "b.jpg"), LOOK, dataclasses.replace(place, pass_no=2), AT)
    assert looked.error is not None
    assert looked.error.message == (
        "b.jpg: shows outlines 1, 2; which is the spot of pass 1 cannot be told: too few places look the same in both. "
        "Say which is the job's spot (--outline)."
    )
    assert len(tasks.job_story(place.store, "1").spots[0].passes) == 1


# ---- the picture


def test_the_history_of_a_spot_is_drawn(log: Log, place: Place) -> None:
    for pass_no in (1, 2):
        log(pass_no, OXIDE)
    picture = spot_history(place.store, place.archive, "1", "seam", LOOK.model, SETTINGS)
    assert picture.shape[1:] == (720, 3)


def test_the_latest_pass_is_not_laid_on_itself(log: Log, place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    log(1, OXIDE)
    monkeypatch.setattr(passes, "align", None)
    assert spot_history(place.store, place.archive, "1", "seam", LOOK.model, SETTINGS).size


def test_a_spot_whose_photos_show_no_outline_has_no_picture(place: Place, tmp_path: Path) -> None:
    look_at(write_plate(tmp_path / "blank.jpg", (State.COATING, 160, 120, 90)), LOOK, place, AT)
    with pytest.raises(UnknownRecord, match="spot 1: no photo that shows its outline was logged"):
        spot_history(place.store, place.archive, "1", "seam", LOOK.model, SETTINGS)
