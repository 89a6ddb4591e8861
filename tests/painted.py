"""Painted plates: pictures whose colours are the truth, and a net that reads them. For testing all but the model."""

from __future__ import annotations

import cv2
import numpy as np

from prepcheck.photo import Photo
from prepcheck.surface import Model, ModelOrigin
from prepcheck.terms import State

COLOURS = {
    State.BACKGROUND: (40, 60, 110),
    State.BRIGHT: (190, 192, 196),
    State.OXIDE: (130, 132, 128),
    State.PIT: (60, 58, 55),
    State.COATING: (200, 150, 40),
    State.FOREIGN: (140, 70, 40),
}
_PALETTE = np.array([COLOURS[State(code)] for code in range(6)], np.float32) / 255


class PaletteNet:
    """Tells each pixel the state whose colour is nearest, with probability `sure`; ground is all but background, coating."""

    def __init__(self, sure: float = 0.97):
        self.sure = sure

    def setInput(self, blob):  # noqa: N802
        self.picture = blob[0].transpose(1, 2, 0)

    def forward(self):
        distance = ((self.picture[:, :, None] - _PALETTE) ** 2).sum(axis=3)
        nearest = distance.argmin(axis=2)
        maps = np.full((1, 8, *nearest.shape), (1 - self.sure) / 6, np.float32)
        for code in range(6):
            maps[0, code][nearest == code] = self.sure
        maps[0, 7] = ~np.isin(nearest, (State.BACKGROUND, State.COATING))
        return maps


def model(sure: float = 0.97, error_scale: float = 0.5, error_floor: float = 0.0) -> Model:
    """Make a model that reads painted plates."""
    return Model(ModelOrigin("palette", "1" * 64, 0.5, error_scale, error_floor), PaletteNet(sure))


def plate(*patches, size=(480, 640), spot=(320, 240, 150), seed=0):
    """Paint a coated plate with one round bright spot (x, y, radius) and patches (state, x, y, radius), with grain."""
    states = np.full(size, State.COATING, np.uint8)
    cv2.circle(states, spot[:2], spot[2], int(State.BRIGHT), -1)
    for state, x, y, radius in patches:
        cv2.circle(states, (x, y), radius, int(state), -1)
    return states


def paint(states, seed=0):
    """Turn states into a picture, shape (h, w, 3), uint8, with grain that leaves each colour nearest to its own."""
    rgb = np.array([COLOURS[State(code)] for code in range(6)], np.float32)[states]
    grain = np.random.default_rng(seed).normal(0, 12, states.shape)[..., None]
    return np.clip(rgb + grain, 0, 255).astype(np.uint8)


def photo(states, *, reduction=1, name="plate.jpg", seed=0):
    """Make the photo of a painted plate."""
    height, width = states.shape
    rgb = paint(states, seed)
    return Photo(name, "2" * 64, 1000, "JPEG", width * reduction, height * reduction, rgb, picture_hash="0" * 16)
