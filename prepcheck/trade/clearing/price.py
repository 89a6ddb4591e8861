"""The user's own price of a gas; prepcheck knows none."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from prepcheck.errors import WrongUse
from prepcheck.trade.bounds import bounded
from prepcheck.trade.units import Kind, quantity, symbols

_WRITTEN = re.compile(r"\s*(\d{1,6}(?:[.,]\d{1,4})?)\s*([^\W\d_]{0,5}|[€$£])\s*(?:/|\bper\b|\ba\b)\s*([A-Za-z]+3?)\s*")


@dataclass(frozen=True)
class Price:
    """So much for each kilogram, or for each m3 of gas."""

    amount: float
    per: Literal["kg", "m3"]
    currency: str = ""
    written: str = ""
    """As the user wrote it."""

    def __post_init__(self) -> None:
        bounded(self.amount, "the price", f"for each {self.per}", most=1e9)

    def cost(self, mass_kg: float, gas_m3: float) -> float:
        """Return what so much gas costs, in the currency of the price."""
        return self.amount * (mass_kg if self.per == "kg" else gas_m3)


def read_price(text: str) -> Price:
    """Read a price such as ``4.20/kg``, ``1.10 EUR/lb`` or ``0.30 per ft3``.

    Raises
    ------
    WrongUse
        No amount, or not for each unit of mass or volume.
    """
    written = _WRITTEN.fullmatch(text[:60].replace("³", "3"))
    if written is None:
        raise WrongUse("the price is not an amount for each unit", "Write it like 4.20/kg or 0.30/ft3", text[:60])
    amount, currency, unit = float(written[1].replace(",", ".")), written[2], written[3]
    if unit in symbols(Kind.MASS):
        return Price(amount / quantity(f"1 {unit}", Kind.MASS, "the price's unit"), "kg", currency, written[0].strip())
    return Price(amount / quantity(f"1 {unit}", Kind.VOLUME, "the price's unit"), "m3", currency, written[0].strip())
