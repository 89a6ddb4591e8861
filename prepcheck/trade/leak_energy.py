"""What is stored in a tank under pressure: gas against water, and why water is calmer.

Gas: the isentropic expansion to air pressure, and the larger figure of Brode, (p - p0) V / (k - 1). Water: p2 V / 2K, the
work of squeezing it. All three formulas from memory. The tank's own stretch adds to both and is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

from prepcheck.trade.bounds import bounded
from prepcheck.trade.facts import Fact, Mark
from prepcheck.trade.leak_rules import LEAST_GAUGE_PA, LEAST_VOLUME_M3, MOST_GAUGE_PA, MOST_VOLUME_M3
from prepcheck.trade.units import GRAVITY, STANDARD_PA

HEAT_RATIO = {
    "air": Fact(1.4, "heat capacity ratio", "diatomic gas", Mark.MEMORY),
    "nitrogen": Fact(1.4, "heat capacity ratio", "diatomic gas", Mark.MEMORY),
    "argon": Fact(5 / 3, "heat capacity ratio", "monatomic gas", Mark.MEMORY),
}
"""Gases that a tank may be tested with here. Neither oxygen nor anything that burns."""
WATER_STIFFNESS = Fact(2.2e9, "Pa", "bulk modulus of water", Mark.MEMORY)
PERSON_KG = 80.0
"""Mass of a person, by which stored energy is pictured."""


@dataclass(frozen=True)
class Stored:
    """Energy in J stored by gas (two formulas) and by water, at one pressure in one volume."""

    isentropic_j: float
    brode_j: float
    water_j: float

    @property
    def times_water(self) -> float:
        """How many times the energy of water the gas holds, by the smaller formula."""
        return self.isentropic_j / self.water_j

    @property
    def lifts_person_m(self) -> float:
        """Height to which the isentropic energy lifts a person."""
        return self.isentropic_j / (PERSON_KG * GRAVITY)


def stored(gauge_pa: float, volume_m3: float, gas: str = "air", ambient_pa: float = STANDARD_PA) -> Stored:
    """Compute what is stored at a gauge pressure.

    Raises
    ------
    WrongUse
        Pressure or volume out of range.
    """
    bounded(gauge_pa, "the pressure", "Pa", least=LEAST_GAUGE_PA, most=MOST_GAUGE_PA)
    bounded(volume_m3, "the volume", "m3", least=LEAST_VOLUME_M3, most=MOST_VOLUME_M3)
    ratio = HEAT_RATIO[gas].value
    absolute = ambient_pa + gauge_pa
    left = (ambient_pa / absolute) ** ((ratio - 1) / ratio)
    isentropic = absolute * volume_m3 / (ratio - 1) * (1 - left)
    water = gauge_pa**2 * volume_m3 / (2 * WATER_STIFFNESS.value)
    return Stored(isentropic, gauge_pa * volume_m3 / (ratio - 1), water)


def panel_force(gauge_pa: float, area_mm2: float) -> float:
    """Return the force in N that pushes a flat panel outward.

    Raises
    ------
    WrongUse
        Pressure or area out of range.
    """
    bounded(gauge_pa, "the pressure", "Pa", least=LEAST_GAUGE_PA, most=MOST_GAUGE_PA)
    return gauge_pa * bounded(area_mm2, "the panel's area", "mm2", least=1.0, most=1e8) * 1e-6
