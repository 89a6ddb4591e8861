"""Labelled photographs on the training device."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch.nn import functional

from prepcheck.train.real import ACCEPTED, SIDE, UNSEEN, Photo

WANTED = (0.16, 0.32, 0.24, 0.04, 0.1, 0.11, 0.03)
"""How often a window is aimed at a pixel of each label."""


class Album:
    """Photographs on the training device, cut into turned and scaled windows."""

    def __init__(self, photos: list[Photo], device: Any) -> None:
        self.device = device
        self.sizes = [p.labels.shape for p in photos]
        self.images = torch.stack([torch.from_numpy(_padded(p.image).transpose(2, 0, 1)) for p in photos]).to(device)
        self.labels = torch.stack([torch.from_numpy(_framed(p.labels))[None] for p in photos]).to(device)
        self.places = [_places(p.labels) for p in photos]
        rarity = np.asarray([sum(WANTED[k] for k in places) for places in self.places])
        self.chance = rarity / max(rarity.sum(), 1e-9)

    def __len__(self) -> int:
        return len(self.sizes)

    def draw(self, rng: np.random.Generator, count: int, size: tuple[int, int]) -> tuple[Any, Any]:
        """Cut windows: pictures (B, 3, h, w) in 0..1 and labels (B, h, w) uint8."""
        chosen = rng.choice(len(self), count, p=self.chance)
        views = np.stack([self._view(rng, int(k), size) for k in chosen])
        y, x = np.mgrid[0 : size[0], 0 : size[1]].astype(np.float32)
        places = torch.as_tensor(np.stack([x, y, np.ones_like(x)], -1).reshape(-1, 3), device=self.device)
        moved = places @ torch.as_tensor(views, dtype=torch.float32, device=self.device).transpose(1, 2)
        grid = ((moved + 0.5) * (2 / SIDE) - 1).view(count, *size, 2)
        index = torch.as_tensor(chosen, device=self.device)
        seen = functional.grid_sample(self.images[index].float(), grid, "bilinear", "reflection", False)
        told = functional.grid_sample(self.labels[index].float(), grid, "nearest", "zeros", False)
        outside = (grid.abs() > 1).any(-1)
        return seen.float() / 255, torch.where(outside, UNSEEN, told[:, 0].round()).to(torch.uint8)

    def _view(self, rng: np.random.Generator, k: int, size: tuple[int, int]) -> NDArray[np.float64]:
        """Matrix (2, 3) from window pixels to photo pixels, aimed at a label that is wanted."""
        rows, cols = self.sizes[k]
        whole = max(rows / size[0], cols / size[1])
        scale = np.exp(rng.uniform(np.log(0.6), np.log(max(1.0, whole))))
        angle = rng.normal(0, 0.4) + rng.integers(4) * np.pi / 2 * (rng.random() < 0.4)
        turn = scale * np.asarray([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        turn = turn @ np.diag([rng.choice([-1.0, 1.0]), 1.0]) @ np.diag(np.exp(rng.normal(0, 0.06, 2)))
        kinds = list(self.places[k])
        chance = np.asarray([WANTED[c] for c in kinds])
        places = self.places[k][rng.choice(kinds, p=chance / chance.sum())]
        aim = places[rng.integers(len(places))] + rng.normal(0, 0.15, 2) * np.asarray(size[::-1]) * scale
        middle = (
            np.clip(scale / whole, 0, 1) * np.asarray([cols / 2, rows / 2]) + (1 - np.clip(scale / whole, 0, 1)) * aim
        )
        return np.column_stack([turn, middle - turn @ (np.asarray(size[::-1]) / 2)])


def _padded(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Fill up to a square of side `SIDE` with the photo mirrored."""
    below, right = SIDE - image.shape[0], SIDE - image.shape[1]
    return np.asarray(cv2.copyMakeBorder(image, 0, below, 0, right, cv2.BORDER_REFLECT), np.uint8)


def _framed(labels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Fill up to a square of side `SIDE` with `UNSEEN`."""
    framed = np.full((SIDE, SIDE), UNSEEN, np.uint8)
    framed[: labels.shape[0], : labels.shape[1]] = labels
    return framed


def _places(labels: NDArray[np.uint8]) -> dict[int, NDArray[np.int64]]:
    """Up to 400 places (x, y) of each label that is there."""
    found: dict[int, NDArray[np.int64]] = {}
    for code in range(len(ACCEPTED)):
        at = np.argwhere(labels == code)[:, ::-1]
        if len(at):
            found[code] = at[:: max(1, len(at) // 400)]
    return found
