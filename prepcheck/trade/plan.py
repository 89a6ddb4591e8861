"""The one shape that every plan has: what was given, lines of label, value and source, and what there is to say about it.

A plan is made from a computed result by the ``..._plan()`` function beside it; computing and wording are separate. It
never says that work may start.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from prepcheck.trade.entries import PlanMade
from prepcheck.trade.facts import Fact, Remark, Weight

What = Literal["clearing", "wall", "weld", "leak"]


@dataclass(frozen=True)
class Line:
    """One line of a plan: what it is, its value with unit, where that comes from with its mark."""

    label: str
    value: str
    source: str = ""


@dataclass(frozen=True)
class Plan:
    """A plan in words.

    Parameters
    ----------
    what : str
        ``clearing``, ``wall``, ``weld`` or ``leak``.
    inputs : tuple of (str, str)
        What the person gave, by name, as it was understood.
    lines : tuple of Line
        What was computed, in the order in which a welder needs it.
    remarks : tuple of Remark
        What there is to say about it, heaviest first.
    """

    what: What
    inputs: tuple[tuple[str, str], ...]
    lines: tuple[Line, ...]
    remarks: tuple[Remark, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "remarks", tuple(sorted(self.remarks, key=lambda one: _HEAVIEST.index(one.weight))))

    @property
    def holds(self) -> tuple[Remark, ...]:
        """The remarks that a person has to settle first."""
        return tuple(one for one in self.remarks if one.weight is Weight.HOLD)


_HEAVIEST = (Weight.HOLD, Weight.WARN, Weight.NOTE)


def given(**inputs: str | None) -> tuple[tuple[str, str], ...]:
    """Return the inputs of a plan, without those that were not given; ``_`` in names becomes a space."""
    return tuple((name.replace("_", " "), value) for name, value in inputs.items() if value is not None)


def source_of(fact: Fact) -> str:
    """Return the source of a figure with its mark, as it stands beside a value."""
    return f"{fact.source}; {fact.mark.value}"


def as_entry(plan: Plan) -> PlanMade:
    """Return the plan as an entry of the log, word for word; only what a person gave is cut where it is very long."""
    return PlanMade(
        what=plan.what,
        inputs={name: textwrap.shorten(value, _MOST_INPUT, placeholder=" ...") for name, value in plan.inputs},
        lines=tuple((line.label, _joined(line.value, line.source)) for line in plan.lines),
        remarks=tuple((one.weight.value, _joined(one.text, one.source)) for one in plan.remarks),
    )


_MOST_INPUT = 200
"""Letters of an input in the log."""


def texts(plan: Plan) -> Iterable[str]:
    """Yield every text of a plan that a person reads."""
    for line in plan.lines:
        yield from (line.label, line.value, line.source)
    for one in plan.remarks:
        yield from (one.text, one.source)


def _joined(text: str, source: str) -> str:
    return f"{text} ({source})" if source else text
