"""The plan of starting values for welding, in words."""

from __future__ import annotations

from collections.abc import Iterable

from prepcheck.settings import COMMON, WeldSettings
from prepcheck.trade.facts import Remark, Weight, of_setting
from prepcheck.trade.filler import HOT_SERVICE, MAGNESIUM_LINE, MAKE_UP, Choice, Family, magnesium
from prepcheck.trade.plan import Line, Plan, source_of
from prepcheck.trade.units import Kind, System, shown, span
from prepcheck.trade.weld import RULE, Reading, Start
from prepcheck.trade.weld_tables import Band

_GUIDE = source_of(MAGNESIUM_LINE)
_BOOK = "Mathers, The welding of aluminium and its alloys, 4.7, seen in the source"


def weld_plan(
    start: Start, choice: Choice, settings: WeldSettings, inputs: tuple[tuple[str, str], ...], system: System
) -> Plan:
    """Put starting values and the choice of filler into words, in one system of units."""
    lines = (
        *_current_lines(start),
        *_size_lines(start.readings, system),
        *_gas_and_heat_lines(start, settings, system),
        *_filler_lines(choice),
        *_cleaning_lines(choice, settings, system),
    )
    return Plan(
        "weld", inputs, lines, (*_start_remarks(start, settings, system), *_filler_remarks(choice, system), *_ALWAYS)
    )


def _current_lines(start: Start) -> tuple[Line, ...]:
    rule = Line("Current, rule of thumb", f"{start.rule_a:.0f} A", f"1 {RULE.unit}: {source_of(RULE)}")
    bands = (
        Line(f"Current, {one.table.name}", _band(one, start.current_a), f"{one.table.source}, {one.table.mark.value}")
        for one in start.readings
    )
    return (Line("Process", "TIG, alternating current, argon", "all tables below"), rule, *bands)


def _band(reading: Reading, current_a: float) -> str:
    band = reading.current_a
    if band is None:
        return "outside the table"
    told = f"{band.low:.0f} to {band.high:.0f} A"
    if current_a in reading:
        return f"{told}; {current_a:.0f} A lies in it"
    if current_a < band.low:
        return f"{told}; {current_a:.0f} A is {100 * (1 - current_a / band.low):.0f} % below"
    return f"{told}; {current_a:.0f} A is {100 * (current_a / band.high - 1):.0f} % above"


def _size_lines(readings: tuple[Reading, ...], system: System) -> Iterable[Line]:
    sizes = (
        ("Tungsten", [one.tungsten_mm for one in readings], Kind.LENGTH),
        ("Rod", [one.rod_mm for one in readings], Kind.LENGTH),
        ("Argon", [one.gas_l_min for one in readings], Kind.GAS_FLOW),
    )
    for label, bands, kind in sizes:
        found = [(one.table.source, band) for one, band in zip(readings, bands, strict=True) if band is not None]
        if found:
            value = _spread([band for _, band in found], kind, system)
            sources = ", ".join(dict.fromkeys(source for source, _ in found))
            yield Line(label, value, f"rows either side in {sources}; seen in the source")


def _spread(bands: list[Band], kind: Kind, system: System) -> str:
    return span(min(one.low for one in bands), max(one.high for one in bands), kind, system, 2)


def _gas_and_heat_lines(start: Start, settings: WeldSettings, system: System) -> Iterable[Line]:
    rule = f"1 s per {settings.post_flow_a_per_s:g} A, at least {settings.post_flow_least_s:g} s"
    source = f"{rule}: {source_of(of_setting(settings, 'post_flow_a_per_s'))}"
    yield Line("Post-flow", f"{start.post_flow_s:.0f} s", source)
    if start.heat_kj_mm is not None:
        formula = f"{settings.arc_efficiency:g} x voltage x current / speed at {start.current_a:.0f} A"
        heat = shown(start.heat_kj_mm, Kind.HEAT_INPUT, system)
        share = source_of(of_setting(settings, "arc_efficiency"))
        yield Line("Heat input", heat, f"{formula}: EN 1011-1, from memory, check it; {share}")


def _filler_lines(choice: Choice) -> Iterable[Line]:
    limits = magnesium(choice.base)
    told = "" if limits is None else f", {limits[0]:g} to {limits[1]:g} % Mg"
    marks = (
        "" if limits is None else "a filler maker's guide, seen" if choice.base.name == "5052" else "limits from memory"
    )
    yield Line("Base", f"{choice.base.name}: {choice.base.family.value}{told}", marks)
    if choice.needs_test:
        yield Line("Filler", "none named: an analysis or a test weld comes first", COMMON)
        return
    yield Line("Filler", ", or ".join(choice.suits), _GUIDE)
    for name, why in choice.never:
        yield Line("Never", f"{name}: {why}", _GUIDE)
    for name in choice.suits:
        yield Line(f"{name} has", *MAKE_UP[name])


