"""Published figures on clearing a vessel, each once, with source and mark."""

from __future__ import annotations

from enum import StrEnum

from prepcheck.trade.facts import Fact, Mark
from prepcheck.trade.units import PSI_PA

PERCENT = "% by volume"
PPM = "ppm"


def clause(document: str, mark: Mark) -> str:
    """Return what stands beside a text without a figure: the document with its mark."""
    return f"{document}; {mark.value}" if document else mark.value


ORDER_OF_TESTS = clause("29 CFR 1915.12", Mark.SEEN)
WHO_CERTIFIES = clause("29 CFR 1915.14(a)", Mark.SEEN)

NORMAL_AIR = Fact(20.9, PERCENT, "29 CFR 1915 Subpart B App. A", Mark.MEMORY)
"""Above it the cause is to be found; what lies between it and 22 % only allows for the meter's error."""
LEAST_OXYGEN = Fact(19.5, PERCENT, "29 CFR 1915.12, also 29 CFR 1910.146", Mark.SEEN)
CATALYTIC_OXYGEN = Fact(10.0, PERCENT, "trade press (2018), meter makers' notes", Mark.SEEN)
"""Below about this, a catalytic sensor reads low or nothing: it burns the gas that it measures."""
WATER_GAP_LEAST = Fact(25.0, "mm", "a gas supplier's notes on work on tanks", Mark.SEEN)
WATER_GAP_MOST = Fact(30.0, "mm", "a gas supplier's notes on work on tanks", Mark.SEEN)

DRY_ICE_RULE = Fact(1.5, "lb per 100 US gal", "Maine 06-096 CMR 691 App. J 5A; a California county's form", Mark.SEEN)
VENT_HEIGHT = Fact(12.0, "ft above ground", "Maine 06-096 CMR 691 App. J", Mark.SEEN)
AIR_PRESSURE_MOST = Fact(5.0, "psig", "API 1604, in a county's copy", Mark.SEEN)
AIR_PRESSURE_PA = AIR_PRESSURE_MOST.value * PSI_PA
SUBLIMES = Fact(-78.5, "C", "NIOSH pocket guide, carbon dioxide", Mark.SEEN)

CO2_DAY = Fact(5_000.0, PPM, "NIOSH pocket guide, mean over a working day", Mark.SEEN)
CO2_SHORT = Fact(30_000.0, PPM, "NIOSH pocket guide, short term", Mark.SEEN)
CO2_DANGER = Fact(40_000.0, PPM, "NIOSH, immediately dangerous to life or health", Mark.SEEN)
CO2_LIMITS = (CO2_DAY, CO2_SHORT, CO2_DANGER)

SHIP_TARGET = Fact(8.0, PERCENT, "IMO inert gas text, for ships", Mark.SEEN)
HYDROGEN_LEL = Fact(4.0, PERCENT, "AARST SGM-SF-2017 table", Mark.SEEN)
SMALL_TUBE = Fact(0.85, "times, where the figure is below 10 %", "NFPA 69 TIA 1211", Mark.SEEN)
LARGE_VESSEL = Fact(2.0, "points off, where the figure is 10 % or more", "NFPA 69 TIA 1211 (also 1.5)", Mark.SEEN)
SHARE_OF_LOC = Fact(0.6, "of the limiting oxygen", "NFPA 69 ch. 7, oxygen not watched", Mark.MEMORY)
POINTS_BELOW_LOC = Fact(2.0, "points below the limiting oxygen", "NFPA 69 ch. 7, oxygen watched", Mark.MEMORY)
HALF_OF_NEED = Fact(0.5, "of the oxygen that burning needs", "29 CFR 1915.11", Mark.MEMORY)


class Family(StrEnum):
    """What a vessel held, as far as figures differ."""

    PETROL = "petrol"
    DIESEL = "diesel"
    METHANE = "methane"
    PROPANE = "propane"
    BUTANE = "butane"
    HYDROGEN = "hydrogen"
    OTHER = "other"


