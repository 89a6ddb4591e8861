"""The chain from a moved-light set to one answer, on painted plates with known truth."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from prepcheck import inspection as one_photo
from prepcheck import light_set
from prepcheck.inspection import Inspection, Outlines, inspect
from prepcheck.light_set import inspect_set
from prepcheck.photo import Photo, align
from prepcheck.photo.align import Alignment, NotAligned, Ready
from prepcheck.photo.card_image import card_image
from prepcheck.record import Record, record_of
from prepcheck.settings import Settings
from prepcheck.terms import Standing, State
from tests import painted

SETTINGS = Settings()
MODEL = painted.model()
PATCH = (State.OXIDE, 320, 240, 60)


def shot(number: int, *patches: tuple[State, int, int, int], light: float = 0.0, **changes: object) -> Photo:
    """Make photo `number` of a plate; `light` darkens one side of it, a little."""
    states = painted.plate(*patches)
    photo = painted.photo(states, name=f"{number}.jpg", seed=number)
    slope = 1 - np.abs(light) * np.linspace(0, 1, states.shape[1])[:: 1 if light >= 0 else -1]
    rgb = (photo.rgb * slope[None, :, None]).astype(np.uint8)
    return dataclasses.replace(photo, sha256=f"{number:064x}", rgb=rgb, **changes)  # type: ignore[arg-type]


def lying(shift: tuple[float, float] = (0.0, 0.0), error: float = 0.4) -> Alignment:
    return Alignment(np.array([[1.0, 0.0, shift[0]], [0.0, 1.0, shift[1]], [0.0, 0.0, 1.0]]), error, 80, "features")


@pytest.fixture(autouse=True)
def aligned(monkeypatch: pytest.MonkeyPatch) -> None:
    """Makes every photo lie on the first, but those named ``other...``."""

    def align(first: Ready, other: Ready, settings: Settings) -> Alignment | NotAligned:
        return NotAligned("it shows another place") if other.photo.name.startswith("other") else lying()

    monkeypatch.setattr(light_set, "align", align)


def look(*photos: Photo, settings: Settings = SETTINGS, **options: object) -> Inspection:
    return inspect_set(photos, MODEL, settings, **options)  # type: ignore[arg-type]


def still(settings: Settings = SETTINGS) -> Settings:
    """Return settings under which no light moved enough."""
    return settings.model_copy(update={"moved_light": settings.moved_light.model_copy(update={"least_moved": 3.0})})


def moved(settings: Settings = SETTINGS) -> Settings:
    """Return settings under which any light moved enough."""
    return settings.model_copy(update={"moved_light": settings.moved_light.model_copy(update={"least_moved": 0.0})})


def codes(inspection: Inspection) -> set[str]:
    return {flag.code for flag in inspection.flags}


def behind(inspection: Inspection) -> Record:
    record = record_of(inspection)
    assert record.moved_light is not None
    return record


def other(photo: Photo) -> Photo:
    return dataclasses.replace(photo, name=f"other {photo.name}")


# ---- one answer


def test_a_clean_set_is_bright() -> None:
    assert look(shot(1), shot(2), settings=moved()).standing is Standing.BRIGHT


def test_residue_seen_under_every_light_stays_residue() -> None:
    assert look(shot(1, PATCH), shot(2, PATCH)).standing is Standing.RESIDUE_LEFT


def test_the_answer_bears_the_first_photos_name_and_size() -> None:
    record = behind(look(shot(1), shot(2), shot(3)))
    assert (record.photo.name, [photo.name for photo in record.photos]) == ("1.jpg", ["1.jpg", "2.jpg", "3.jpg"])


def test_every_photo_used_is_told_with_its_alignment() -> None:
    told = behind(look(shot(1), shot(2))).moved_light
    assert told is not None
    assert [(one.number, one.error_px, one.by, one.left_out) for one in told.photos] == [
        (1, None, None, ""),
        (2, 0.4, "features", ""),
    ]


def test_the_first_photos_own_answer_stands_beside() -> None:
    told = behind(look(shot(1, PATCH), shot(2, PATCH))).moved_light
    alone = record_of(inspect(shot(1, PATCH), MODEL, SETTINGS))
    assert told is not None
    assert (told.alone.standing, told.alone.bright_share) == (alone.standing, alone.bright_share)


def test_a_record_of_a_set_reads_back_as_itself() -> None:
    record = behind(look(shot(1, PATCH), shot(2, PATCH)))
    assert Record.model_validate_json(record.model_dump_json()) == record


def test_a_single_photo_has_no_set() -> None:
    record = record_of(inspect(shot(1), MODEL, SETTINGS))
    assert (record.photos, record.moved_light) == ([], None)


@pytest.mark.parametrize("count", [0, 1, 7])
def test_only_two_to_six_photos_are_a_set(count: int) -> None:
    with pytest.raises(ValueError, match=f"{count} photos are no set"):
        look(*(shot(n) for n in range(1, count + 1)))


def test_photos_of_other_sizes_are_used() -> None:
    large = dataclasses.replace(shot(2), width=1280, height=960)
    assert behind(look(shot(1), large)).photos[1].width == 1280


def test_an_outline_drawn_in_the_first_photo_is_scored_on_the_set() -> None:
    square = np.array([[250.0, 170.0], [390.0, 170.0], [390.0, 310.0], [250.0, 310.0]])
    record = behind(look(shot(1, PATCH), shot(2, PATCH), outlines=Outlines(drawn=(square,))))
    assert record.by_person is not None
    assert record.by_person.spots[-1].outlined_by == "person"


def test_each_photo_is_checked_and_searched_for_the_card_once(monkeypatch: pytest.MonkeyPatch) -> None:
    done: list[tuple[str, str]] = []

    def told(where: object, name: str) -> None:
        whole = getattr(where, name)
        monkeypatch.setattr(where, name, lambda photo, *more: done.append((name, photo.name)) or whole(photo, *more))

    told(one_photo, "photo_flags")
    told(one_photo, "with_scale")
    monkeypatch.setattr(align, "find_card", None)
    look(shot(1), shot(2), shot(3))
    assert sorted(done) == [(name, f"{n}.jpg") for name in ("photo_flags", "with_scale") for n in (1, 2, 3)]


def test_photos_keep_their_order_whichever_is_looked_at_first() -> None:
    record = behind(look(*(shot(n) for n in range(1, 7))))
    assert record.moved_light is not None
    assert [one.name for one in record.moved_light.photos] == [f"{n}.jpg" for n in range(1, 7)]


# ---- photos left out


def test_a_photo_of_another_part_is_left_out_and_named() -> None:
    inspection = look(shot(1), shot(2), other(shot(3)), settings=moved())
    (flag,) = [flag for flag in inspection.flags if flag.code == "photo_left_out"]
    assert flag.measured == "other 3.jpg: it shows another place"


def test_a_photo_left_out_changes_no_answer() -> None:
    with_it, without = look(shot(1, PATCH), shot(2, PATCH), other(shot(3))), look(shot(1, PATCH), shot(2, PATCH))
    assert with_it.answer.share == without.answer.share


def test_the_same_photo_twice_is_left_out() -> None:
    told = behind(look(shot(1), shot(2), dataclasses.replace(shot(2), name="copy.jpg"))).moved_light
    assert told is not None
    assert told.photos[2].left_out == "the same photo as 2.jpg, to the byte"


def test_a_photo_that_is_unfit_is_left_out_with_its_flag() -> None:
    told = behind(look(shot(1), dark(2), shot(3))).moved_light
    assert told is not None
    assert told.photos[1].left_out.startswith("too dark (")
    assert told.photos[1].flags[0].code == "too_dark"


def test_a_set_of_which_one_photo_is_left_calls_nothing_bright() -> None:
    inspection = look(shot(1), other(shot(2)))
    assert inspection.standing is Standing.CANNOT_TELL
    assert {"set_of_one", "photo_left_out"} <= codes(inspection)


def test_each_spot_says_why_a_set_of_one_calls_it_not_bright() -> None:
    (spot,) = behind(look(shot(1), other(shot(2)))).spots
    assert (spot.standing, spot.reason) == (Standing.CANNOT_TELL, "only one photo of the set could be used")


def test_a_set_of_one_gives_the_first_photos_own_answer() -> None:
    told = behind(look(shot(1), other(shot(2)))).moved_light
    assert told is not None
    assert (told.alone.standing, told.moved, told.enough) == (Standing.BRIGHT, None, False)


def test_a_set_of_one_with_residue_keeps_its_residue() -> None:
    assert look(shot(1, PATCH), other(shot(2))).standing is Standing.RESIDUE_LEFT


def test_a_first_photo_that_is_unfit_is_a_retake() -> None:
    assert look(dark(1), shot(2)).standing is Standing.RETAKE


def dark(number: int) -> Photo:
    return dataclasses.replace(shot(number), rgb=shot(number).rgb // 40)


def instead(*photos: Photo) -> list[str]:
    return [flag.measured for flag in look(*photos).flags if flag.code == "first_photo_unfit"]


def test_where_the_first_photo_is_unfit_the_fit_ones_are_named() -> None:
    assert instead(dark(1), dark(2), shot(3), shot(4)) == ["fit: 3.jpg, 4.jpg"]


def test_a_fit_photo_of_the_same_view_is_named_rather_than_one_of_another_place() -> None:
    assert instead(dark(1), other(shot(2)), shot(3)) == ["fit: 3.jpg"]


def test_a_fit_photo_that_cannot_be_laid_on_an_unfit_first_is_named() -> None:
    assert instead(dark(1), other(shot(2))) == ["fit: other 2.jpg"]


@pytest.mark.parametrize("photos", [(dark(1), dark(2)), (dark(1), dark(1)), (shot(1), dark(2)), (shot(1), shot(2))])
def test_no_other_first_photo_is_named_where_none_is_better(photos: tuple[Photo, ...]) -> None:
    assert instead(*photos) == []


def test_a_first_photo_to_take_again_gets_no_advice_on_the_torch() -> None:
    told = behind(look(dark(1), shot(2), settings=still())).moved_light
    assert told is not None
    assert told.advice == ""


# ---- too little light moved


def test_a_light_that_hardly_moved_is_flagged_and_told() -> None:
    inspection = look(shot(1), shot(2), settings=still())
    assert "light_hardly_moved" in codes(inspection)
    told = behind(inspection).moved_light
    assert told is not None
    assert told.advice.startswith("The light hardly moved")


def test_a_light_that_moved_is_not_flagged() -> None:
    assert "light_hardly_moved" not in codes(look(shot(1), shot(2), settings=moved()))


def test_a_light_that_hardly_moved_makes_no_spot_better_than_the_first_photo_alone() -> None:
    photos = shot(1, PATCH), shot(2), shot(3), shot(4)
    assert look(*photos, settings=moved()).standing is not Standing.RESIDUE_LEFT
    assert look(*photos, settings=still()).standing is Standing.RESIDUE_LEFT


def test_a_light_that_hardly_moved_may_still_show_more_residue() -> None:
    assert look(shot(1), shot(2, PATCH), shot(3, PATCH), settings=still()).standing is not Standing.BRIGHT


# ---- flash and scale


@pytest.mark.parametrize(
    ("fired", "flagged"),
    [((True, False), True), ((True, True), False), ((False, False), False), ((True, None), False)],
)
def test_flash_in_some_photos_only_is_told(fired: tuple[bool, bool], flagged: bool) -> None:
    photos = [shot(n, flash=one) for n, one in enumerate(fired, start=1)]
    assert ("mixed_flash" in codes(look(*photos))) == flagged


def test_the_scale_of_another_photo_is_taken_where_the_first_shows_no_card(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(light_set, "align", lambda *_: lying((-20.0, 10.0)))
    states = painted.plate(size=(960, 1280), spot=(380, 480, 220))
    plain = painted.photo(states, name="plain.jpg")
    card = card_image(3.0)
    rgb = painted.paint(states)
    rgb[300 : 300 + card.shape[0], 800 : 800 + card.shape[1]] = card[:, :, None]
    carded = dataclasses.replace(plain, rgb=rgb, name="card.jpg", sha256="3" * 64)
    inspection = look(plain, carded)
    assert behind(inspection).spots[0].mm_per_px == pytest.approx(1 / 3, rel=0.01)
    assert "no_scale" not in codes(inspection)


def test_places_burnt_out_in_the_first_photo_count_from_the_others() -> None:
    glaring = shot(1)
    rgb = glaring.rgb.copy()
    rgb[140:340, 220:420] = 255
    glaring = dataclasses.replace(glaring, rgb=rgb)
    assert "burnt_out" in codes(inspect(glaring, MODEL, SETTINGS))
    assert "burnt_out" not in codes(look(glaring, shot(2), shot(3)))
