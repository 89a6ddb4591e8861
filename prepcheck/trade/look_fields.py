"""What a person tells of a look for leaks, as command line and page name it. Loads nothing heavy."""

from __future__ import annotations

from prepcheck.trade.units import Kind

LOOK_FIELDS = {
    "end_pressure": ("end_pa", Kind.PRESSURE),
    "watched": ("seconds", Kind.TIME),
    "temperature": ("start_k", Kind.TEMPERATURE),
    "end_temperature": ("end_k", Kind.TEMPERATURE),
    "air_pressure": ("ambient_pa", Kind.PRESSURE),
    "end_air_pressure": ("end_ambient_pa", Kind.PRESSURE),
    "pressure_error": ("pressure_error_pa", Kind.PRESSURE),
    "temperature_error": ("temperature_error_k", Kind.TEMPERATURE_STEP),
}
"""What is told: the field of `LeakEntry`, and what it is a quantity of."""