_NAMES = {
    Family.PETROL: ("petrol", "gasoline", "avgas", "mogas"),
    Family.DIESEL: ("diesel", "gas oil", "heating oil", "fuel oil", "kerosene", "paraffin", "jet"),
    Family.METHANE: ("methane", "natural gas", "biogas"),
    Family.PROPANE: ("propane", "lpg"),
    Family.BUTANE: ("butane",),
    Family.HYDROGEN: ("hydrogen",),
}
_TUBE = "NFPA tube data as reprinted"
_TABLE = "NFPA 69 Table C.1(a)"
_LOC = {
    Family.PETROL: (12.0, 15.0, _TABLE, Mark.MEMORY),
    Family.DIESEL: (10.0, 13.0, f"{_TABLE}, low end for kerosene", Mark.MEMORY),
    Family.METHANE: (12.0, 14.5, _TUBE, Mark.SEEN),
    Family.PROPANE: (11.5, 14.5, _TUBE, Mark.SEEN),
    Family.BUTANE: (12.0, 14.5, _TUBE, Mark.SEEN),
    Family.HYDROGEN: (5.0, 5.2, _TUBE, Mark.SEEN),
}
LEL = {
    Family.PETROL: Fact(1.2, PERCENT, "a fire magazine (1988), the most careful of several", Mark.SEEN),
    Family.DIESEL: Fact(0.5, PERCENT, "several trade pages, 0.5 to 1.4", Mark.SEEN),
    Family.HYDROGEN: HYDROGEN_LEL,
}
"""Lower explosive limits where sources were seen; the lowest of those that differ."""


def family(contents: str) -> Family:
    """Return the family that `contents` names; the one with the most careful figures when it names several."""
    said = contents.casefold()
    named = [one for one in _MOST_CAREFUL_FIRST if any(word in said for word in _NAMES[one])]
    return named[0] if named else Family.OTHER


_MOST_CAREFUL_FIRST = (
    Family.HYDROGEN, Family.DIESEL, Family.PROPANE, Family.BUTANE, Family.PETROL, Family.METHANE,
)  # fmt: skip


def limiting_oxygen(of: Family, by_co2: bool) -> Fact | None:
    """Oxygen below which a flame does not run in the tube of the test, in nitrogen or in CO2; None where not listed."""
    if of is Family.OTHER:
        return None
    in_nitrogen, in_co2, source, mark = _LOC[of]
    return Fact(in_co2 if by_co2 else in_nitrogen, PERCENT, source, mark)


def corrected(tube: Fact) -> Fact:
    """Take the test tube's optimism off a limiting oxygen (NFPA 69 TIA 1211: 2 points from 10 % on, else 15 %)."""
    value = tube.value - LARGE_VESSEL.value if tube.value >= 10 else tube.value * SMALL_TUBE.value
    mark = Mark.COMPUTED if tube.may_hold else Mark.MEMORY
    return Fact(value, PERCENT, f"{tube.source}, corrected by NFPA 69 TIA 1211", mark)


HYDROGEN_OXYGEN = corrected(Fact(5.0, PERCENT, f"hydrogen, {_TUBE}", Mark.SEEN))
"""Oxygen from which on hydrogen burns, in nitrogen; in CO2 it is hardly more."""


def targets(of: Family, by_co2: bool, shop: Fact) -> tuple[Fact, ...]:
    """Return the oxygen targets that are in use, the shop's own first, hydrogen's last; they disagree."""
    tube = limiting_oxygen(of, by_co2)
    others = _from_limiting_oxygen(tube) if tube and of is not Family.HYDROGEN else ()
    return (shop, SHIP_TARGET, *others, HYDROGEN_OXYGEN)


def _from_limiting_oxygen(tube: Fact) -> tuple[Fact, ...]:
    loc = corrected(tube)
    half = min(SHIP_TARGET.value, HALF_OF_NEED.value * tube.value)
    return (
        Fact(half, PERCENT, f"8 % or half of what burning needs, {HALF_OF_NEED.source}", Mark.MEMORY),
        Fact(SHARE_OF_LOC.value * loc.value, PERCENT, f"60 % of {loc.value:g} %, {SHARE_OF_LOC.source}", Mark.MEMORY),
        Fact(loc.value - POINTS_BELOW_LOC.value, PERCENT, f"2 below {loc.value:g} %, {POINTS_BELOW_LOC.source}",
             Mark.MEMORY),
    )  # fmt: skip
