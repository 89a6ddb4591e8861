from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from prepcheck.terms import Standing
from prepcheck.trade.facts import Weight
from prepcheck.trade.steps import Progress, StepState
from prepcheck.trade.work import Step
from prepcheck.web.pages.said import LEADS, progress_words, score_of, spot_name, when
from tests.report.job.made import spots

AT = "2026-11-24T12:40:00+01:00"
STEP = Step(name="weld", title="Weld")
HOLD = Step(name="clear", title="Clear", hold_point=True)


def test_times_are_told_in_the_zone_asked_for():
    assert when(AT, UTC) == "2026-11-24 11:40"
    assert when(datetime.fromisoformat(AT), timezone(timedelta(hours=2))) == "2026-11-24 13:40"


def test_every_weight_of_a_remark_has_a_lead():
    assert set(LEADS) == {one.value for one in Weight}


def test_a_photo_to_retake_has_no_score():
    one = spots()[0].passes[0].inspections[0]
    assert score_of(one).startswith("score 61 (")
    assert score_of(replace(one, standing=Standing.RETAKE)) == "photo not fit to judge"


def test_a_spot_has_its_name_only_where_it_has_one():
    assert spot_name(spots()[0]) == "Spot 1, lower seam"
    assert spot_name(replace(spots()[0], name="")) == "Spot 1"


@pytest.mark.parametrize(
    ("state", "words"),
    [
        (StepState(STEP, Progress.OPEN), "later"),
        (StepState(STEP, Progress.NEXT, note="opened again by Ola: x"), "can be done now; opened again by Ola: x"),
        (
            StepState(HOLD, Progress.HELD, did="Mika", did_at=AT),
            "done by Mika, 2026-11-24 11:40; waits until a named person releases it",
        ),
        (StepState(STEP, Progress.DONE, by="Mika", at=AT), "done by Mika, 2026-11-24 11:40"),
        (
            StepState(HOLD, Progress.RELEASED, by="Rune", role="releaser", at=AT),
            "released by Rune (releaser), 2026-11-24 11:40",
        ),
        (
            StepState(STEP, Progress.OVERRIDDEN, by="Ola", at=AT),
            "done by Ola, 2026-11-24 11:40, although something spoke against it",
        ),
    ],
)
def test_a_step_tells_how_it_stands_and_who_made_it_so(state, words):
    assert progress_words(state, UTC) == words


def test_every_progress_of_a_step_can_be_told():
    for one in Progress:
        assert progress_words(StepState(HOLD, one, did="a", did_at=AT, by="b", at=AT), UTC)
