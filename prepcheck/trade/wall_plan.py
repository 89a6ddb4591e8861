"""The plan of a wall and its refill, in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from prepcheck.settings import COMMON, WallSettings
from prepcheck.trade.entries import WallReading
from prepcheck.trade.facts import Fact, Remark, Weight
from prepcheck.trade.plan import Line, Plan, source_of
from prepcheck.trade.refill import DENSITY, SHAPE_FACTOR, FillRule, WallWork
from prepcheck.trade.units import INCH_MM, Kind, System, convert, shown
from prepcheck.trade.wall import MINIMA, Against, Wall, minimum, of_entry

_METHOD = {
    "gauge": "thickness gauge, least reading; error as given or set",
    "depth": "nominal wall less depth, errors added as squares; computed",
    "before_after": "thickness gauge after grinding, least reading; error as given or set",
}


def wall_plan(work: WallWork, inputs: tuple[tuple[str, str], ...], system: System) -> Plan:
    """Put a computed wall into words, in one system of units."""
    lines = (
        *_wall_lines(work.wall, system),
        *_minimum_lines(work, system),
        *_refill_lines(work, system),
        *_guidance(system),
    )
    return Plan(
        "wall",
        inputs,
        lines,
        (*_minimum_remarks(work.wall, work.minimum, system), *_method_remarks(work.wall), *_refill_remarks(work)),
    )


def check_walls(readings: Iterable[WallReading], settings: WallSettings, system: System) -> tuple[Remark, ...]:
    """Hold logged readings of the wall against the shop's own minimum; of each place the last reading counts."""
    last = {(entry.spot, entry.place): entry for entry in sorted(readings, key=lambda entry: entry.taken_at)}
    least = minimum(None, None, settings)
    if last and least is None:
        return (_REMARKS["no_own_minimum"],)
    return tuple(
        replace(remark, text=f"{_named(entry)}: {remark.text}")
        for entry in last.values()
        for remark in _minimum_remarks(of_entry(entry, settings), least, system)
        if remark.weight is not Weight.NOTE
    )


def _named(entry: WallReading) -> str:
    return ", ".join(part for part in (f"Spot {entry.spot}" if entry.spot else "", entry.place) if part) or "Wall"


def _wall_lines(wall: Wall, system: System) -> tuple[Line, ...]:
    lines = [Line("Wall left", _with_error(wall.left_mm, wall.error_mm, system), _METHOD[wall.method])]
    if wall.readings_mm:
        count = len(wall.readings_mm)
        told = (
            f"mean {_length(wall.mean_mm, system)}, most {_length(max(wall.readings_mm), system)}, of {count} readings"
        )
        lines.append(Line("Readings", told, "computed"))
    if wall.depth_mm is not None:
        lines.append(
            Line(
                "Below nominal" if wall.method == "gauge" else "Ground out", _length(wall.depth_mm, system), "computed"
            )
        )
    if wall.share is not None and wall.nominal_mm is not None:
        error = wall.error_mm / wall.nominal_mm
        lines.append(Line("Share of nominal", f"{100 * wall.share:.0f} % ± {100 * error:.0f} %", "computed"))
    return tuple(lines)


def _minimum_lines(work: WallWork, system: System) -> tuple[Line, ...]:
    own = [("the shop's", work.minimum)] if work.minimum and work.minimum not in MINIMA.values() else []
    published = [(regime.value, fact) for regime, fact in MINIMA.items()]
    return tuple(
        Line(
            f"Minimum, {name}{' (chosen)' if fact == work.minimum else ''}",
            f"{_length(fact.value, system)}: {work.wall.against(fact.value)}",
            source_of(fact),
        )
        for name, fact in own + published
        if fact is not None
    )


def _refill_lines(work: WallWork, system: System) -> tuple[Line, ...]:
    if work.refill is None or work.rods is None:
        return ()
    refill, rods = work.refill, work.rods
    shares = f"{100 * rods.overfill_share:.0f} % for the cap, {100 * rods.loss_share:.0f} % lost"
    settings = f"{shares}; settings, as shipped common practice, no source"
    lines = [
        Line(
            "Volume of the ground-out",
            shown(refill.volume_mm3, Kind.SMALL_VOLUME, system),
            f"area x depth x {SHAPE_FACTOR[refill.shape]:g} ({refill.shape.value}); computed",
        ),
        Line("Filler to melt", shown(refill.filler_mm3, Kind.SMALL_VOLUME, system), settings),
        Line(
            "Rods",
            f"{refill.rods} ({_length(refill.length_mm, system)} of {_length(rods.diameter_mm, system)} rod)",
            f"rods {_length(rods.length_mm, system)} long; computed",
        ),
        Line("Mass of filler", _small_mass(refill.mass_kg, system), source_of(DENSITY)),
    ]
    return (*lines, *_rule_lines(work.fill_rule, system))


