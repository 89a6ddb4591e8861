"""What to think of before a closed vessel gets heat: first lines, who certifies, hazards. Each with source and mark."""

from __future__ import annotations

from enum import StrEnum

from prepcheck.trade.clearing.limits import WHO_CERTIFIES, Family, clause, family
from prepcheck.trade.clearing.planner import Method
from prepcheck.trade.facts import Mark, Remark, Weight


class Vessel(StrEnum):
    """Kinds of vessel, as far as rules differ."""

    BOAT_TANK = "boat-tank"
    FARM_TANK = "farm-tank"
    ROAD_TANK = "road-tank"
    DRUM = "drum"
    OTHER = "other"


def _note(code: str, text: str, document: str, mark: Mark) -> Remark:
    return Remark(code, Weight.NOTE, text, clause(document, mark))


def _warn(code: str, text: str, document: str, mark: Mark = Mark.SEEN) -> Remark:
    return Remark(code, Weight.WARN, text, clause(document, mark))


_TRADE = ""
"""No document: common practice or from memory, as the mark says."""
_HSE = "HSE INDG314 rev1 (2013)"
_NIOSH = "NIOSH pocket guide, carbon dioxide"

FIRST = (
    _note("replace_or_cold", "Replace it, or repair it cold, if that will do.", _HSE, Mark.SEEN),
    _note("permit", "A written permit for hot work, before anything gets warm.", _HSE, Mark.SEEN),
    _note("fire_watch", "A fire watch during the work and after it, extinguisher at hand.", _TRADE, Mark.COMMON),
    _note("clean_first", "Clean it in any case: no purge replaces cleaning; residue hides in seams and crevices.",
          "AWS F4.1 scope; HSE INDG314", Mark.SEEN),
    _note("open_up", "Take pipes off or blank them; open hollow parts to air before any heat.",
          "8 CCR 5166, as 29 CFR 1910.252(a)(3)", Mark.SEEN),
)  # fmt: skip
"""What comes before any purge, in this order."""

_SHIPYARD = Remark(
    "who_certifies",
    Weight.NOTE,
    "Boat's fuel tank in a shipyard: a Marine Chemist tests and certifies before hot work, or where there is none a"
    " person whom the Coast Guard authorised; the certificate is posted.",
    WHO_CERTIFIES,
)
_GENERAL = _note(
    "who_certifies",
    "Farm tanks, drums and the like fall under the general rules for hot work and those of your country: name the"
    " rule, and who decides under it.",
    "29 CFR 1910.252(a)(3), number from memory; text as 8 CCR 5166",
    Mark.SEEN,
)
_ROAD = _note(
    "road_tank_rules",
    "Road tanks have rules of their own on who may repair them and what is tested afterwards.",
    "49 CFR 180.413",
    Mark.MEMORY,
)

