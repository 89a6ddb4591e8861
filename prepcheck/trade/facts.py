"""Published figures with their source and how far it can be trusted, and what checks have to say."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from prepcheck.settings import Group


class Mark(StrEnum):
    """How far a figure can be trusted."""

    SEEN = "seen in the source"
    COMPUTED = "computed"
    MEMORY = "from memory, check it"
    COMMON = "common practice, no source"
    SHOP = "the shop's own"
    SHIPPED = "a setting as shipped, the shop's to change"


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
        return self.mark in (Mark.SEEN, Mark.COMPUTED, Mark.SHOP, Mark.SHIPPED)

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit} ({self.source}; {self.mark.value})"


def of_setting(settings: Group, name: str) -> Fact:
    """Return the setting `name` as a figure: what it rests on while it is as shipped, else that the shop changed it."""
    field, value = type(settings).model_fields[name], float(getattr(settings, name))
    declared = field.json_schema_extra
    assert isinstance(declared, dict)
    unit, rests_on = str(declared["unit"]).split(",")[0], declared["source"]
    if value == field.default:
        return Fact(value, unit, f"setting {name}: {rests_on}", Mark.SHIPPED)
    return Fact(value, unit, f"setting {name}, shipped as {field.default:g}: {rests_on}", Mark.SHOP)


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
