"""The four plans as forms; each makes its plan with the same functions as the command line."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal, TypeVar

from prepcheck.errors import WrongUse
from prepcheck.settings import Settings
from prepcheck.trade import filler, refill
from prepcheck.trade import wall as walls
from prepcheck.trade import weld as welds
from prepcheck.trade.clearing import Method, Vessel, clearing_plan, read_price
from prepcheck.trade.clearing import Wish as ClearingWish
from prepcheck.trade.entries import LeakEntry
from prepcheck.trade.leak import decay_of
from prepcheck.trade.leak_plan import leak_plan
from prepcheck.trade.leak_work import Wish as LeakWish
from prepcheck.trade.leak_work import work_out
from prepcheck.trade.look_fields import LOOK_FIELDS
from prepcheck.trade.plan import Plan, given
from prepcheck.trade.units import Kind, System, optional_quantity, quantity
from prepcheck.trade.wall_plan import wall_plan
from prepcheck.trade.weld_plan import weld_plan
from prepcheck.web.pages.forms import Field, Said, choices, made, needed, number

W = TypeVar("W", bound=str)


@dataclass(frozen=True)
class Asked:
    """What a plan is made from: what was typed, and looks for leaks that are in the log."""

    said: Said
    settings: Settings
    now: datetime
    looks: tuple[LeakEntry, ...] = ()

    @property
    def system(self) -> System:
        """Units of the plan."""
        return _word(self, "units", System, "the units", self.settings.report.units)

    def quantity(self, name: str, kind: Kind, what: str) -> float | None:
        """Read a quantity that may be missing."""
        return optional_quantity(self.said.get(name), kind, what)

    def several(self, name: str, kind: Kind, what: str) -> list[float]:
        """Read quantities, one on each line."""
        return [quantity(line, kind, what) for line in _lines(self.said, name)]

    def inputs(self, fields: Sequence[Field]) -> tuple[tuple[str, str], ...]:
        """Return what was typed as the inputs of the plan."""
        return given(**{one.name: "; ".join(_lines(self.said, one.name)) or None for one in fields})


@dataclass(frozen=True)
class PlanForm:
    """One plan: what is asked, and how it is made."""

    name: str
    words: str
    fields: tuple[Field, ...]
    make: Callable[[Asked], Plan]
    rarely: tuple[Field, ...] = ()


def _lines(said: Said, name: str) -> list[str]:
    return [line.strip() for line in said.get(name, "").splitlines() if line.strip()]


def _word(asked: Asked, name: str, kind: Callable[[str], W], what: str, usual: str = "") -> W:
    """Return one of the words of `kind`; `WrongUse` for any other."""
    word = asked.said.get(name, usual) or needed(asked.said, name, what)
    try:
        return kind(word)
    except ValueError as error:
        raise WrongUse(f"{what} is none that can be chosen", "Choose one of the list", word[:40]) from error


def _clearing(asked: Asked) -> Plan:
    price = asked.said.get("price")
    wish = ClearingWish(
        volume_m3=quantity(needed(asked.said, "volume", "the volume"), Kind.VOLUME, "the volume"),
        contents=needed(asked.said, "contents", "what it held"),
        method=_word(asked, "method", Method, "the method"),
        vessel=_word(asked, "vessel", Vessel, "the kind of vessel", Vessel.OTHER.value),
        temperature_k=quantity(asked.said.get("temperature", "20 C"), Kind.TEMPERATURE, "the temperature"),
        target=number(asked.said, "target", "the target"),
        flow_l_min=asked.quantity("flow", Kind.GAS_FLOW, "the flow"),
        price=None if price is None else read_price(price),
        room_m3=asked.quantity("room", Kind.VOLUME, "the room"),
    )
    return clearing_plan(wish, asked.settings.clearing, asked.system)


def _wall(asked: Asked) -> Plan:
    settings, regime = asked.settings.wall, asked.said.get("regime")
    left = walls.measured(
        settings,
        nominal_mm=asked.quantity("nominal", Kind.LENGTH, "the nominal wall"),
        depth_mm=asked.quantity("depth", Kind.LENGTH, "the depth"),
        gauge_mm=asked.several("gauge", Kind.LENGTH, "a gauge reading"),
        before_mm=asked.several("before", Kind.LENGTH, "a reading before"),
        error_mm=asked.quantity("error", Kind.LENGTH, "the error"),
    )
    own = asked.quantity("minimum", Kind.LENGTH, "the minimum")
    work = refill.work_out(
        left,
        walls.minimum(None if regime is None else _word(asked, "regime", walls.Regime, "the regime"), own, settings),
        settings,
        area_mm2=asked.quantity("area", Kind.AREA, "the area"),
        shape=_word(asked, "shape", refill.Shape, "the shape", refill.Shape.PRISM.value),
        rod_mm=asked.quantity("rod", Kind.LENGTH, "the rod's diameter"),
    )
    return wall_plan(work, asked.inputs((*WALL, *WALL_RARELY)), asked.system)


def _weld(asked: Asked) -> Plan:
    settings = asked.settings.weld
    start = welds.start(
        quantity(needed(asked.said, "thickness", "the thickness"), Kind.LENGTH, "the thickness"),
        settings,
        current_a=number(asked.said, "current", "the current"),
        voltage_v=number(asked.said, "voltage", "the voltage"),
        speed_mm_s=asked.quantity("speed", Kind.SPEED, "the travel speed"),
    )
    choice = filler.choose(
        filler.base_alloy(needed(asked.said, "alloy", "the alloy")),
        service_k=asked.quantity("service", Kind.TEMPERATURE, "the service temperature"),
        anodised="anodised" in asked.said,
    )
    return weld_plan(start, choice, settings, asked.inputs((*WELD, *WELD_RARELY)), asked.system)


def _leak(asked: Asked) -> Plan:
    wish = LeakWish(
        medium=asked.said.get("medium", "air"),
        head_m=asked.quantity("head", Kind.HEIGHT, "the head"),
        contents=asked.said.get("contents"),
        density_kg_m3=asked.quantity("density", Kind.DENSITY, "the density"),
        volume_m3=asked.quantity("volume", Kind.VOLUME, "the volume"),
        label_pa=asked.quantity("label", Kind.PRESSURE, "the label's pressure"),
        pressure_pa=asked.quantity("pressure", Kind.PRESSURE, "the pressure"),
        most_pa=asked.quantity("most", Kind.PRESSURE, "the most that the tank may see"),
        panel_mm2=asked.quantity("panel", Kind.AREA, "the panel's area"),
        looks=(*asked.looks, *_look(asked)),
    )
    settings = asked.settings.leak
    return leak_plan(work_out(wish, settings), settings, asked.inputs((*LEAK, *LEAK_RARELY)), asked.system)


def _look(asked: Asked) -> tuple[LeakEntry, ...]:
    """Return the look that the form tells of, where it tells of one."""
    said = asked.said
    figures: dict[str, Any] = {
        to: quantity(said[name], kind, name.replace("_", " "))
        for name, (to, kind) in LOOK_FIELDS.items()
        if name in said
    }
    if not figures and not said.get("leaks") and not said.get("looked_at"):
        return ()
    if "end_air_pressure" in said and "air_pressure" not in said:
        raise WrongUse("the air's pressure was read only at the end", "Give that at the start too, or neither")
    with_water = "water" if said.get("medium") == "water" else "bubbles"
    look = made(
        LeakEntry,
        method="decay" if "end_pressure" in said else with_water,
        medium=said.get("medium", "air"),
        volume_m3=asked.quantity("volume", Kind.VOLUME, "the volume"),
        start_pa=asked.quantity("pressure", Kind.PRESSURE, "the pressure"),
        started_at=asked.now,
        leaks=tuple(_lines(said, "leaks")),
        looked_at=said.get("looked_at", ""),
        **figures,
    )
    decay_of(look, asked.settings.leak)  # a figure that cannot be is refused here, not left out of the plan
    return (look,)


_LINES: Literal["text area"] = "text area"
CLEARING = (
    Field("volume", "Volume of the empty vessel", 'With its unit: "600 L", "150 gal"', needed=True),
    Field("contents", "What it held", "Or: unknown", needed=True, most=200),
    Field("method", "How to clear it", kind="list", choices=choices(Method), needed=True),
    Field("vessel", "Kind of vessel", "It decides whose rule holds", "list", choices(Vessel), value="other"),
)
CLEARING_RARELY = (
    Field("flow", "Flow of gas or air", 'Such as "20 L/min"'),
    Field("room", "Volume of the room that the gas comes out into", 'Such as "90 m3"'),
    Field("temperature", "Temperature of the vessel", "20 C if left empty"),
    Field("target", "Oxygen to come below, in %", "The shop's setting if left empty", "number"),
    Field("price", "Your own price of the gas", 'Such as "4.20/kg"'),
)
WALL = (
    Field("nominal", "Nominal wall", 'With its unit: "5 mm", "3/16 in"'),
    Field("gauge", "Readings of a thickness gauge", "One on each line, with its unit", _LINES, most=1000),
    Field("depth", "Deepest depth of the ground-out", "By depth gauge"),
    Field("regime", "Whose minimum the shop works to", kind="list", choices=(("", "none"), *choices(walls.Regime))),
    Field("minimum", "The minimum that applies", "Instead of the one above"),
)
WALL_RARELY = (
    Field("before", "Readings before grinding", "One on each line; those above are then after", _LINES, most=1000),
    Field("error", "Error of the gauge", "95% half width"),
    Field("area", "Area of the ground-out", 'Such as "900 mm2"'),
    Field("shape", "Shape of the ground-out", "Prism: steep sides; dish: half as much", "list", choices(refill.Shape),
          value="prism"),
    Field("rod", "Diameter of the filler rod"),
)  # fmt: skip
WELD = (
    Field("thickness", "Thickness of the metal", 'With its unit: "5 mm", "3/16 in"', needed=True),
    Field("alloy", "Base metal", "Four figures such as 5083, or 5xxx, casting, unknown", needed=True),
)
WELD_RARELY = (
    Field("service", "Highest temperature in service", 'Such as "60 C"'),
    Field("anodised", "The weld has to match when anodised", kind="tick"),
    Field("current", "Current in A", "Instead of the rule of thumb's", "number"),
    Field("voltage", "Arc voltage in V", "For the heat input", "number"),
    Field("speed", "Travel speed", 'Such as "2 mm/s"'),
)
LEAK = (
    Field("medium", "Tested with", kind="list", choices=choices(("air", "nitrogen", "argon", "water")), value="air"),
    Field("head", "From the lowest point to where it overflows", 'With its unit: "1.1 m"'),
    Field("contents", "What it will hold", "petrol, diesel or water"),
    Field("volume", "Capacity", '"500 L", "130 gal"'),
    Field("label", "Test pressure on the tank's label"),
    Field("pressure", "Gauge pressure meant or read", "Otherwise the label's, or by the rule"),
    Field("most", "The most that the tank may see", "By whoever knows it"),
)
LEAK_RARELY = (
    Field("density", "Density of other contents", 'Such as "0.9 kg/L"'),
    Field("panel", "Area of the largest flat panel", 'Such as "0.6 m2"'),
    Field("end_pressure", "Gauge pressure at the end"),
    Field("watched", "Watched for", 'Such as "30 min"'),
    Field("temperature", "Temperature of the gas at the start"),
    Field("end_temperature", "Temperature at the end"),
    Field("air_pressure", "Pressure of the air around, at the start"),
    Field("end_air_pressure", "The same at the end"),
    Field("pressure_error", "Error of the gauge", "95% half width"),
    Field("temperature_error", "Error of the thermometer", 'Such as "0.5 K"'),
    Field("leaks", "Leaks seen", "One place on each line", _LINES, most=1000),
    Field("looked_at", "Which seams and fittings were looked at", kind=_LINES, most=1000),
)
PLANS = {
    "clearing": PlanForm("Clearing a closed vessel", "What comes before heat, who decides, what a purge takes, hazards.",
                         CLEARING, _clearing, CLEARING_RARELY),
    "wall": PlanForm("Wall left", "The wall under a ground spot, against a minimum, and the filler for it.",
                     WALL, _wall, WALL_RARELY),
    "weld": PlanForm("Weld, to start from", "Starting values; the shop's qualified procedure rules; a test piece comes first.",
                     WELD, _weld, WELD_RARELY),
    "leak": PlanForm("Leak test", "Pressure, what it stores, and what readings and looks tell.",
                     LEAK, _leak, LEAK_RARELY),
}  # fmt: skip
"""By the word in the address."""
