"""How figures are said."""

from __future__ import annotations

from typing import Any

import pytest

from prepcheck.record import FlagRecord, PatchRecord, PersonRecord, SpotRecord
from prepcheck.report.words import (
    answer_words,
    area_words,
    flag_action,
    flag_name,
    patch_words,
    patches_words,
    place_in,
    pointed_at,
    rests_words,
    score_words,
    set_words,
    share_words,
    shares_words,
    since_words,
)
from prepcheck.terms import FLAGS, Standing
from tests.report.made import patch_at, record_of, ring, set_of, since, spot_of


def test_a_score_is_said_with_its_interval() -> None:
    assert score_words(0.71, (0.62, 0.79)) == "score 71 (62 to 79)"


def test_an_interval_is_rounded_outwards() -> None:
    assert score_words(0.5, (0.4499, 0.5501)) == "score 50 (44 to 56)"


def test_an_interval_on_whole_points_stays_there() -> None:
    assert score_words(0.57, (0.29, 0.58)) == "score 57 (29 to 58)"  # 100 * 0.29 is below 29 and 100 * 0.58 below 58


def test_a_score_rounds_to_100_only_when_all_is_bright() -> None:
    assert (score_words(0.9999, None), score_words(1.0, None)) == ("score 99", "score 100")


def test_no_score_is_said_in_words() -> None:
    assert score_words(None, None) == "no score"


@pytest.mark.parametrize(
    ("share", "words"), [(None, "-"), (0.0, "0%"), (0.002, "<1%"), (0.285, "28%"), (0.999, "99%"), (1.0, "100%")]
)
def test_a_share_is_never_rounded_to_none_or_all(share: float | None, words: str) -> None:
    assert share_words(share) == words


def test_a_patch_is_said_with_its_length() -> None:
    assert patch_words(patch_at(0, 0, mm=11.24)) == "oxide 11 mm"


def test_a_short_patch_is_said_to_a_tenth() -> None:
    assert patch_words(patch_at(0, 0, mm=2.24)) == "oxide 2.2 mm"


def test_a_doubtful_patch_has_a_question_mark() -> None:
    assert patch_words(patch_at(0, 0, mm=11.2, sure=False)) == "oxide? 11 mm"


def spotted(*patches: PatchRecord, count: int | None = None, **changes: Any) -> SpotRecord:
    """Make a spot 90 wide and high whose upper left corner lies at (10, 20), with these patches."""
    corners = [(10.0, 20.0), (100.0, 20.0), (100.0, 110.0), (10.0, 110.0)]
    told = {"longest_patches": list(patches), "largest_patch": patches[0] if patches else None}
    number = len(patches) if count is None else count
    return spot_of(1, corners, Standing.RESIDUE_LEFT, patches=number, **told, **changes)


@pytest.mark.parametrize(
    ("at", "said"),
    [((11, 21), "upper left"), ((55, 21), "upper"), ((99, 65), "right"), ((55, 65), "in the middle"),
     ((39, 109), "lower left"), ((1e9, -1e9), "upper right")],
)  # fmt: skip
def test_a_patch_has_its_place_in_the_spot_by_thirds(at: tuple[float, float], said: str) -> None:
    assert place_in(patch_at(*at), spotted()) == said


def test_a_spot_without_width_has_its_patches_in_the_middle() -> None:
    assert place_in(patch_at(3, 3), spot_of(1, [(3, 3), (3, 3)], Standing.RESIDUE_LEFT)) == "in the middle"


def test_patches_are_listed_with_their_places_and_how_many_are_not() -> None:
    spot = spotted(patch_at(11, 21, mm=12.0), patch_at(99, 109, mm=4.04, sure=False), patch_at(55, 65, mm=3.0), count=9)
    assert patches_words(spot, most=2) == "oxide 12 mm upper left; oxide? 4.0 mm lower right; and 7 more"


def test_a_patch_alone_is_not_listed() -> None:
    assert patches_words(spotted(patch_at(11, 21))) == ""


def test_of_an_old_record_the_longest_patch_is_listed() -> None:
    spot = spotted(count=3).model_copy(update={"largest_patch": patch_at(11, 21)})
    assert patches_words(spot) == "oxide 11 mm upper left; and 2 more"


def test_a_patch_without_scale_says_so() -> None:
    assert patch_words(patch_at(0, 0, mm=None)) == "oxide, no scale"


def test_shares_are_said_largest_first_without_the_bright() -> None:
    spot = spot_of(1, ring(5, 5, 3), Standing.BRIGHT, shares={"bright": 0.7, "pit": 0.1, "oxide": 0.2, "coating": 0.0})
    assert shares_words(spot) == "residual oxide 20%, pit or void 10%"


def test_an_area_is_said_in_pixels_without_a_scale() -> None:
    assert area_words(spot_of(1, ring(5, 5, 3), Standing.BRIGHT, area_mm2=None)) == "12000 px"


def test_every_flag_has_name_and_action() -> None:
    flags = [FlagRecord(code=code, blocking=card.blocking) for code, card in FLAGS.items()]
    assert all(flag_name(flag) and flag_action(flag) for flag in flags)


