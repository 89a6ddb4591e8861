"""Photographs with labelled points and regions that may be trained on: splits by photo and kind of part, crops, labels."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

ACCEPTED: dict[int, tuple[int, ...]] = {0: (0,), 1: (1,), 2: (2, 4), 3: (3,), 4: (4, 0), 5: (5, 2), 6: (6,)}
"""States that count as right for a label (a dull skin may be called oxide or unworked, and so on)."""

HELD_OUT_OF = 5
"""One kind of part in five is held out."""

UNSEEN = 255
"""Label of a pixel that says nothing."""

SIDE = 1024
"""Photographs are kept with their longer side at most this long."""


@dataclass(frozen=True)
class Photo:
    """A labelled photo.

    Attributes
    ----------
    file : str
        Name relative to the folder.
    image : ndarray of uint8, shape (H, W, 3)
        RGB.
    labels : ndarray of uint8, shape (H, W)
        Codes 0 to 6, `UNSEEN` elsewhere: regions, and points as small discs over them.
    """

    file: str
    image: NDArray[np.uint8]
    labels: NDArray[np.uint8]


def kind_of_part(file: str) -> str:
    """Group photos that may show the same part: source and the tens of the running number."""
    stem = Path(file).stem
    digits = re.findall(r"\d+", stem)
    return re.sub(r"\d+.*", "", stem) + (str(int(digits[0]) // 10) if digits else "")


def held_out(file: str) -> bool:
    """Tell whether a photo's group is held out of training (by the hash of the group's name)."""
    return hashlib.sha256(kind_of_part(file).encode()).digest()[0] % HELD_OUT_OF == 0


def load_photos(folder: Path, regions: Path | None = None) -> list[Photo]:
    """Read the photographs of a folder that have points (``points.json``) or regions (an archive of small label maps)."""
    points = json.loads((folder / "points.json").read_text()) if (folder / "points.json").is_file() else []
    by_file = {entry["file"]: entry for entry in points}
    maps: dict[str, NDArray[np.uint8]] = {}
    if regions is not None:
        with np.load(regions) as stored:
            maps = dict(stored.items())
    found = (str(p.relative_to(folder)) for p in sorted(folder.rglob("*.jpg")))
    return [
        _read(folder, file, maps.get(Path(file).name), by_file.get(file))
        for file in found
        if file in by_file or Path(file).name in maps
    ]


def _read(folder: Path, file: str, regions: NDArray[np.uint8] | None, points: dict[str, Any] | None) -> Photo:
    image = np.asarray(cv2.imread(str(folder / file), cv2.IMREAD_COLOR), np.uint8)[..., ::-1]
    shrink = min(1.0, SIDE / max(image.shape[:2]))
    image = np.asarray(cv2.resize(image, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA), np.uint8)
    size = image.shape[1], image.shape[0]
    labels = np.full(size[::-1], UNSEEN, np.uint8)
    if regions is not None:
        labels = np.asarray(cv2.resize(regions, size, interpolation=cv2.INTER_NEAREST), np.uint8)
    for (x, y), label in zip(points["points"], points["labels"], strict=True) if points else ():
        if label < len(ACCEPTED):
            scale = size[0] / points["size"][0]  # type: ignore[index]
            cv2.circle(labels, (int(x * scale), int(y * scale)), 3, int(label), -1)
    return Photo(file, np.ascontiguousarray(image), labels)


def accepted_matrix() -> NDArray[np.float32]:
    """Rows by label 0 to 6, columns by state 0 to 6: 1 where the state counts as right."""
    matrix = np.zeros((7, 7), np.float32)
    for label, states in ACCEPTED.items():
        matrix[label, list(states)] = 1.0
    return matrix
