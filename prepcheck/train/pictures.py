"""Held-out synthetic photographs as an evaluation folder (images, states, ground, meta)."""

from __future__ import annotations

import json
from pathlib import Path

import cv2

from prepcheck.synth import make_picture


def make_pictures(folder: Path, first_seed: int, count: int, shape: tuple[int, int]) -> None:
    """Make pictures of consecutive seeds; those already there are kept."""
    for name in ("images", "states", "ground", "meta"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    for seed in range(first_seed, first_seed + count):
        meta = folder / "meta" / f"{seed}.json"
        if meta.exists():
            continue
        picture = make_picture(seed, shape)
        cv2.imwrite(str(folder / "images" / f"{seed}.jpg"), picture.image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])
        cv2.imwrite(str(folder / "states" / f"{seed}.png"), picture.states)
        cv2.imwrite(str(folder / "ground" / f"{seed}.png"), picture.ground)
        meta.write_text(json.dumps(picture.meta))
