"""Purge gases: how much room a mass of gas takes, and whether it lies or rises. Ideal gas throughout."""

from __future__ import annotations

from dataclasses import dataclass

from prepcheck.trade.bounds import bounded
from prepcheck.trade.units import STANDARD_PA

GAS_CONSTANT = 8.314462618
"""J/(mol K), exact in the SI."""
AIR_KG_MOL = 0.02897
PETROL_VAPOUR = 2.5
"""Density of petrol vapour relative to air, 2.48 or more (a fire magazine, 1988; seen)."""


@dataclass(frozen=True)
class PurgeGas:
    """A gas to purge with: its name and its molar mass in kg/mol."""

    name: str
    kg_mol: float

    @property
    def relative_density(self) -> float:
        """Density relative to air at the same temperature and pressure."""
        return self.kg_mol / AIR_KG_MOL

    def m3_per_kg(self, temperature_k: float, pressure_pa: float = STANDARD_PA) -> float:
        """Return the volume of a kilogram, in m3, at `temperature_k` (K) and `pressure_pa` (Pa, absolute).

        Raises
        ------
        WrongUse
            A temperature outside 180 to 400 K, a pressure outside 50 to 2,000 kPa.
        """
        bounded(temperature_k, "the temperature", "K", least=180.0, most=400.0)
        bounded(pressure_pa, "the pressure", "Pa", least=50_000.0, most=2_000_000.0)
        return GAS_CONSTANT * temperature_k / (self.kg_mol * pressure_pa)


CO2 = PurgeGas("CO2", 0.04401)
"""Molar mass: NIOSH pocket guide, seen."""
NITROGEN = PurgeGas("nitrogen", 0.028014)
ARGON = PurgeGas("argon", 0.039948)
