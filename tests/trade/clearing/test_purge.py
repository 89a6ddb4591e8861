"""How oxygen falls: the formulas of a purge, against published worked examples."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, strategies

from prepcheck.errors import WrongUse
from prepcheck.trade.clearing.purge import displaced_volumes, mixed, mixed_volumes

shares = strategies.floats(0, 100)
volumes = strategies.floats(0, 50)


# Worked out from C = C0 exp(-V/Vt) (formula seen). Table 4.23, computed.
@pytest.mark.parametrize(
    ("start", "target", "gas", "expected"),
    [
        (20.9, 12.0, 0.0, 0.555),
        (20.9, 10.0, 0.0, 0.737),
        (20.9, 8.0, 0.0, 0.960),
        (20.9, 5.0, 0.0, 1.430),
        (100.0, 1.0, 0.0, 4.605),
        (1.5, 19.5, 20.9, 2.629),
    ],
)
def test_vessel_volumes_if_well_mixed(start: float, target: float, gas: float, expected: float) -> None:
    assert mixed_volumes(start, target, gas) == pytest.approx(expected, abs=5e-4)


# Branan, Rules of Thumb: 21 % to 1 % takes 3.1 volumes off a chart (seen); ln 21 = 3.0445 exactly. Table 4.22.
def test_a_published_chart_agrees_within_its_reading() -> None:
    assert mixed_volumes(21.0, 1.0) == pytest.approx(3.0445, abs=5e-5)
    assert mixed_volumes(21.0, 1.0) == pytest.approx(3.1, rel=0.02)


# The rule of 1.5 lb per 100 US gal is 0.982 volumes at 20 C, and 7.83 % is left. Table 4.10, computed.
def test_the_share_left_if_well_mixed() -> None:
    assert mixed(20.9, 0.0, 0.982) == pytest.approx(7.83, abs=0.005)


# V = Vt ln((c0 - cp) / (ct - cp)) with an impure gas (formula seen). Table 4.21.
def test_an_impure_gas_takes_more() -> None:
    assert mixed_volumes(20.9, 8.0, 1.0) == pytest.approx(math.log(19.9 / 7.0))
    assert mixed_volumes(20.9, 8.0, 1.0) > mixed_volumes(20.9, 8.0)


# Second way: many small doses, each stirred in, come to the exponential in the limit.
def test_small_doses_stirred_in_come_to_the_same() -> None:
    share, doses = 20.9, 20_000
    for _ in range(doses):
        share += (1.0 - share) * (1.5 / doses)
    assert mixed(20.9, 1.0, 1.5) == pytest.approx(share, abs=1e-3)


def test_a_target_already_met_takes_nothing() -> None:
    assert mixed_volumes(8.0, 8.0) == displaced_volumes(8.0, 8.0) == 0.0


@given(shares, shares, volumes, volumes)
def test_more_gas_never_raises_the_oxygen_that_is_left(start: float, gas: float, some: float, more: float) -> None:
    less_oxygen = min(start, gas)
    assert mixed(start, less_oxygen, some + more) <= mixed(start, less_oxygen, some) + 1e-9


@given(shares, shares, volumes)
def test_the_share_stays_between_start_and_gas(start: float, gas: float, some: float) -> None:
    assert min(start, gas) - 1e-9 <= mixed(start, gas, some) <= max(start, gas) + 1e-9


@given(strategies.floats(0.1, 20.8), strategies.floats(0, 100))
def test_volumes_and_share_are_each_others_inverse(target: float, purity: float) -> None:
    gas = target * purity / 101
    assert mixed(20.9, gas, mixed_volumes(20.9, target, gas)) == pytest.approx(target)
    assert 20.9 + (gas - 20.9) * displaced_volumes(20.9, target, gas) == pytest.approx(target)


@given(strategies.floats(0.1, 20.8))
def test_pushing_out_unmixed_is_the_least_there_could_be(target: float) -> None:
    assert displaced_volumes(20.9, target) <= mixed_volumes(20.9, target)


@pytest.mark.parametrize(
    ("start", "target", "gas"),
    [(20.9, 8.0, 8.0), (20.9, 8.0, 9.0), (20.9, 21.0, 0.0), (20.9, 0.0, 0.0), (5.0, 8.0, 5.0), (8.0, 8.0, 8.0)],
)
def test_a_target_that_no_amount_reaches_is_refused(start: float, target: float, gas: float) -> None:
    with pytest.raises(WrongUse, match="cannot be reached"):
        mixed_volumes(start, target, gas)


@pytest.mark.parametrize("share", [-1.0, 101.0, math.nan, math.inf])
def test_a_share_that_cannot_be_is_refused(share: float) -> None:
    for call in (lambda: mixed(share, 0.0, 1.0), lambda: mixed_volumes(20.9, share)):
        with pytest.raises(WrongUse, match="share is out of range"):
            call()


@pytest.mark.parametrize("amount", [-0.1, 1e6, math.nan, math.inf])
def test_an_amount_that_cannot_be_is_refused(amount: float) -> None:
    with pytest.raises(WrongUse, match="purge is out of range"):
        mixed(20.9, 0.0, amount)
