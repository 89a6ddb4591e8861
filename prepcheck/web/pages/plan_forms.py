"""The four plans as forms; each makes its plan with the same functions as the command line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from prepcheck.trade import plans, refill
from prepcheck.trade import wall as walls
from prepcheck.trade.clearing import Method, Vessel
from prepcheck.trade.plan import Plan
from prepcheck.trade.plans import Asked
from prepcheck.web.pages.forms import Field, choices


@dataclass(frozen=True)
class PlanForm:
    """One plan: what is asked, and how it is made."""

    name: str
    words: str
    fields: tuple[Field, ...]
    make: Callable[[Asked], Plan]
    rarely: tuple[Field, ...] = ()


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
                         CLEARING, plans.clearing, CLEARING_RARELY),
    "wall": PlanForm("Wall left", "The wall under a ground spot, against a minimum, and the filler for it.",
                     WALL, plans.wall, WALL_RARELY),
    "weld": PlanForm("Weld, to start from", "Starting values; the shop's qualified procedure rules; a test piece comes first.",
                     WELD, plans.weld, WELD_RARELY),
    "leak": PlanForm("Leak test", "Pressure, what it stores, and what readings and looks tell.",
                     LEAK, plans.leak, LEAK_RARELY),
}  # fmt: skip
"""By the word in the address."""
