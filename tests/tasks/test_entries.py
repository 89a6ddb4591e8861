"""What people enter about a job is cleaned, held against the clock, and logged."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from prepcheck import tasks
from prepcheck.errors import UnknownRecord, WrongUse
from prepcheck.store import LoggedEvent
from prepcheck.store.store import Store
from prepcheck.trade.entries import (
    Certificate,
    Erased,
    Gas,
    GasReading,
    LeakEntry,
    Note,
    PlanMade,
    Sealed,
    State,
    StepDone,
    StepReleased,
    StepReopened,
    VesselCondition,
    WallReading,
    WorkChosen,
)
from tests.tasks.shop import JOB, minute, new_shop


@pytest.fixture
def shop(tmp_path: Path) -> Store:
    return new_shop(tmp_path)


def put(store: Store, entry: Any, at: float = 10, job: str = JOB) -> LoggedEvent:
    return tasks.log_entry(store, job, entry, person="Ola", at=minute(at))


def oxygen(value: float = 20.9, **more: Any) -> GasReading:
    return GasReading(**{"gas": Gas.OXYGEN, "value": value, "place": "sump", "taken_at": minute(5), **more})


EVERY = [
    oxygen(height_m=0.2, meter="meter 4"),
    VesselCondition(condition=State.INERTED, previous_contents="petrol", at=minute(5)),
    Certificate(certified_by="a Marine Chemist", rule="29 CFR 1915.14", at=minute(5)),
    WallReading(method="depth", wall_mm=3.2, nominal_mm=5, depth_mm=1.8, taken_at=minute(5)),
    LeakEntry(method="bubbles", start_pa=20_684, leaks=("lower seam",), started_at=minute(5)),
    PlanMade(what="weld", inputs={"thickness": "5 mm"}, lines=(("current", "200 A"),)),
    Note(text="new disc"),
]


@pytest.mark.parametrize("entry", EVERY, ids=lambda entry: entry.kind)
def test_an_entry_is_told_again_as_it_was_logged(shop, entry):
    logged = put(shop, entry)
    assert tasks.job_story(shop, JOB).events == (logged,)
    assert (logged.entry, logged.person, logged.at) == (entry, "Ola", minute(10).isoformat())


def test_entries_are_told_in_the_order_of_logging(shop):
    for text in "cab":
        put(shop, Note(text=text))
    assert [event.entry.text for event in tasks.job_story(shop, JOB).events] == ["c", "a", "b"]


def test_an_unknown_job_takes_no_entry(shop):
    with pytest.raises(UnknownRecord, match="J-0077: no such job"):
        put(shop, Note(text="x"), job="77")


def test_texts_are_put_on_one_line(shop):
    assert put(shop, Note(text=" two\n lines  ")).entry == Note(text="two lines")


@pytest.mark.parametrize(
    "entry",
    [Note(text=" "), oxygen(place=""), Certificate(certified_by=" ", rule="x", at=minute(1))],
    ids=lambda e: e.kind,
)
def test_a_text_that_is_needed_is_not_empty(shop, entry):
    with pytest.raises(WrongUse, match="is empty"):
        put(shop, entry)


def test_a_text_that_cannot_be_printed_is_refused(shop):
    with pytest.raises(WrongUse, match="cannot be printed"):
        put(shop, LeakEntry(method="water", leaks=("a\x00b",), started_at=minute(1)))


@pytest.mark.parametrize(
    "entry",
    [
        oxygen(taken_at=minute(13)),
        oxygen(calibrated_on=date(2026, 11, 26)),
        VesselCondition(condition=State.VENTILATED, previous_contents="diesel", at=minute(13)),
        Certificate(certified_by="a", rule="b", at=minute(13)),
        WallReading(method="gauge", wall_mm=3, taken_at=minute(13)),
        LeakEntry(method="water", started_at=minute(13)),
    ],
    ids=lambda entry: entry.kind,
)
def test_a_time_in_the_future_is_refused(shop, entry):
    with pytest.raises(WrongUse, match="lies in the future"):
        put(shop, entry)


def test_two_clocks_may_differ_by_two_minutes(shop):
    assert put(shop, oxygen(taken_at=minute(12))).number == 1


def test_a_due_day_lies_in_the_future(shop):
    assert put(shop, oxygen(calibrated_on=date(2026, 11, 1), calibration_due=date(2027, 5, 1))).number == 1


def test_a_time_before_any_meter_is_refused(shop):
    with pytest.raises(WrongUse, match="lies before 2000"):
        put(shop, oxygen(calibrated_on=date(1970, 1, 1)))


@pytest.mark.parametrize(
    "entry",
    [
        oxygen(-0.1),
        oxygen(100.1),
        oxygen(gas=Gas.FLAMMABLE, value=-1),
        oxygen(gas=Gas.FLAMMABLE, value=1001),
        oxygen(gas=Gas.TOXIC, value=1_000_001),
        oxygen(factor=0),
        oxygen(factor=-1),
        oxygen(height_m=1e6),
        oxygen(height_m=-3.0),
        VesselCondition(condition=State.WATER_FILLED, previous_contents="x", water_gap_mm=-1, at=minute(1)),
        LeakEntry(method="decay", start_pa=-200_000, started_at=minute(1)),
        LeakEntry(method="decay", end_pa=1e12, started_at=minute(1)),
        LeakEntry(method="decay", ambient_pa=1, started_at=minute(1)),
        LeakEntry(method="decay", start_k=20, started_at=minute(1)),
        LeakEntry(method="decay", seconds=1e9, started_at=minute(1)),
    ],
)
def test_a_number_that_cannot_be_is_refused(shop, entry):
    with pytest.raises(WrongUse, match="goes from"):
        put(shop, entry)
    assert shop.events(JOB) == ()


OTHER_WAY = [
    WorkChosen(work="x", plan="x"),
    StepDone(step="weld"),
    StepReleased(step="clear"),
    StepReopened(step="clear", reason="x"),
    Sealed(bag="x", manifest_sha256="0", size=1, root="0"),
    Erased(what="x", sha256="0", reason="x"),
]


@pytest.mark.parametrize("entry", OTHER_WAY, ids=lambda entry: entry.kind)
def test_steps_seals_and_erasures_are_not_logged_as_plain_entries(shop, entry):
    with pytest.raises(WrongUse, match="is not logged this way"):
        put(shop, entry)
    assert shop.events(JOB) == ()
