"""Moved-light sets and sequences of passes as evaluation folders (images, states, ground, meta)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from prepcheck.synth.picture import Picture
from prepcheck.synth.sets import make_set
from prepcheck.train.pictures import keep, kept, open_folder

LETTERS = "abcdef"


def make_sets(folder: Path, first_seed: int, count: int, shape: tuple[int, int]) -> None:
    """Make moved-light sets of consecutive seeds, ``set_NNNN_a`` and on from number 0; those already there are kept."""
    open_folder(folder)
    for number in range(count):
        group = f"set_{number:04d}"
        if not kept(folder, f"{group}_a"):
            _keep_group(folder, group, make_set(first_seed + number, shape))


def _keep_group(folder: Path, group: str, pictures: Sequence[Picture]) -> None:
    """Write the photos of a group, the first one last: it tells that all are there."""
    for letter, picture in reversed(list(zip(LETTERS, pictures, strict=False))):
        keep(folder, f"{group}_{letter}", replace(picture, meta={**picture.meta, "group": group}))
