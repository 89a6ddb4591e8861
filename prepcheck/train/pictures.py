"""Held-out synthetic photographs as an evaluation folder (images, states, ground, meta)."""

from __future__ import annotations

import json
from pathlib import Path

import cv2

from prepcheck.synth import Picture, make_picture

FOLDERS = ("images", "states", "ground", "meta")


def open_folder(folder: Path) -> None:
    """Make the folders of an evaluation folder where they are missing."""
    for name in FOLDERS:
        (folder / name).mkdir(parents=True, exist_ok=True)


def kept(folder: Path, name: str) -> bool:
    """Tell whether a picture is there already: its notes are written last."""
    return (folder / "meta" / f"{name}.json").exists()


def keep(folder: Path, name: str, picture: Picture) -> None:
    """Write one picture with its truth and its notes."""
    cv2.imwrite(str(folder / "images" / f"{name}.jpg"), picture.image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])
    cv2.imwrite(str(folder / "states" / f"{name}.png"), picture.states)
    cv2.imwrite(str(folder / "ground" / f"{name}.png"), picture.ground)
    (folder / "meta" / f"{name}.json").write_text(json.dumps(picture.meta), encoding="utf-8")


def make_pictures(folder: Path, first_seed: int, count: int, shape: tuple[int, int]) -> None:
    """Make pictures of consecutive seeds; those already there are kept."""
    open_folder(folder)
    for seed in range(first_seed, first_seed + count):
        if not kept(folder, str(seed)):
            keep(folder, str(seed), make_picture(seed, shape))
