"""The user's own price of a gas."""

from __future__ import annotations

import pytest

from prepcheck.errors import WrongUse
from prepcheck.trade.clearing import Price, read_price


# A pound is 0.45359237 kg, a cubic foot 0.028316846592 m3 by definition (NIST SP 811, from memory).
@pytest.mark.parametrize(
    ("text", "amount", "per", "currency"),
    [
        ("4.20/kg", 4.2, "kg", ""),
        ("4,20 EUR/kg", 4.2, "kg", "EUR"),
        ("1 €/kg", 1.0, "kg", "€"),
        ("0.90 per lb", 0.9 / 0.45359237, "kg", ""),
        ("0.30/ft3", 0.3 / 0.028316846592, "m3", ""),
        ("12 kr a m³", 12.0, "m3", "kr"),
    ],
)
def test_a_price_is_read_for_each_unit(text: str, amount: float, per: str, currency: str) -> None:
    price = read_price(text)
    assert (price.amount, price.per, price.currency) == (pytest.approx(amount), per, currency)


@pytest.mark.parametrize(
    "text", ["", "4.20", "/kg", "-4/kg", "nan/kg", "1e9/kg", "4/kg/kg", "four/kg", "9" * 5000 + "/kg"]
)
def test_what_is_no_price_is_refused(text: str) -> None:
    with pytest.raises(WrongUse, match="price is not an amount"):
        read_price(text)


@pytest.mark.parametrize("text", ["4/mm", "4/psi", "4/tonne"])
def test_a_price_by_another_unit_is_refused(text: str) -> None:
    with pytest.raises(WrongUse, match="price's unit"):
        read_price(text)


@pytest.mark.parametrize("amount", [-1.0, float("nan"), float("inf")])
def test_an_amount_that_cannot_be_is_refused(amount: float) -> None:
    with pytest.raises(WrongUse, match="price is out of range"):
        Price(amount, "kg")