_FIRST_OF_ALL = (
    Remark("aluminium_dust", Weight.WARN,
           "Aluminium dust explodes in CO2, and in air: do not grind in a purged vessel, nor where its dust hangs.",
           f"in CO2: {clause(_NIOSH, Mark.SEEN)}; in air: {Mark.MEMORY.value}"),
    _warn("hydrogen_in_voids",
          "Corroding aluminium makes hydrogen: closed voids have exploded under a welder with no fuel at all. No inerting"
          " target holds there. Open every void, use a meter that sees hydrogen.", "trade press (2013), forum report"),
)  # fmt: skip
_ALWAYS = (
    _warn("smell", "Smell proves nothing.", _TRADE, Mark.COMMON),
    _warn("baffles", "Baffles trap vapour: measure in every bay, low and high.", "API 1604, in a county's copy"),
    _warn("chlorinated_solvent", "Never chlorinated solvent near an arc: it turns into phosgene.",
          "welding press, a maker's guide to joint preparation"),
    _warn("chromate_primer", "Old yellow or green primer may hold chromate: stripping and heat set it free.",
          "OSHA, hexavalent chromium", Mark.MEMORY),
    _warn("shared_grinder", "Rust and aluminium dust on one grinder can burn like thermite: keep discs apart.",
          _TRADE, Mark.MEMORY),
)  # fmt: skip
_FUEL = (
    _warn("teaspoon", "A teaspoon of petrol is enough to burst a drum.", _HSE),
    Remark("steam", Weight.NOTE, "If it is steamed: bond the nozzle to the vessel, against sparks.",
           clause("API 1604, in a county's copy", Mark.SEEN)),
)  # fmt: skip
_DIESEL = (
    _warn("diesel_vapour", "Diesel is no exception: heated metal makes vapour of it, and it burns from about 0.5 %.",
          "several trade pages, figures differ"),
)  # fmt: skip
_INERT = (
    _warn("no_entry", "Nobody enters or puts the head in, at no time: there is nothing to breathe.", "29 CFR 1915.12"),
    _warn("never_sealed", "Never seal it in: the vent stays open while gas comes, or the vessel bursts.", _NIOSH),
    _warn("inert_room", "The gas comes out into the room: air the room, watch its oxygen, mind pits and low corners.",
          _TRADE, Mark.COMMON),
)  # fmt: skip
_CO2 = (
    _warn("no_lift", "CO2 (1.5 times as heavy as air) does not lift petrol vapour (2.5) out: it stays above it.",
          "vapour densities", Mark.COMPUTED),
)  # fmt: skip
_CO2_CYLINDER = (
    _warn("static", "Never spray CO2 from a cylinder or extinguisher into vapour: the jet sparks.",
          "NFPA 77, API 2003", Mark.MEMORY),
)  # fmt: skip
_DRY_ICE = (
    _warn("dry_ice_is_cold_gas",
          "Dry ice sublimes: a change of state. It makes cold and gas; only the oxygen reading tells what that did.",
          _NIOSH),
    _warn("frostbite", "Dry ice burns skin by cold: thick gloves, goggles, tongs.", _NIOSH),
)  # fmt: skip
_ARGON = (
    _warn(
        "argon_targets",
        "No limiting oxygen was seen for argon; it inerts less well than nitrogen.",
        "heat of gases",
        Mark.MEMORY,
    ),
)
_AIRING = (
    _warn("through_the_range", "Purging with air passes through the range that burns; inert first avoids that.",
          "a training provider's page"),
    _warn("bonded_blower", "Bond and earth the air mover; let the vapour out high and far from anything that sparks.",
          _TRADE, Mark.COMMON),
)  # fmt: skip
_WATER = (
    _warn("weight_of_water", "Water is heavy: a stand made for an empty tank may not bear it full.", _TRADE, Mark.COMMON),
    _warn("vent_above_water", "Leave the space above the water open: vapour gathers there, steam needs a way out.",
          _TRADE, Mark.COMMON),
)  # fmt: skip
_BY_METHOD = {
    Method.DRY_ICE: (*_INERT, *_DRY_ICE, *_CO2),
    Method.CO2: (*_INERT, *_CO2_CYLINDER, *_CO2),
    Method.NITROGEN: _INERT,
    Method.ARGON: (*_INERT, *_ARGON),
    Method.VENTILATE: _AIRING,
    Method.WATER: _WATER,
}


def who_certifies(vessel: Vessel) -> tuple[Remark, ...]:
    """Return who certifies which kind of vessel under which rule; of `Vessel.OTHER` all of them."""
    return {
        Vessel.BOAT_TANK: (_SHIPYARD,),
        Vessel.FARM_TANK: (_GENERAL,),
        Vessel.ROAD_TANK: (_GENERAL, _ROAD),
        Vessel.DRUM: (_GENERAL,),
        Vessel.OTHER: (_SHIPYARD, _GENERAL, _ROAD),
    }[vessel]


def hazards(contents: str, method: Method) -> tuple[Remark, ...]:
    """Return the hazards of a method and of what the vessel held; what nobody can name counts as fuel."""
    of = family(contents)
    return (*_FIRST_OF_ALL, *_BY_METHOD[method], *(_DIESEL if of is Family.DIESEL else ()), *_ALWAYS, *_FUEL)
