"""Entries of people about a job: cleaned, held against the clock, and logged."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from enum import Enum
from typing import TYPE_CHECKING, Any

from prepcheck.errors import WrongUse
from prepcheck.settings import Settings
from prepcheck.store import LoggedEvent
from prepcheck.store import words as w
from prepcheck.tasks.people import DEFAULTS, proved_role
from prepcheck.trade.entries import (
    AnyEntry,
    Erased,
    Gas,
    GasReading,
    LeakEntry,
    Sealed,
    ShopFitLogged,
    StepDone,
    StepReleased,
    StepReopened,
    VesselCondition,
    WorkChosen,
)

if TYPE_CHECKING:
    from prepcheck.store.store import Store

_OWN_WAY = (WorkChosen, StepDone, StepReleased, StepReopened, Sealed, ShopFitLogged, Erased)
_MOST_GAS = {Gas.OXYGEN: 100.0, Gas.FLAMMABLE: 1000.0, Gas.TOXIC: 1_000_000.0}
"""In the unit of each gas: % by volume, % LEL, ppm. A meter may read above the LEL, not above all there is."""
_EARLIEST = date(2000, 1, 1)


def log_entry(
    store: Store,
    number: str,
    entry: AnyEntry,
    *,
    person: str,
    at: datetime,
    pin: str | None = None,
    settings: Settings = DEFAULTS,
) -> LoggedEvent:
    """Log what a person enters about a job.

    Parameters
    ----------
    store : Store
        From `open_log`.
    number : str
        The job's number.
    entry : AnyEntry
        A reading, condition, certificate, plan, leak entry or note; steps, seals and erasures have use cases of their own.
    person, at
        Who enters it, and when.
    pin : str, optional
        Proves the person's role, which is then logged beside the entry.
    settings : Settings
        How far clocks may differ.

    Raises
    ------
    UnknownRecord
        No such job.
    WrongUse
        A text is missing or cannot be printed, a number cannot be, or a time lies in the future.
    NotAllowed
        The PIN is not right.
    """
    if isinstance(entry, _OWN_WAY):
        raise WrongUse(f"an entry {entry.kind} is not logged this way", "Use the command for it")
    job, name = w.job_number(number), w.clean(person, "the person's name")
    checked = _checked(entry, at, settings)
    store.check_job(job)
    return store.add_event(job, checked, name, at, proved_role(store, name, pin, at, settings))


def cleaned(entry: AnyEntry) -> AnyEntry:
    """Return the entry with each text on one line, in Unicode form NFC, and those that are needed not empty."""
    needed = {name for name, field in type(entry).model_fields.items() if field.is_required()}
    told = {name: _clean(value, _words(name), name in needed) for name, value in entry.model_dump().items()}
    return type(entry).model_validate(told)


def _checked(entry: AnyEntry, at: datetime, settings: Settings) -> AnyEntry:
    told = cleaned(entry)
    for name, value in told:
        if isinstance(value, date):
            _check_time(value, _words(name), at, timedelta(seconds=settings.steps.clock_slack_s))
    _check_numbers(told)
    return told


def _check_time(told: date, what: str, at: datetime, slack: timedelta) -> None:
    """Refuse what lies in the future, but a due date; and what is older than any meter."""
    day = told.date() if isinstance(told, datetime) else told
    future = told > at + slack if isinstance(told, datetime) else told > (at + timedelta(days=1)).date()
    if future and what != "calibration due":
        raise WrongUse(f"{what} lies in the future", "Check it, and the clock of this computer", str(told))
    if day < _EARLIEST:
        raise WrongUse(f"{what} lies before {_EARLIEST.year}", "Check it", str(told))


def _check_numbers(entry: AnyEntry) -> None:
    if isinstance(entry, GasReading):
        _within(entry.value, 0, _MOST_GAS[entry.gas], f"a reading of {entry.gas}")
        _within(entry.factor, 0.01, 100, "the factor")
        _within(entry.height_m, 0, 100, "the height over the bottom in m")
    if isinstance(entry, VesselCondition):
        _within(entry.water_gap_mm, 0, 100_000, "the distance of the water in mm")
    if isinstance(entry, LeakEntry):
        for name, pressure in (("start", entry.start_pa), ("end", entry.end_pa)):
            _within(pressure, -110_000, 100_000_000, f"the pressure at the {name} in Pa")
        _check_end(entry)


def _check_end(entry: LeakEntry) -> None:
    _within(entry.ambient_pa, 10_000, 200_000, "the air pressure in Pa")
    _within(entry.seconds, 0, 366 * 86_400, "the time watched in s")
    for name, kelvin in (("start", entry.start_k), ("end", entry.end_k)):
        _within(kelvin, 150, 500, f"the temperature at the {name} in K")


def _within(value: float | None, low: float, high: float, what: str) -> None:
    if value is not None and not low <= value <= high:
        raise WrongUse(f"{what} goes from {low:g} to {high:g}", "Check it, and the zero of the meter", f"{value:g}")


def _clean(value: Any, what: str, needed: bool) -> Any:
    if isinstance(value, str) and not isinstance(value, Enum):
        return w.clean(value, what, w.NOTE, needed=needed)
    if isinstance(value, list | tuple):
        return tuple(_clean(one, what, needed=False) for one in value)
    if isinstance(value, dict):
        return {_clean(name, what, needed=True): _clean(one, what, needed=False) for name, one in value.items()}
    return value


def _words(name: str) -> str:
    return name.replace("_", " ")
