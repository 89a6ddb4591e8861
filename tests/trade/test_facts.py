"""Figures with their marks, and which of them may hold something up."""

from __future__ import annotations

import pytest

from prepcheck.settings import LeakSettings, WallSettings, WeldSettings
from prepcheck.trade import filler, leak, leak_energy, leak_rules, refill, wall, weld
from prepcheck.trade.facts import Fact, Mark, Remark, Weight
from prepcheck.trade.plan import Line, Plan, given, source_of

MODULES = (filler, leak, leak_energy, leak_rules, refill, wall, weld)
FACTS = [
    fact
    for module in MODULES
    for thing in vars(module).values()
    for fact in (thing.values() if isinstance(thing, dict) else (thing,))
    if isinstance(fact, Fact)
]


@pytest.mark.parametrize(
    ("mark", "may"),
    [(Mark.SEEN, True), (Mark.COMPUTED, True), (Mark.SHOP, True), (Mark.MEMORY, False), (Mark.COMMON, False)],
)
def test_only_what_was_seen_computed_or_chosen_by_the_shop_may_hold(mark: Mark, may: bool) -> None:
    assert Fact(1.0, "mm", "somewhere", mark).may_hold is may


def test_a_figure_is_written_with_source_and_mark() -> None:
    fact = Fact(2.0, "mm", "ISO 21487", Mark.SEEN)
    assert str(fact) == "2 mm (ISO 21487; seen in the source)"
    assert source_of(fact) == "ISO 21487; seen in the source"


@pytest.mark.parametrize("fact", FACTS, ids=str)
def test_every_figure_names_its_source_and_unit(fact: Fact) -> None:
    assert fact.source
    assert fact.unit


def test_the_trade_has_its_figures() -> None:
    assert len({str(fact) for fact in FACTS}) > 15


@pytest.mark.parametrize("group", [WallSettings, WeldSettings, LeakSettings])
def test_every_setting_has_unit_reason_and_source(group: type[WallSettings | WeldSettings | LeakSettings]) -> None:
    for field in group.model_fields.values():
        extra = field.json_schema_extra
        assert isinstance(extra, dict)
        assert field.description
        assert extra["unit"]
        assert extra["source"]


def test_remarks_of_a_plan_come_heaviest_first_and_keep_their_order_otherwise() -> None:
    weights = (Weight.NOTE, Weight.HOLD, Weight.WARN, Weight.HOLD)
    told = tuple(Remark(str(number), weight, "text") for number, weight in enumerate(weights))
    plan = Plan("wall", (), (Line("a", "b"),), told)
    assert [one.code for one in plan.remarks] == ["1", "3", "2", "0"]
    assert [one.code for one in plan.holds] == ["1", "3"]


def test_inputs_that_were_not_given_are_left_out() -> None:
    assert given(start_air=None, looked_at="seams") == (("looked at", "seams"),)
