"""Moved-light sets and sequences of passes as evaluation folders (images, states, ground, meta)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import cv2

from prepcheck.synth.picture import Picture
from prepcheck.synth.sequences import make_sequence
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


def make_sequences(folder: Path, first_seed: int, count: int, shape: tuple[int, int]) -> None:
    """Make sequences of consecutive seeds, ``seq_NNNN_a`` (the first pass) and on; those already there are kept.

    From the second pass on ``persisting/NAME.png`` labels what lay there in the pass before too.
    """
    open_folder(folder)
    (folder / "persisting").mkdir(exist_ok=True)
    for number in range(count):
        group = f"seq_{number:04d}"
        if not kept(folder, f"{group}_a"):
            passes = make_sequence(first_seed + number, shape)
            for letter, one in list(zip(LETTERS, passes, strict=False))[1:]:
                cv2.imwrite(str(folder / f"persisting/{group}_{letter}.png"), one.persisting)
            _keep_group(folder, group, [one.picture for one in passes])


def _keep_group(folder: Path, group: str, pictures: Sequence[Picture]) -> None:
    """Write the photos of a group, the first one last: it tells that all are there."""
    for letter, picture in reversed(list(zip(LETTERS, pictures, strict=False))):
        keep(folder, f"{group}_{letter}", replace(picture, meta={**picture.meta, "group": group}))
