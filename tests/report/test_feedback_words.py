"""How a person's work is said."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from prepcheck.progress.blocks import Block
from prepcheck.progress.misses import Place
from prepcheck.progress.tally import Tally
from prepcheck.progress.work import Beside, Firsts, PassesNeeded
from prepcheck.report import feedback_words as say
from prepcheck.report.feedback_tool import PointErrors, SceneErrors, ToolErrors
from prepcheck.terms import Standing, State

LEAST = 10


@pytest.mark.parametrize(
    ("hits", "of", "said"),
    [
        (18, 20, "90% (95% interval 68 to 99)"),
        (4, 20, "20% (95% interval 5 to 44)"),
        (4, 200, "2% (95% interval 0 to 6)"),
        (190, 200, "95% (95% interval 90 to 98)"),
        (1, 30, "3% (95% interval 0 to 18)"),
        (0, 30, "0% (95% interval 0 to 12)"),
        (30, 30, "100% (95% interval 88 to 100)"),
    ],
)
def test_a_share_is_said_with_its_published_exact_interval_rounded_outwards(hits: int, of: int, said: str) -> None:
    """Clopper-Pearson of R's binom.confint, seen in statsmodels' results_proportion.py (standards table, 1.31)."""
    assert say.tally_words(Tally(hits, of), LEAST) == f"{hits} of {of}, {said}"


WILSON = {(18, 20): (0.698966, 0.972134), (4, 20): (0.080658, 0.416017), (30, 30): (0.886487, 1.0)}
"""R's binom.confint, seen in statsmodels' results_proportion.py (standards table, 1.30)."""


@pytest.mark.parametrize("counts", WILSON)
def test_the_exact_interval_reaches_as_far_as_wilsons_or_further(counts: tuple[int, int]) -> None:
    found, (low, high) = say.exact(Tally(*counts)), WILSON[counts]
    assert found.low <= low
    assert found.high >= high - 1e-9


@given(st.integers(0, 60), st.integers(0, 60))
def test_the_interval_agrees_with_another_library(hits: int, more: int) -> None:
    if hits + more:
        found, other = say.exact(Tally(hits, hits + more)), binomtest(hits, hits + more).proportion_ci()
        assert (found.low, found.high) == pytest.approx((other.low, other.high), abs=1e-9)


@given(st.integers(1, LEAST - 1), st.integers(0, LEAST))
def test_of_few_spots_no_percentage_is_said(of: int, hits: int) -> None:
    said = say.tally_words(Tally(min(hits, of), of), LEAST, "spots")
    assert said == f"{min(hits, of)} of {of} spots, too few to tell"


@given(st.integers(LEAST, 400), st.data())
def test_a_percentage_never_stands_without_its_interval(of: int, data: st.DataObject) -> None:
    said = say.tally_words(Tally(data.draw(st.integers(0, of)), of), LEAST)
    assert said.count("95% interval") == 1
    assert said.replace("95% interval", "").count("%") == 1


def test_of_nothing_nothing_is_said() -> None:
    assert say.tally_words(Tally(0, 0), LEAST) == "none yet"


def test_what_counts_neither_way_is_named() -> None:
    assert say.apart_words(Firsts(3, 2, 1, 2, 4)) == "1 cannot tell, 2 to retake, 4 without the first pass in the log"
    assert say.apart_words(Firsts(3, 2, 0, 0, 0)) == ""


def test_passes_needed_are_said_with_what_is_not_bright_yet_apart() -> None:
    told = PassesNeeded({1: 12, 2: 5}, {1: 2, 3: 1}, 4)
    assert say.needed_words(told) == (
        "1 pass: 12, 2 passes: 5; not bright yet: 2 after 1 pass, 1 after 3 passes; 4 ground with others"
    )
    assert say.needed_words(PassesNeeded({}, {}, 0)) == "none yet"


def test_what_was_left_most_often_is_said_with_its_count() -> None:
    found = {(State.COATING, Place.RIM): Tally(3, 5), (State.PIT, Place.MIDDLE): Tally(2, 5)}
    assert say.usual_words(found, LEAST) == "coating left, at the rim: 3 of 5, too few to tell"


def test_where_no_kind_stands_out_that_is_said() -> None:
    found = {(State.COATING, Place.RIM): Tally(1, 2), (State.PIT, Place.MIDDLE): Tally(1, 2)}
    assert say.usual_words(found, LEAST).startswith("no one kind more than others")


def test_nothing_left_is_said_as_such() -> None:
    assert say.usual_words({}, LEAST) == "nothing was told to be left"


def blocks(*counts: tuple[int, int]) -> list[Block]:
    return [Block(str(k), Tally(*one)) for k, one in enumerate(counts)]


@pytest.mark.parametrize(
    ("counts", "said"),
    [
        ([(1, 20), (19, 20)], "above the first"),
        ([(19, 20), (1, 20)], "below the first"),
        ([(9, 20), (13, 20)], "no change can be told"),
        ([(0, 20)], "too few to tell"),
        ([(0, 20), (9, 9)], "too few to tell"),
        ([], "too few to tell"),
        ([(1, 20), (19, 20), (1, 1)], "above the first"),
    ],
)
def test_a_change_is_only_told_where_the_intervals_lie_apart(counts: list[tuple[int, int]], said: str) -> None:
    assert said in say.change_words(blocks(*counts), LEAST)


def test_disagreements_are_said_with_both_standings() -> None:
    told = Beside({(Standing.RESIDUE_LEFT, Standing.BRIGHT): 2})
    assert say.beside_words(told) == "2 x tool residue left, person bright"
    assert say.beside_words(Beside({})) == "no disagreement logged"


def test_the_tools_own_errors_are_said_with_their_numbers_of_cases() -> None:
    scenes = SceneErrors("scenes", Tally(1, 30), Tally(0, 0))
    points = PointErrors("photographs", 19, 0.119, 0.028, 0.341)
    (said,) = say.tool_words([ToolErrors("eye-9", (scenes,), (points,))])
    assert "truly dirty and called bright, 1 of 30 scenes (0 to 18%)" in said
    assert "12% (2 to 35%) in 19 photographs" in said
    assert "truly clean" not in said


def test_a_model_without_a_card_is_said_to_have_none() -> None:
    assert list(say.tool_words([ToolErrors("1234")])) == ["Model 1234: no figures of its own errors are at hand."]


def test_answers_with_the_shops_own_fit_are_said_to_be_left_out() -> None:
    (said,) = say.tool_words([], fitted=2)
    assert said.startswith("2 answers came with the shop's own fit, which these figures leave out")


@pytest.mark.parametrize("kind", [*say.ADVICE])
def test_advice_is_short_and_promises_nothing(kind: State | Place) -> None:
    label, advice = say.ADVICE[kind]
    assert len(label) + len(advice) < 110
    assert not {"safe", "good", "bad", "pass", "fail"} & set(advice.lower().split())


def test_there_is_advice_for_all_that_can_be_left_and_every_place() -> None:
    from prepcheck.terms import RESIDUE

    assert set(say.ADVICE) == {*RESIDUE, *Place}
