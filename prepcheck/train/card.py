"""What a model's card says beside its calibration: data, limits, credits, how to retrain, and the measured figures."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

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
        "valvers/valvers.website.src, Brian Sidebotham, MIT",
        "mikegcox/vintagemoto, Mike Cox, MIT",
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
        "python -m prepcheck.train card models/NAME.json FIGURES.json",
    ],
}


def write_card(card: Path, figures: Path | None) -> None:
    """Add the facts, and measured figures from a JSON file, to a card; its calibration stays as it is."""
    said = json.loads(card.read_text(encoding="utf-8"))
    said |= FACTS
    if figures is not None:
        said["figures"] = json.loads(figures.read_text(encoding="utf-8"))
    card.write_text(json.dumps(said, indent=2) + "\n", encoding="utf-8")
