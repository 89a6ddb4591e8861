"""Who certified the vessel, under which rule (29 CFR 1915.14, seen; table 4.5). The certificates are invented."""

from __future__ import annotations

import pytest

from prepcheck.trade.clearing import check_certificate
from prepcheck.trade.entries import Certificate
from prepcheck.trade.facts import Remark, Weight
from tests.trade.clearing.vessel import NOW, after, codes, condition


def check(minute: float) -> tuple[Remark, ...]:
    certificate = Certificate(certified_by="Rune", rule="the county's hot work rule", at=after(minute))
    return check_certificate(certificate, condition(), NOW)


@pytest.mark.parametrize("minute", [0, 5, 30])
def test_a_certificate_for_this_condition_leaves_nothing_to_say(minute: float) -> None:
    assert check(minute) == ()


def test_without_one_the_user_is_asked_for_name_and_rule() -> None:
    assert codes(check_certificate(None, condition(), NOW), Weight.WARN) == {"certificate_missing"}


def test_one_from_before_the_condition_holds() -> None:
    assert codes(check(-5), Weight.HOLD) == {"certificate_before_condition"}


def test_one_from_the_future_holds() -> None:
    assert codes(check(31), Weight.HOLD) == {"certificate_from_the_future"}
