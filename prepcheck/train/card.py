"""What a model's card says beside its calibration: data, groups, figures, losses, limits, credits, how to retrain.

Figures are copied from the files that ``prepcheck evaluate FOLDER --out DIR`` writes, never by hand; groups and losses are
read from them.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from prepcheck.errors import WrongUse
from prepcheck.train.real import HELD_OUT_OF

FACTS: dict[str, Any] = {
    "input": "image: 1 x 3 x H x W float32, RGB, sRGB-encoded 0..1; H and W multiples of 32, long side up to 1280",
    "output": "maps: 1 x 8 x H/2 x W/2 float32; 0 to 5: chance of the states 0 to 5; 6: weld bead or heat tint; these seven"
    " sum to 1; 7: chance of lying inside a ground spot",
    "licence": "Apache-2.0",
    "data": {
        "synthetic": "prepcheck.synth scenes (768 x 1024), lit anew at every use: surroundings, lamps, camera",
        "training_seeds": "0 to 4498, 20000 to 24043 and 40000 to 44034; the third run used a revised generator",
        "held_out_seeds": "9000000 to 9000139 (720 x 960), never trained on; used for calibration",
        "photographs": "55 of the 70 point-labelled open photographs were trained on, by partial labels; "
        f"15 were held out by kind of part (one group in {HELD_OUT_OF}, by hash)",
    },
    "credits": [
        "200 photographs: valvers/valvers.website.src, (c) 2011-2020 Brian Sidebotham, MIT",
        "83 photographs: mikegcox/vintagemoto, (c) 2017 Mike Cox, MIT",
        "14 photographs: EthanRosenthal/boat-website, (c) 2023 Ethan Rosenthal, MIT",
        "9 photographs: icooper/iandoesracing, CC BY-SA 4.0",
        "7 photographs: ONEARMY/precious-plastic, Creative Commons Attribution",
        "5 photographs: ONEARMY/academy, CC BY-SA 4.0",
        "6 photographs: darrowco/kdx175, Unlicense (public domain)",
        "8 textures: ambientCG, by way of SimonWadsack/SimonWadsack.github.io, CC0",
        "6 textures: Poly Haven, by way of N8python/wirehouse, CC0",
    ],
    "must_not_be_used_for": [
        "releasing a part for welding: a photo shows neither the native oxide film nor anything below the surface",
        "telling which metal it is: bright steel looks like bright aluminium",
        "any decision without a person looking at the spot",
    ],
    "limits": [
        "intervals of the bright share are wide (mean width 0.7 to 0.8): mostly the honest answer is cannot tell; with so few"
        " pictures (238 in two halves) they held 0.86 and 0.99 of the other half, not a steady 0.95",
        "a spot that is all oxide, or all bright under flat light, is often taken for the other",
        "foreign matter and pits are often called bright metal; small pits are missed",
        "real photographs: see figures; on photographs from other workshops it is no better than chance",
        "the light is computed by one reflection without masking by neighbouring relief; clutter is made of simple shapes",
    ],
    "retrain": [
        "python -m prepcheck.train scenes SCENES --count 4500 --workers N",
        "python -m prepcheck.train fit SCENES eye.pt --photos PHOTOS --seconds 460",
        "python -m prepcheck.train fit SCENES eye.pt --photos PHOTOS --settled --rate 1.5e-3 --seed 1 --seconds 440",
        "python -m prepcheck.train fit SCENES eye.pt --photos PHOTOS --settled --settle 0 --rate 2e-3 --seed 2 --seconds 500",
        "python -m prepcheck.train pictures HELD --count 140 --size 720 960",
        "python -m prepcheck.train calibrate eye.pt HELD --out models --name NAME",
        "prepcheck evaluate FOLDER --model NAME --baselines --out FIGURES/FOLDER",
        "prepcheck evaluate --outside --model NAME --out FIGURES/outside",
        "python -m prepcheck.train card models/NAME.json FIGURES",
    ],
}


SECTIONS = (
    "data", "groups", "figures", "outside", "losses", "limits", "must_not_be_used_for", "retrain", "licence", "credits",
)  # fmt: skip
"""What every card has; a section with nothing in it says so."""

FLOORS: dict[str, dict[str, tuple[float, bool]]] = {
    "maps": {
        "balanced accuracy": (0.85, True),
        "coverage": (0.90, True),
        "patch recall": (0.80, True),
        "false patches a photo": (2.0, False),
        "spot IoU": (0.90, True),
        "bright-share error": (0.05, False),
        "interval holds the truth": (0.85, True),
        "interval width": (0.20, False),
        "calibration error": (0.04, False),
    },
    "points": {
        "coverage": (0.80, True),
        "balanced accuracy of points": (0.80, True),
        "wrongly bright": (0.10, False),
        "residue found": (0.70, True),
    },
}
"""Agreed before training, by kind of labels: the least (True) or most (False) that a figure may be before it counts as a loss."""


_ROWS = re.compile(r"\[[-\s\d.,eE+nul]*\]")
"""Lists of numbers, which are kept on one line each."""


def write_card(card: Path, figures: Path | None) -> None:
    """Complete a card: facts, and figures, groups and losses from what was measured; its calibration stays as it is.

    Parameters
    ----------
    card : Path
        ``models/NAME.json`` as calibration left it.
    figures : Path or None
        A folder whose folders were each written by ``prepcheck evaluate --out`` (one of them with ``--outside``); None
        leaves the figures as they are.

    Raises
    ------
    WrongUse
        There are no figures, or they were measured with another model.
    """
    said = json.loads(card.read_text(encoding="utf-8")) | FACTS
    if figures is not None:
        said |= _measured(figures, said["export"]["sha256"])
    said |= {section: "nothing said" for section in SECTIONS if not said.get(section)}
    card.write_text(_ROWS.sub(_on_a_line, json.dumps(said, indent=1)) + "\n", encoding="utf-8")


def _on_a_line(row: re.Match[str]) -> str:
    return re.sub(r"\s+", " ", row[0]).replace("[ ", "[").replace(" ]", "]")


def _measured(folder: Path, sha256: str) -> dict[str, Any]:
    results, outside = _read(folder, "figures.json"), _read(folder, "outside.json")
    if not results:
        raise WrongUse("holds no NAME/figures.json", "Write them with prepcheck evaluate --out", str(folder))
    made_with = {name: made["origin"]["model_sha256"] for name, made in results.items()}
    made_with |= {name: made["model_sha256"] for name, made in outside.items()}
    if others := [name for name, used in made_with.items() if used != sha256]:
        raise WrongUse(f"{', '.join(others)}: measured with another model", "Measure again with this one", str(folder))
    return {
        "figures": {name: _compact(made) for name, made in results.items()},
        "groups": {name: _sizes(made["parts"]) for name, made in results.items()},
        "outside": {name: _fooled(made["pictures"]) for name, made in outside.items()} or "not looked at",
        "losses": [loss for name, made in results.items() for loss in _losses(name, made)] or ["none found"],
    }


def _read(folder: Path, file: str) -> dict[str, Any]:
    return {path.parent.name: json.loads(path.read_text("utf-8")) for path in sorted(folder.glob(f"*/{file}"))}


def _fooled(pictures: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Sum up pictures that show no work: how many stand `bright`, and which would if the map were taken at its word."""
    return {
        "pictures": len(pictures),
        "standings": dict(Counter(one["standing"] for one in pictures)),
        "standing_bright": [f"{one['kind']}, {one['name']}" for one in pictures if one["standing"] == "bright"],
        "bright_by_map_alone": [f"{one['kind']}, {one['name']}" for one in pictures if one["by_map"] == "bright"],
    }


