"""How one setting is declared, and what every group of settings has in common."""

from __future__ import annotations

from typing import TypeVar

from pydantic import BaseModel, ConfigDict, Field

COMMON = "common practice, no source"
OWN = "own choice, see reason"
T = TypeVar("T", bound=int | float | str)


def threshold(
    value: T, *, unit: str, reason: str, source: str = OWN, low: float | None = None, high: float | None = None
) -> T:
    """Declare one setting with its default `value`, `unit`, `reason`, `source` and allowed range (both ends included).

    `low` and `high` bound the value of numbers; for text they bound nothing.
    """
    field: T = Field(value, ge=low, le=high, description=reason, json_schema_extra={"unit": unit, "source": source})
    return field


class Group(BaseModel):
    """A frozen group of settings; unknown names and values of another type are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
