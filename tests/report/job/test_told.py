"""One clock, one system of units, and the last word of each pass."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from prepcheck.errors import StoreFault
from prepcheck.report.job.told import by, last_of, person
from prepcheck.store.rows import LoggedEvent, PassStory, Story
from prepcheck.trade import entries as e
from prepcheck.trade.units import Kind, System
from tests.report.job import made


@pytest.fixture
def told():
    return made.told()


@pytest.mark.parametrize(
    ("logged", "shown"),
    [
        ("2026-11-24T09:15:59+01:00", "2026-11-24 09:15"),
        ("2026-11-24T08:15:00+00:00", "2026-11-24 09:15"),  # the same moment by another clock
        ("2026-11-24T02:45:00-05:30", "2026-11-24 09:15"),
        ("2026-12-31T23:30:00+00:00", "2027-01-01 00:30"),
    ],
)
def test_times_are_shown_by_the_clock_of_the_time_of_writing(told, logged, shown):
    assert told.when(logged) == shown
    assert told.when(datetime.fromisoformat(logged)) == shown


@pytest.mark.parametrize(
    ("zone", "words"),
    [
        (UTC, "UTC"),
        (timezone(timedelta(hours=1)), "UTC+01:00"),
        (timezone(-timedelta(hours=3, minutes=30)), "UTC-03:30"),
    ],
)
def test_the_offset_is_said_once(zone, words):
    assert made.told(now=datetime(2026, 11, 24, 12, tzinfo=zone)).offset == words


@pytest.mark.parametrize(
    ("system", "wall", "pressure", "temperature"),
    [
        # 5 / 25.4 = 0.19685; 20.7 / 6.894757 = 3.0023; 16 x 9/5 + 32 = 60.8
        (System.METRIC, "5.00 mm", "20.7 kPa", "16.0 °C"),
        (System.US, "0.197 in", "3.00 psi", "60.8 °F"),
    ],
)
def test_quantities_are_said_in_one_system(system, wall, pressure, temperature):
    told = made.told(system=system)
    assert told.say(5.0, Kind.LENGTH) == wall
    assert told.say(20_700.0, Kind.PRESSURE) == pressure
    assert told.say(289.15, Kind.TEMPERATURE) == temperature


def test_what_is_not_known_is_a_dash(told):
    assert told.say(None, Kind.LENGTH) == "-"


@pytest.mark.parametrize("where", ["title", "part", "customer_reference"])
def test_a_job_says_that_it_is_invented_in_any_of_its_texts(where):
    plain = replace(made.JOB, title="Bowser", customer_reference="7")
    assert not made.told(story=Story(plain, ())).invented
    assert made.told(story=Story(replace(plain, **{where: "Invented for a course"}), ())).invented


def test_inspections_come_in_the_order_of_their_numbers(told):
    assert [one.number for one in told.inspections] == [1, 2, 3, 4, 5]


def test_entries_of_a_kind_come_in_order_with_their_events(told):
    assert [entry.spot for _, entry in told.of(e.WallReading)] == [1, 2]
    assert all(event.entry is entry for event, entry in told.of(e.GasReading))


def test_a_photo_that_cannot_be_had_gives_the_reason():
    def changed(sha256):
        raise StoreFault("was changed since it was logged", "Bring it back from a backup", sha256)

    assert made.told(photo=changed).photo_or_reason("ab") == "was changed since it was logged"


def test_of_a_pass_the_last_inspection_that_is_not_corrected_speaks():
    (one,) = made.spots()[0].passes[0].inspections
    corrected = replace(one, number=8, corrected_by=(9,))
    assert last_of(PassStory(1, (one, corrected))) is one
    assert last_of(PassStory(1, (corrected, one))) is one


def test_where_all_are_corrected_the_last_one_speaks():
    (one,) = made.spots()[0].passes[0].inspections
    first, second = (replace(one, number=n, corrected_by=(9,)) for n in (7, 8))
    assert last_of(PassStory(1, (first, second))) is second


def test_a_person_is_named_with_the_role_that_was_proved():
    assert person("Ola", "keeper") == "Ola (keeper)"
    assert person("Ola", "") == "Ola"
    assert by(LoggedEvent(1, made.at(0), "Mika", "welder", None)) == "Mika (welder)"
