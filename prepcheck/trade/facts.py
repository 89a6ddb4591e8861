"""Published figures with their source and how far it can be trusted, and what checks have to say."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Mark(StrEnum):
    """How far a figure can be trusted."""

    SEEN = "seen in the source"
    COMPUTED = "computed"
    MEMORY = "from memory, check it"
    COMMON = "common practice, no source"
    SHOP = "the shop's own"


@dataclass(frozen=True)
class Fact:
    """A figure with its unit, where it comes from, and how far that can be trusted."""

    value: float
    unit: str
    source: str
    mark: Mark

    @property
    def may_hold(self) -> bool:
        """Whether a check may hold something up by this figure alone."""
        return self.mark in (Mark.SEEN, Mark.COMPUTED, Mark.SHOP)

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit} ({self.source}; {self.mark.value})"


class Weight(StrEnum):
    """How heavy a remark weighs."""

    HOLD = "hold"
    WARN = "warn"
    NOTE = "note"


@dataclass(frozen=True)
class Remark:
    """What a check or a plan has to say.

    Parameters
    ----------
    code : str
        Stable name, words joined by underscores.
    weight : Weight
        ``hold``: a person has to settle this first. ``warn``: a hazard or a doubt. ``note``: worth knowing.
    text : str
        One or two sentences in the trade's words.
    source : str
        Document and clause with the mark of its figures; empty where none is needed.
    """

    code: str
    weight: Weight
    text: str
    source: str = ""
