"""An invented workshop for the tests of people and steps: Rune keeps its log, Mika may release, Ola welds without a PIN."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from prepcheck import tasks
from prepcheck.settings import PeopleSettings, Settings
from prepcheck.store import NewJob
from prepcheck.store.store import Store
from prepcheck.trade.entries import Gas, GasReading, Sensor, State, VesselCondition
from prepcheck.trade.work import Work, load_work, parse_work
from tests.store.logs import LogCopy

QUICK = Settings(people=PeopleSettings(hash_passes=1, hash_memory_kib=64, hash_lanes=1))
"""With PINs that are hashed at once."""
START = datetime(2026, 11, 24, 8, 0, tzinfo=UTC)
JOB = "J-0001"
PINS = {"Rune": "2468", "Mika": "1357"}

SHORT = """
title = "Short job"

[[step]]
name = "clean"
title = "Clean"

[[step]]
name = "clear"
title = "Clear"
needs = ["clean"]
hold_point = true
other_person = true

[[step]]
name = "weld"
title = "Weld"
needs = ["clean", "clear"]
within_hours_of = "clean"

[[step]]
name = "look over"
title = "Look over"
needs = ["weld"]
hold_point = true
"""


def minute(count: float) -> datetime:
    """Return the time `count` minutes after eight o'clock."""
    return START + timedelta(minutes=count)


def short() -> Work:
    """Return a plan of four steps."""
    return parse_work(SHORT, "short")


@cache
def _log() -> LogCopy:
    with TemporaryDirectory() as name:
        store, _ = tasks.open_log(Path(name), QUICK)
        tasks.open_job(store, NewJob("Bowser, pitted seam"), person="Ola", at=START)
        named: dict[str, Any] = {"at": START, "settings": QUICK}
        tasks.add_person(store, "Rune", "keeper", PINS["Rune"], **named)
        tasks.add_person(store, "Mika", "releaser", PINS["Mika"], by="Rune", by_pin=PINS["Rune"], **named)
        return LogCopy(store)


def new_shop(folder: Path) -> Store:
    """Make a log with the job, a keeper and a releaser; without a plan."""
    _log().put(folder)
    return tasks.open_log(folder, QUICK)[0]


def planned(folder: Path, work: Work | None = None) -> Store:
    """Make the log of `new_shop`, with a plan for the job."""
    store = new_shop(folder)
    tasks.choose_work(store, JOB, work or short(), person="Ola", at=START)
    return store


def closed() -> Work:
    """Return the plan for a closed vessel that ships."""
    return load_work("closed-vessel")


def done(store: Store, step: str, at: float, person: str = "Ola", **more: Any) -> None:
    """Say that a step is done at a minute after eight."""
    tasks.mark_step(store, JOB, step, person=person, at=minute(at), settings=QUICK, **more)


def release(store: Store, step: str, at: float, person: str = "Mika", **more: Any) -> None:
    """Release a hold point at a minute after eight."""
    pin = more.pop("pin", PINS.get(person))
    tasks.release_step(store, JOB, step, person=person, pin=pin, at=minute(at), settings=QUICK, **more)


def progress(store: Store, at: float) -> dict[str, str]:
    """Return how each step stands at a minute after eight."""
    state = tasks.story_state(tasks.job_story(store, JOB), minute(at), QUICK)
    assert state is not None
    return {one.step.name: one.progress.value for one in state.steps}


def condition(at: float) -> VesselCondition:
    """Make a ventilated condition."""
    return VesselCondition(condition=State.VENTILATED, previous_contents="diesel", at=minute(at))


def readings(at: float, oxygen: float = 20.9) -> list[GasReading]:
    """Make readings of all gases at two places and heights."""
    from datetime import date

    meter: dict[str, Any] = {
        "meter": "meter 4", "calibration_gas": "pentane", "calibrated_on": date(2026, 11, 1), "sees_hydrogen": True,
        "calibration_due": date(2027, 1, 1), "taken_at": minute(at),
    }  # fmt: skip
    places = [(place, height) for place in ("sump", "aft") for height in (0.1, 1.2)]
    made: list[GasReading] = []
    for place, height in places:
        made.append(
            GasReading(
                gas=Gas.OXYGEN, value=oxygen, place=place, height_m=height, sensor=Sensor.ELECTROCHEMICAL, **meter
            )
        )
    for place, height in places:
        made.append(
            GasReading(gas=Gas.FLAMMABLE, value=0, place=place, height_m=height, sensor=Sensor.CATALYTIC, **meter)
        )
    for place, height in places:
        toxic = {"of": "benzene", "limit": 1.0, "limit_source": "the shop's own"}
        made.append(
            GasReading(
                gas=Gas.TOXIC, value=0, place=place, height_m=height, sensor=Sensor.PHOTOIONISATION, **toxic, **meter
            )
        )
    return made
