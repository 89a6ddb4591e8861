"""How much room a mass of gas takes, against published figures and another library's units."""

from __future__ import annotations

import math

import pint
import pytest

from prepcheck.errors import WrongUse
from prepcheck.trade.clearing.gases import ARGON, CO2, NITROGEN, PETROL_VAPOUR
from prepcheck.trade.units import CUBIC_FOOT_M3, POUND_KG

UNITS = pint.UnitRegistry()
FEET3_PER_POUND = POUND_KG / CUBIC_FOOT_M3


# Gas from dry ice, ideal gas: ft3/lb and L/kg at 0 C, 60 F, 20 C, 25 C. Table 4.11, computed
# (its 8.91 rounds 8.905 up).
@pytest.mark.parametrize(
    ("kelvin", "feet3_per_pound", "litres_per_kg"),
    [(273.15, 8.16, 509), (288.71, 8.62, 538), (293.15, 8.76, 547), (298.15, 8.91, 556)],
)
def test_gas_from_dry_ice(kelvin: float, feet3_per_pound: float, litres_per_kg: float) -> None:
    assert CO2.m3_per_kg(kelvin) * FEET3_PER_POUND == pytest.approx(feet3_per_pound, rel=1e-3)
    assert CO2.m3_per_kg(kelvin) * 1000 == pytest.approx(litres_per_kg, abs=0.6)


# Printed figures for dry ice: 8.3 ft3/lb, 8.7 (often quoted), 8.8, about 500 L/kg (seen). Table 4.11, tolerance 3 %.
@pytest.mark.parametrize("printed", [8.3, 8.7, 8.8, 500 * 0.0160185])
def test_printed_figures_lie_within_what_workshops_have_in_temperature(printed: float) -> None:
    cold, warm = (CO2.m3_per_kg(kelvin) * FEET3_PER_POUND for kelvin in (273.15, 303.15))
    assert cold * 0.97 <= printed <= warm * 1.03


# CO2 at 32 F: 0.1234 lb/ft3, 1.977 kg/m3 (seen). Table 4.13; a real gas is 0.7 % denser than the ideal one.
def test_density_at_freezing() -> None:
    assert 1 / CO2.m3_per_kg(273.15) == pytest.approx(1.977, rel=0.01)
    assert 1 / (CO2.m3_per_kg(273.15) * FEET3_PER_POUND) == pytest.approx(0.1234, rel=0.01)


# One page prints 1.98 kg/m3 "at 25 C"; the ideal gas gives 1.799. Table 4.13.
def test_the_page_that_prints_it_for_25_degrees_is_wrong() -> None:
    assert 1 / CO2.m3_per_kg(298.15) == pytest.approx(1.799, abs=0.001)
    assert 1 / CO2.m3_per_kg(298.15) != pytest.approx(1.98, rel=0.05)


# Second way: pint's gas constant and units.
@pytest.mark.parametrize("gas", [CO2, NITROGEN, ARGON])
@pytest.mark.parametrize(("celsius", "kpa"), [(-20, 95), (20, 101.325), (40, 110)])
def test_another_library_computes_the_same(gas, celsius: float, kpa: float) -> None:
    temperature = UNITS.Quantity(celsius, "degC").to("kelvin")
    moles = UNITS.Quantity(1, "kg") / UNITS.Quantity(gas.kg_mol, "kg/mol")
    volume = (moles * UNITS.molar_gas_constant * temperature / UNITS.Quantity(kpa, "kPa")).to("m^3")
    assert gas.m3_per_kg(celsius + 273.15, kpa * 1000) == pytest.approx(volume.magnitude)


# CO2 relative to air: 1.519 by molar mass (computed), 1.53 (NIOSH, seen). Table 4.12.
def test_co2_is_half_as_heavy_again_as_air() -> None:
    assert CO2.relative_density == pytest.approx(1.519, abs=5e-4)
    assert CO2.relative_density == pytest.approx(1.53, rel=0.01)


# Petrol vapour 2.48 or more (seen): CO2 does not lift it. Table 4.34.
def test_co2_is_lighter_than_petrol_vapour() -> None:
    assert NITROGEN.relative_density < 1 < ARGON.relative_density < CO2.relative_density < PETROL_VAPOUR


@pytest.mark.parametrize("kelvin", [0.0, -1.0, 179.0, 401.0, math.nan, math.inf])
def test_a_temperature_that_no_workshop_has_is_refused(kelvin: float) -> None:
    with pytest.raises(WrongUse, match="temperature is out of range"):
        CO2.m3_per_kg(kelvin)


@pytest.mark.parametrize("pascal", [0.0, 1.0, 1e9, math.nan])
def test_a_pressure_that_no_vessel_has_is_refused(pascal: float) -> None:
    with pytest.raises(WrongUse, match="pressure is out of range"):
        CO2.m3_per_kg(293.15, pascal)
