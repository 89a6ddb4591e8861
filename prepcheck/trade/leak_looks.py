"""What looks for leaks have shown, told in order: what was seen and what was computed, never whether that is enough."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from prepcheck.errors import WrongUse
from prepcheck.settings import COMMON, LeakSettings
from prepcheck.trade.entries import LeakEntry
from prepcheck.trade.facts import Remark, Weight
from prepcheck.trade.leak import Decay, decay_of, in_order, pressure_per_kelvin, with_water
from prepcheck.trade.plan import Line
from prepcheck.trade.units import Kind, System, shown

_METHOD = {"bubbles": "bubble test", "decay": "pressure over time", "water": "filled with water"}
_RATE = "40 CFR 1065.644, seen in the source; gas reckoned at the freezing point of water; errors added as squares, computed"
_STAND_IN = "for errors that were not told stand those of the settings, as shipped common practice, no source"


@dataclass(frozen=True)
class Looks:
    """Looks for leaks in words."""

    lines: tuple[Line, ...]
    remarks: tuple[Remark, ...]


def judge(entries: Iterable[LeakEntry], settings: LeakSettings, system: System) -> Looks:
    """Tell repeated looks for leaks in the order in which they were made.

    An entry with figures that cannot be is told without a rate, and that is said.
    """
    looks = [(entry, _decay(entry, settings)) for entry in in_order(entries)]
    lines = [line for number, look in enumerate(looks, 1) for line in _look_lines(number, *look, system)]
    return Looks(tuple(lines), tuple(_remarks(looks)))


def _decay(entry: LeakEntry, settings: LeakSettings) -> Decay | None:
    try:
        return decay_of(entry, settings)
    except WrongUse:
        return None


def _look_lines(number: int, entry: LeakEntry, decay: Decay | None, system: System) -> Iterable[Line]:
    when = entry.started_at.strftime("%Y-%m-%d %H:%M")
    label = f"Look {number}, {_METHOD[entry.method]}"
    yield Line(label, f"{when}, {_conditions(entry, system)}", entry.gauge)
    yield Line(f"Look {number}, seen", _seen(entry), f"looked at: {entry.looked_at}" if entry.looked_at else "")
    if decay is not None:
        yield from _decay_lines(number, entry, decay, system)


def _conditions(entry: LeakEntry, system: System) -> str:
    parts = [entry.medium or "medium not said"]
    if entry.start_pa is not None:
        parts.append(shown(entry.start_pa, Kind.PRESSURE, system))
    if entry.end_pa is not None and entry.seconds is not None:
        parts.append(f"{shown(entry.end_pa, Kind.PRESSURE, system)} after {shown(entry.seconds, Kind.TIME, system)}")
    return ", ".join(parts)


def _seen(entry: LeakEntry) -> str:
    if entry.leaks:
        return f"leak at {'; '.join(entry.leaks)}"
    return "nothing but the gauge" if _only_watched(entry) else "no leak where it was looked at"


def _only_watched(entry: LeakEntry) -> bool:
    return entry.method == "decay" and not entry.looked_at and not entry.leaks


def _decay_lines(number: int, entry: LeakEntry, decay: Decay, system: System) -> Iterable[Line]:
    source = _RATE if _errors_told(entry) else f"{_RATE}; {_STAND_IN}"
    drop = f"{shown(decay.drop_pa, Kind.PRESSURE, system)} as read"
    corrected = f"{shown(decay.corrected_pa, Kind.PRESSURE, system)} at the temperature of the start"
    yield Line(f"Look {number}, absolute pressure fell", f"{drop}, {corrected}", "ideal gas; computed")
    rate = shown(decay.pa_m3_s, Kind.LEAK_RATE, system)
    error = shown(decay.error_pa_m3_s, Kind.LEAK_RATE, system, 2)
    yield Line(f"Look {number}, loss", f"{rate} ± {error}: {_stands(decay)}", source)
    yield Line(f"Look {number}, loss as amount", f"{decay.mol_s:.3g} ± {decay.error_mol_s:.2g} mol/s", source)


def _errors_told(entry: LeakEntry) -> bool:
    return None not in (entry.pressure_error_pa, entry.temperature_error_k, entry.end_ambient_pa)


def _stands(decay: Decay) -> str:
    if decay.seen:
        return "a loss stands out from the error"
    if decay.grown:
        return "more gas than at the start, so a reading is off"
    return "no loss stands out from the error"


def _remarks(looks: Sequence[tuple[LeakEntry, Decay | None]]) -> Iterable[Remark]:
    entries = [entry for entry, _ in looks]
    decays = [decay for _, decay in looks if decay is not None]
    last_saw = bool(entries) and bool(entries[-1].leaks)
    applies = {
        "leak_seen": last_saw,
        "leak_seen_before": not last_saw and any(entry.leaks for entry in entries),
        "loss_stands_out": any(decay.seen for decay in decays),
        "gas_grew": any(decay.grown for decay in decays),
        "only_watched": bool(entries) and all(_only_watched(entry) for entry in entries),
        "not_told": any(entry.method == "decay" and decay is None and not with_water(entry) for entry, decay in looks),
        "water_watched": any(entry.method == "decay" and with_water(entry) for entry in entries),
        "looked_at_nothing": any(entry.method != "decay" and not entry.looked_at for entry in entries),
    }
    return (_REMARKS[code] for code, does in applies.items() if does)


def drift(gauge_pa: float, kelvin: float, system: System) -> Line:
    """Say how much a change of 1 K moves the pressure of a tight tank."""
    moved = shown(pressure_per_kelvin(gauge_pa, kelvin), Kind.PRESSURE, system)
    step = "1.8 F" if system is System.US else "1 K"
    at = shown(kelvin, Kind.TEMPERATURE, system, 2)
    return Line(f"A change of {step} moves it by", f"{moved} at {at}", "ideal gas; computed")


_REMARKS = {
    one.code: one
    for one in (
        Remark("leak_seen", Weight.HOLD, "The last look saw a leak: mend it and look again."),
        Remark(
            "leak_seen_before",
            Weight.NOTE,
            "An earlier look saw a leak, the last one did not. Both stay in the log; say what was mended between them.",
        ),
        Remark(
            "loss_stands_out",
            Weight.WARN,
            "Gas was lost, by more than the error of the readings: find where with bubbles, on hose and fittings too.",
        ),
        Remark(
            "gas_grew",
            Weight.WARN,
            "The readings show more gas at the end than at the start: read again when temperature has settled.",
        ),
        Remark(
            "only_watched",
            Weight.WARN,
            "Only the pressure was watched. The static test of a boat's tank does not take a falling gauge for the leak "
            "check: every seam and fitting is looked at under pressure.",
            "33 CFR 183.580, seen in the source",
        ),
        Remark(
            "not_told",
            Weight.WARN,
            "A pressure over time without volume, time, both pressures and both temperatures tells no leak rate.",
            "40 CFR 1065.644, seen in the source",
        ),
        Remark(
            "water_watched",
            Weight.NOTE,
            "Under water pressure a falling gauge tells no leak rate: a drop or a bubble of air moves it far.",
            COMMON,
        ),
        Remark("looked_at_nothing", Weight.NOTE, "It was not said which seams and fittings were looked at."),
    )
}
