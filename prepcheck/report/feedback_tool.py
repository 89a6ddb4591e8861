"""How often the tool itself was wrong where the truth was known, from the card that ships with a model."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from prepcheck.progress.tally import Tally
from prepcheck.resources import folder
from prepcheck.terms import Standing

HELD_OUT = {
    "own": "invented scenes of our own",
    "renders": "scenes of another program",
    "real": "photographs from workshops",
}
"""Sets of a card on which nothing was trained, in words. Their figures come from ``prepcheck evaluate``."""


@dataclass(frozen=True)
class SceneErrors:
    """Standings of whole photos whose truth is known, out of those that were told ``bright`` or ``residue left``.

    `missed` counts truly dirty ones that were called bright, `alarmed` truly clean ones with residue told.
    """

    of: str
    missed: Tally
    alarmed: Tally


@dataclass(frozen=True)
class PointErrors:
    """Points that people labelled: share of residue, or what else is not bright metal, that the tool called bright."""

    of: str
    photos: int
    share: float
    low: float
    high: float


@dataclass(frozen=True)
class ToolErrors:
    """What a model's card measured; both are empty where no card ships with a model of that hash."""

    model: str
    scenes: tuple[SceneErrors, ...] = ()
    points: tuple[PointErrors, ...] = ()


def tool_errors(models: Iterable[str], place: Path | None = None) -> list[ToolErrors]:
    """Return what the cards measured for models, by SHA-256; one without a card is named by the start of its hash."""
    where = place or folder("models")
    known = {entry["sha256"]: entry["card"] for entry in _json(where / "registry.json")["models"].values()}
    return [_errors(where / known[one]) if one in known else ToolErrors(one[:12]) for one in models]


def _errors(path: Path) -> ToolErrors:
    card = _json(path)
    sets = {HELD_OUT[key]: figures for key, figures in card.get("figures", {}).items() if key in HELD_OUT}
    return ToolErrors(card["name"], tuple(_scenes(sets)), tuple(_points(sets)))


def _scenes(sets: dict[str, Any]) -> Iterator[SceneErrors]:
    for words, figures in sets.items():
        stood = figures.get("standings", {})
        if "dirty" in stood and "clean" in stood:
            missed = _told(stood["dirty"], Standing.BRIGHT)
            yield SceneErrors(words, missed, _told(stood["clean"], Standing.RESIDUE_LEFT))


def _told(counts: dict[str, int], wrong: Standing) -> Tally:
    return Tally(counts[wrong], counts[Standing.BRIGHT] + counts[Standing.RESIDUE_LEFT])


def _points(sets: dict[str, Any]) -> Iterator[PointErrors]:
    for words, figures in sets.items():
        if "wrongly bright" in figures.get("all", {}):
            yield PointErrors(words, figures["photos"], *figures["all"]["wrongly bright"])


def _json(path: Path) -> Any:
    return json.loads(path.read_bytes())
