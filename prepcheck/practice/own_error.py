"""What the model's own card says of its error on photographs: the tool is not the truth."""

from __future__ import annotations

import json
from typing import Any

from prepcheck.resources import folder

NOT_TRUTH = "The tool is not the truth."
_FIGURES = (
    ("residue found", "it found {} of the points on oxide, pits and foreign matter"),
    ("wrongly bright", "it called {} of the points on residue bright metal"),
)


def own_error(model_sha256: str) -> str:
    """Say how often a model of the registry was wrong at labelled points of photographs, as its card has it."""
    told = _figures(model_sha256)
    parts = [words.format(_share(told[name])) for name, words in _FIGURES if name in told]
    if not parts:
        return f"{NOT_TRUTH} No figures of its error on photographs are known."
    return f"{NOT_TRUTH} On labelled photographs, its card says, {' and '.join(parts)} (95 % intervals)."


def _figures(model_sha256: str) -> dict[str, Any]:
    """Return the figures at labelled points of photographs; empty for a model that is none of the registry's."""
    place = folder("models")
    known = json.loads((place / "registry.json").read_bytes())["models"].values()
    cards = [one["card"] for one in known if one["sha256"] == model_sha256]
    if not cards:
        return {}
    card = json.loads((place / cards[0]).read_bytes())
    return dict(card.get("figures", {}).get("open", {}).get("all", {}))


def _share(figure: tuple[float, float, float]) -> str:
    value, low, high = (100 * part for part in figure)
    return f"{value:.0f} % ({low:.0f} to {high:.0f} %)"