def _rule_lines(rule: FillRule | None, system: System) -> tuple[Line, ...]:
    if rule is None:
        return ()
    thin = f"less than {100 * rule.least_share:.0f} % of the nominal wall is left"
    large = f"the area is over {shown(rule.most_area_mm2, Kind.AREA, system)}"
    because = [text for text, does in ((thin, rule.too_thin), (large, rule.too_large)) if does]
    said = f"patch plate: {'; '.join(because)}" if because else "fill"
    return (
        Line(
            "Fill or patch, the shop's own rule", said, "settings wall.fill_*; defaults are common practice, no source"
        ),
    )


def _minimum_remarks(wall: Wall, least: Fact | None, system: System) -> tuple[Remark, ...]:
    if least is None:
        return (_REMARKS["no_minimum"],)
    told = {
        Against.BELOW: ("below_minimum", "Less wall is left than the chosen minimum of {}: patch, replace, or ask."),
        Against.CANNOT_TELL: (
            "near_minimum",
            "The chosen minimum of {} lies within the error of the wall left: measure again, more finely.",
        ),
    }.get(wall.against(least.value))
    if told is None:
        return (_REMARKS["new_tanks"],)
    code, text = told
    weight = Weight.HOLD if least.may_hold else Weight.WARN
    shown_least = _length(least.value, system)
    return (Remark(code, weight, text.format(shown_least), source_of(least)), _REMARKS["new_tanks"])


def _method_remarks(wall: Wall) -> tuple[Remark, ...]:
    applies = {
        "least_place": True,
        "far_side": wall.method == "depth",
        "one_reading": len(wall.readings_mm) == 1,
        "more_than_nominal": wall.nominal_mm is not None and wall.left_mm > wall.nominal_mm + wall.error_mm,
    }
    return tuple(_REMARKS[code] for code, does in applies.items() if does)


def _refill_remarks(work: WallWork) -> tuple[Remark, ...]:
    return () if work.refill is None else (_REMARKS["softened"],)


_REMARKS = {
    one.code: one
    for one in (
        Remark(
            "no_minimum",
            Weight.WARN,
            "No minimum was chosen, so nothing is held against one. Published ones differ; the shop picks, by its regime.",
        ),
        Remark(
            "no_own_minimum",
            Weight.WARN,
            "The shop's settings name no minimum wall, so logged readings are held against none; a plan can name one.",
        ),
        Remark(
            "new_tanks",
            Weight.NOTE,
            "Minima are published for the walls of new tanks; whether one holds for a repair is for the shop to say.",
        ),
        Remark(
            "least_place",
            Weight.NOTE,
            "A wall is known only where it was measured; boat tanks were found eaten through mostly from the bottom.",
            "study of aluminium boat tanks as reported by surveyors, seen in the source",
        ),
        Remark(
            "far_side",
            Weight.WARN,
            "The nominal wall was not measured and the far side was not seen: gauge the wall where you can.",
            COMMON,
        ),
        Remark(
            "one_reading",
            Weight.NOTE,
            "One reading may miss the thinnest place: take several across the spot, the least counts.",
            COMMON,
        ),
        Remark(
            "more_than_nominal",
            Weight.WARN,
            "The gauge shows more than the nominal wall: coating under the probe, or a wrong sound velocity or nominal.",
            COMMON,
        ),
        Remark(
            "softened",
            Weight.NOTE,
            "Welding softens tempered plate beside the weld: a filled wall is not as strong as it was.",
            COMMON,
        ),
    )
}


def _guidance(system: System) -> tuple[Line, ...]:
    half, whole, circle = (_length(inches * INCH_MM, system) for inches in (0.5, 1, 8))
    pits = shown(7 * INCH_MM**2, Kind.AREA, system)
    tank = (
        f"a corroded area not thinner than the specification minimum; a dent at a weld at most {half} deep, elsewhere "
    )
    vessel = "guidance only: no pit leaves less than half the required wall; pits deeper than the corrosion allowance "
    return (
        Line(
            "Cargo tanks",
            f"{tank}at most {whole} and a tenth of its greatest dimension",
            "49 CFR 180.411, seen in the source",
        ),
        Line(
            "Scattered pits",
            f"{vessel}cover at most {pits} within any circle of {circle}",
            "API 510 section 7, written for steel pressure vessels, seen in the source",
        ),
    )


def _small_mass(kg: float, system: System) -> str:
    symbol = "g" if system is System.METRIC else "oz"
    return f"{convert(kg, Kind.MASS, symbol):.2g} {symbol}"


def _length(mm: float, system: System) -> str:
    return shown(mm, Kind.LENGTH, system)


def _with_error(mm: float, error_mm: float, system: System) -> str:
    return f"{_length(mm, system)} ± {shown(error_mm, Kind.LENGTH, system, 2)}"