def _compact(made: Mapping[str, Any]) -> dict[str, Any]:
    """Keep each figure as [value, low, high]; leave the counts behind."""
    overall = made["overall"]
    return {
        "kind": made["kind"],
        "photos": overall["photos"],
        "scenes": overall["groups"],
        "origin": made["origin"],
        "seconds_a_photo": made["seconds"],
        "all": _triples(overall["figures"]),
        "standings": overall["standings"],
        "called_bright": overall["bright"],
        "by": {
            key: {value: {"photos": part["photos"], **_triples(part["figures"])} for value, part in parts.items()}
            for key, parts in made["parts"].items()
        },
        "rules": {rule: {**_triples(reached), "seconds_a_photo": s} for rule, (reached, s) in made["rules"].items()},
        "causes": made["causes"],
    }


def _triples(figures: Mapping[str, Mapping[str, float]]) -> dict[str, Any]:
    return {name: [_short(one[end]) for end in ("value", "low", "high")] for name, one in figures.items()}


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def _sizes(parts: Mapping[str, Mapping[str, Any]]) -> dict[str, dict[str, int]]:
    return {key: {value: part["photos"] for value, part in values.items()} for key, values in parts.items()}


def _losses(name: str, made: Mapping[str, Any]) -> Iterator[str]:
    """Say where the figures miss a floor, where a simple rule does better, and what dirty photo was called bright."""
    reached = made["overall"]["figures"]
    for measure, (floor, least) in FLOORS.get(made["kind"], {}).items():
        value = reached.get(measure, {}).get("value")
        if value is not None and (value < floor if least else value > floor):
            yield f"{name}: {measure} {value:.3f}, agreed {'at least' if least else 'at most'} {floor:g}"
    for rule, (figures, _) in made["rules"].items():
        yield from (f"{name}: {rule} has the better {m} ({figures[m]['value']:.3f})" for m in _better(figures, reached))
    for truly in ("dirty", "without a spot"):
        if fooled := made["overall"]["standings"].get(truly, {}).get("bright", 0):
            yield f"{name}: {fooled} photos that are truly {truly} called bright"


def _better(rule: Mapping[str, Any], ours: Mapping[str, Any]) -> list[str]:
    """Return the measures in which a rule, given the true ground area, beats the tool, which is given nothing."""
    pairs = [(m, one["value"], ours[m]["value"], FLOORS["maps"][m][1]) for m, one in rule.items()]
    known = [(m, a, b, more) for m, a, b, more in pairs if a is not None and b is not None]
    return [m for m, a, b, more in known if (a > b if more else a < b)]
