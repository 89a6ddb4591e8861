"""Amounts of liquid and gas in the sizes that people think of a vessel in."""

from __future__ import annotations

from prepcheck.trade.units import Kind, System, convert, shown


def amount(m3: float, system: System) -> str:
    """Write the content of a vessel: litres or US gallons; from 10 m3 on cubic metres or feet."""
    if m3 >= 10:
        return shown(m3, Kind.VOLUME, system)
    symbol = "L" if system is System.METRIC else "gal"
    return f"{rounded(convert(m3, Kind.VOLUME, symbol))} {symbol}"


def rounded(number: float) -> str:
    """Write a number to three digits, without powers of ten."""
    return f"{number:.0f}" if abs(number) >= 100 else f"{number:.3g}"