def _cleaning_lines(choice: Choice, settings: WeldSettings, system: System) -> Iterable[Line]:
    margin = shown(settings.margin_mm, Kind.LENGTH, system, 2)
    yield Line("Clean first", "degrease, then a stainless brush or scraper kept for aluminium", _BOOK)
    yield Line("Clean margin", f"{margin} each side of the weld", source_of(of_setting(settings, "margin_mm")))
    reach = f"{span(1, 3, Kind.LENGTH, system, 2)} from the weld line"
    yield Line("Arc cleaning reaches", reach, "one trade page, seen in the source")
    if choice.base.loses_cut_edge:
        edge = f"take off at least {shown(3, Kind.LENGTH, system, 2)} of a plasma or laser cut edge"
        yield Line(
            "Cut edges", edge, "a trade magazine and a filler maker, for 2xxx, 6xxx and 7xxx, seen in the source"
        )


def _start_remarks(start: Start, settings: WeldSettings, system: System) -> Iterable[Remark]:
    limit = shown(settings.rule_most_mm, Kind.LENGTH, system, 2)
    if start.thickness_mm > settings.rule_most_mm:
        text = f"Above {limit} the rule of thumb reads low, most of all on fillets: go by the handbook bands."
        yield Remark("rule_reads_low", Weight.WARN, text, "three handbook tables beside the rule; computed")
    if not start.in_tables:
        text = "No handbook table seen here reaches this thickness: go by a procedure made for it."
        yield Remark("outside_tables", Weight.WARN, text)
    elif not any(start.current_a in one for one in start.readings):
        text = f"{start.current_a:.0f} A lies in none of the handbook bands for this thickness."
        yield Remark("outside_bands", Weight.WARN, text)


def _filler_remarks(choice: Choice, system: System) -> Iterable[Remark]:
    hot = shown(HOT_SERVICE.value, Kind.TEMPERATURE, system, 2)
    applies = {
        "needs_test": choice.needs_test,
        "straddles": choice.base.family is Family.STRADDLES,
        "warm_high_magnesium": choice.base.family is Family.HIGH_MAGNESIUM and "5554" in choice.suits,
        "no_anodised_match": not choice.anodised_match,
        "service_temperature": "5356" in choice.suits,
    }
    texts = _filler_texts(choice, hot)
    return (Remark(code, *texts[code]) for code, does in applies.items() if does)


def _filler_texts(choice: Choice, hot: str) -> dict[str, tuple[Weight, str, str]]:
    return {
        "needs_test": (
            Weight.HOLD,
            f"{choice.base.family.value.capitalize()}: it may not weld by the usual recipe, and no filler is named. Have it "
            "analysed, or weld a test piece of the same metal and break it.",
            COMMON,
        ),
        "straddles": (
            Weight.WARN,
            "The magnesium of this alloy lies on both sides of the line at 2.5 %, so the guide's rule does not decide: the "
            "filler for more magnesium is named. A certificate of the plate tells.",
            _GUIDE,
        ),
        "warm_high_magnesium": (
            Weight.WARN,
            f"Over {hot} neither usual filler suits, and plate so rich in magnesium may itself not suit: ask its maker.",
            COMMON,
        ),
        "no_anodised_match": (
            Weight.WARN,
            "No filler that suits here matches the plate's colour when anodised: 5356 would.",
            _GUIDE,
        ),
        "service_temperature": (
            Weight.NOTE,
            f"5356 is not for parts that are over {hot} in service: give the temperature if it gets warm.",
            source_of(HOT_SERVICE),
        ),
    }


_ALWAYS = (
    Remark(
        "starting_values",
        Weight.WARN,
        "These are values to start from on scrap of the same metal and thickness; the shop's qualified procedure rules.",
    ),
    Remark(
        "chlorinated_solvent",
        Weight.WARN,
        "Never a chlorinated solvent or brake cleaner near an arc: it makes phosgene.",
        "a trade manual, seen in the source",
    ),
    Remark(
        "wet_grows_oxide",
        Weight.NOTE,
        "Oxide grows slowly on dry metal at room temperature and fast on wet or hot metal: dry it, clean again when in doubt.",
        "a welding maker's aluminium guide, section 4.1, seen in the source",
    ),
    Remark(
        "softened",
        Weight.NOTE,
        "Heat softens tempered plate beside the weld.",
        COMMON,
    ),
)