def test_a_flag_of_a_newer_version_keeps_its_code() -> None:
    assert flag_name(FlagRecord(code="moon_phase", blocking=False)) == "moon_phase"


def test_the_patch_pointed_at_is_the_longest_sure_one() -> None:
    patches = [patch_at(0, 0, mm=5.0), patch_at(0, 0, mm=9.0, sure=False), patch_at(0, 0, mm=7.0)]
    spots = [spot_of(i, ring(9, 9, 5), Standing.RESIDUE_LEFT, largest_patch=p) for i, p in enumerate(patches)]
    pointed = pointed_at(record_of(spots, Standing.RESIDUE_LEFT))
    assert pointed is not None
    assert pointed.length_mm == 7.0


def test_a_patch_in_a_refused_spot_is_not_pointed_at() -> None:
    spots = [
        spot_of(number, ring(9, 9, 5), Standing.RESIDUE_LEFT, largest_patch=patch_at(0, 0, mm=mm))
        for number, mm in ((1, 9.0), (2, 4.0))
    ]
    person = PersonRecord(refused={1: "bead"}, standing=Standing.RESIDUE_LEFT, bright_share=0.7, interval=(0.6, 0.8))
    pointed = pointed_at(record_of(spots, Standing.RESIDUE_LEFT, by_person=person))
    assert pointed is not None
    assert pointed.length_mm == 4.0


def test_a_patch_in_a_spot_drawn_by_a_person_is_pointed_at() -> None:
    spot = spot_of(4, ring(9, 9, 5), Standing.RESIDUE_LEFT, largest_patch=patch_at(0, 0), outlined_by="person")
    person = PersonRecord(spots=[spot], standing=Standing.RESIDUE_LEFT, bright_share=0.7, interval=(0.6, 0.8))
    assert pointed_at(record_of([], Standing.RETAKE, by_person=person)) == spot.largest_patch


def test_no_score_is_said_of_a_photo_to_retake() -> None:
    assert answer_words(record_of([], Standing.RETAKE, share=0.9)) == "photo not fit to judge"


def test_nothing_is_pointed_at_without_a_patch() -> None:
    assert pointed_at(record_of([spot_of(1, ring(9, 9, 5), Standing.BRIGHT)], Standing.BRIGHT)) is None


def of_set(*left_out: str, moved: float | None = 0.42, enough: bool = True) -> str:
    behind = set_of(record_of([], Standing.CANNOT_TELL), *left_out, moved=moved, enough=enough).moved_light
    assert behind is not None
    return set_words(behind).split(". The first")[0]


def test_a_set_is_said_with_its_photos_its_error_and_how_far_the_light_moved() -> None:
    assert of_set() == "Moved light: 3 of 3 photos used, laid on the first to about 0.9 px, light moved by 0.42"


def test_a_set_of_one_has_no_error_and_no_movement() -> None:
    assert of_set("blurred", "too dark", moved=None, enough=False) == "Moved light: 1 of 3 photos used"


def test_a_light_that_moved_too_little_is_said() -> None:
    assert of_set(moved=0.03, enough=False).endswith("light moved by 0.03 (too little)")


@pytest.mark.parametrize(
    ("left_out", "enough", "said"),
    [
        ((), True, "Rests on 3 of 3 photos under a moved light."),
        (("blurred",), True, "Rests on 2 of 3 photos under a moved light."),
        ((), False, "Rests on 3 of 3 photos whose light hardly moved."),
        (("blurred", "too dark"), False, "Rests on 1 of 3 photos, no moved light."),
    ],
)
def test_on_how_many_photos_an_answer_rests_is_said(left_out: tuple[str, ...], enough: bool, said: str) -> None:
    assert rests_words(set_of(record_of([], Standing.CANNOT_TELL), *left_out, enough=enough)) == said


def test_the_first_photo_of_a_set_to_retake_has_nothing_resting_on_it() -> None:
    assert rests_words(set_of(record_of([], Standing.RETAKE))) == "The first of 3 photos under a moved light."


def test_an_answer_for_one_photo_rests_on_nothing_else() -> None:
    assert rests_words(record_of([], Standing.CANNOT_TELL)) == ""


def test_what_changed_is_said_as_shares_of_the_spot() -> None:
    assert since_words(since()) == "since pass 2: newly bright 21%, still residue 3%, newly exposed <1% of the spot"


def test_what_could_not_be_compared_is_said_where_it_is_worth_saying() -> None:
    assert "not comparable 4% of the spot" in since_words(since(not_comparable=0.04))


@pytest.mark.parametrize(
    ("passes", "said"),
    [((2,), "1 place stays residue over up to 2 passes"), ((3, 2), "2 places stay residue over up to 3 passes")],
)
def test_places_that_stay_are_counted(passes: tuple[int, ...], said: str) -> None:
    assert since_words(since(*passes)).endswith(f"of the spot; {said}")


def test_why_a_pass_was_not_compared_is_said() -> None:
    assert since_words(since(reason="too blurred")) == "not compared with pass 2: too blurred"
