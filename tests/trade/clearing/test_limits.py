"""Published figures and what may be done with them."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies

from prepcheck.settings import ClearingSettings
from prepcheck.trade.clearing import Family, family, limits
from prepcheck.trade.clearing.evidence import gather
from prepcheck.trade.facts import Fact, Mark, Weight, of_setting
from prepcheck.trade.units import System
from tests.trade.clearing.vessel import NOW, condition, readings

FIGURES = [value for value in vars(limits).values() if isinstance(value, Fact)]


def test_every_figure_names_a_source_and_a_unit() -> None:
    assert len(FIGURES) > 15
    assert [fact for fact in FIGURES if not (fact.source and fact.unit)] == []


@pytest.mark.parametrize("mark", list(Mark))
def test_a_figure_from_memory_or_practice_warns_and_never_holds(mark: Mark) -> None:
    evidence = gather(condition(), readings(), NOW, System.METRIC)
    (said,) = evidence.by_figure(Fact(1.0, "%", "somewhere", mark), "code", "text", readings()[:1])
    assert (said.weight is Weight.WARN) == (mark in (Mark.MEMORY, Mark.COMMON))


@pytest.mark.parametrize("name", ClearingSettings.model_fields)
def test_a_setting_as_shipped_is_not_called_the_shops_own_and_says_what_it_rests_on(name: str) -> None:
    fact = of_setting(ClearingSettings(), name)
    assert fact.mark is Mark.SHIPPED
    assert fact.source.startswith(f"setting {name}: ")
    assert any(word in fact.source for word in ("seen", "memory", "no source"))


def test_a_setting_that_the_shop_changed_is_its_own_and_tells_what_was_shipped() -> None:
    fact = of_setting(ClearingSettings(oxygen_least=20.0), "oxygen_least")
    assert (fact.value, fact.mark) == (20.0, Mark.SHOP)
    assert fact.source == "setting oxygen_least, shipped as 19.5: 29 CFR 1915.12, seen"


# NFPA 69 TIA 1211 (seen): 2 points off from 10 % on, 15 % off below. Table 4.19: petrol in CO2, 15 to 13 %.
@pytest.mark.parametrize(("tube", "expected"), [(15.0, 13.0), (12.0, 10.0), (10.0, 8.0), (5.0, 4.25), (5.2, 4.42)])
def test_the_test_tubes_optimism_is_taken_off(tube: float, expected: float) -> None:
    assert limits.corrected(Fact(tube, "%", "tube", Mark.SEEN)).value == pytest.approx(expected)


def test_a_figure_from_memory_stays_one_when_corrected() -> None:
    assert limits.corrected(Fact(12.0, "%", "tube", Mark.MEMORY)).mark is Mark.MEMORY


# NFPA tube data as reprinted (seen), table 4.17; petrol and diesel from memory, table 4.18.
@pytest.mark.parametrize(
    ("of", "nitrogen", "co2", "mark"),
    [
        (Family.METHANE, 12.0, 14.5, Mark.SEEN),
        (Family.PROPANE, 11.5, 14.5, Mark.SEEN),
        (Family.BUTANE, 12.0, 14.5, Mark.SEEN),
        (Family.HYDROGEN, 5.0, 5.2, Mark.SEEN),
        (Family.PETROL, 12.0, 15.0, Mark.MEMORY),
        (Family.DIESEL, 10.0, 13.0, Mark.MEMORY),
    ],
)
def test_limiting_oxygen(of: Family, nitrogen: float, co2: float, mark: Mark) -> None:
    found = [limits.limiting_oxygen(of, by_co2) for by_co2 in (False, True)]
    assert [(fact.value, fact.mark) for fact in found if fact] == [(nitrogen, mark), (co2, mark)]


def test_what_nobody_can_name_has_no_limiting_oxygen() -> None:
    assert limits.limiting_oxygen(Family.OTHER, by_co2=True) is None


@pytest.mark.parametrize("of", list(Family))
@given(target=strategies.floats(0.5, 8.0))
def test_the_targets_start_with_the_shops_and_end_with_hydrogens(of: Family, target: float) -> None:
    shop = Fact(target, "%", "shop", Mark.SHOP)
    first, *_, last = limits.targets(of, False, shop)
    assert (first, last) == (shop, limits.HYDROGEN_OXYGEN)


# Careful lower explosive limits: petrol 1.2 %, diesel 0.5 %, hydrogen 4 % (seen, sources differ). Tables 4.25 to 4.27.
def test_the_lowest_of_differing_explosive_limits_is_taken() -> None:
    assert {of: fact.value for of, fact in limits.LEL.items()} == {
        Family.PETROL: 1.2, Family.DIESEL: 0.5, Family.HYDROGEN: 4.0,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("contents", "of"),
    [
        ("diesel", Family.DIESEL),
        ("Red diesel, before that petrol", Family.DIESEL),
        ("unleaded GASOLINE", Family.PETROL),
        ("gas oil", Family.DIESEL),
        ("LPG", Family.PROPANE),
        ("drinking water", Family.OTHER),
        ("", Family.OTHER),
    ],
)
def test_contents_are_told_by_their_usual_names(contents: str, of: Family) -> None:
    assert family(contents) is of
