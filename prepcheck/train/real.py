"""Photographs with labelled points that may be trained on: splits by photo and kind of part, crops, partial labels."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

ACCEPTED: dict[int, tuple[int, ...]] = {0: (0,), 1: (1,), 2: (2, 4), 3: (3,), 4: (4, 0), 5: (5, 2), 6: (6,)}
"""States that count as right for a point's label (a dull skin may be called oxide or unworked, and so on)."""

HELD_OUT_OF = 5
"""One kind of part in five is held out."""


@dataclass(frozen=True)
class PointPhoto:
    """A photo with points.

    Attributes
    ----------
    file : str
        Name relative to the folder.
    image : ndarray of uint8, shape (H, W, 3)
        RGB.
    points : ndarray of float32, shape (N, 2)
        x and y in pixels.
    labels : ndarray of int64, shape (N,)
        Codes 0 to 6; points marked as unsure are left out.
    """

    file: str
    image: NDArray[np.uint8]
    points: NDArray[np.float32]
    labels: NDArray[np.int64]


def kind_of_part(file: str) -> str:
    """Group photos that may show the same part: source and the tens of the running number."""
    stem = Path(file).stem
    digits = re.findall(r"\d+", stem)
    return re.sub(r"\d+.*", "", stem) + (str(int(digits[0]) // 10) if digits else "")


def held_out(file: str) -> bool:
    """Tell whether a photo's group is held out of training (by the hash of the group's name)."""
    return hashlib.sha256(kind_of_part(file).encode()).digest()[0] % HELD_OUT_OF == 0


def load_photos(folder: Path) -> list[PointPhoto]:
    """Read `points.json` and its photos."""
    photos = []
    for entry in json.loads((folder / "points.json").read_text()):
        image = cv2.imread(str(folder / entry["file"]), cv2.IMREAD_COLOR)
        if image is None:
            continue
        points = np.asarray(entry["points"], np.float32) * (image.shape[1] / entry["size"][0])
        labels = np.asarray(entry["labels"], np.int64)
        keep = labels <= 6
        photos.append(PointPhoto(entry["file"], np.ascontiguousarray(image[..., ::-1]), points[keep], labels[keep]))
    return photos


def crop(rng: np.random.Generator, photo: PointPhoto, size: int) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Cut a turned, scaled square around a random point.

    Returns
    -------
    image : ndarray of uint8, shape (size, size, 3)
        RGB.
    labels : ndarray of uint8, shape (size, size)
        Point labels as discs of radius 3 pixels, 255 elsewhere.
    """
    whole = size / max(photo.image.shape[:2])
    scale = float(np.exp(rng.uniform(np.log(min(whole, 0.9)), np.log(1.4))))
    middle = photo.points[rng.integers(len(photo.points))] + rng.normal(0, 0.2 * size / scale, 2)
    turn = cv2.getRotationMatrix2D((float(middle[0]), float(middle[1])), float(rng.normal(0, 25)), scale)
    turn[:, 2] += size / 2 - middle
    if rng.random() < 0.5:
        turn = np.asarray([[-1, 0, size - 1], [0, 1, 0]]) @ np.vstack([turn, [0, 0, 1]])
    image = cv2.warpAffine(photo.image, turn, (size, size), flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REFLECT)
    labels = np.full((size, size), 255, np.uint8)
    moved = photo.points @ turn[:, :2].T + turn[:, 2]
    for (x, y), label in zip(moved, photo.labels, strict=True):
        if 0 <= x < size and 0 <= y < size:
            cv2.circle(labels, (int(x), int(y)), 3, int(label), -1)
    return np.asarray(image, np.uint8), labels


def accepted_matrix() -> NDArray[np.float32]:
    """Rows by label 0 to 6, columns by state 0 to 6: 1 where the state counts as right."""
    matrix = np.zeros((7, 7), np.float32)
    for label, states in ACCEPTED.items():
        matrix[label, list(states)] = 1.0
    return matrix
