"""What simple rules reach when the true ground area is given: anchors for the tool's figures, measured in the same run.

Each rule takes a photo, shape (h, w, 3), uint8, and its ground area, shape (h, w), bool, and calls each pixel of it bright
metal or oxide; background outside. The tool itself gets no such hint.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.terms import State

Raster = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Rule = Callable[[Raster, Mask], Raster]

LONG_SIDE = 600
"""Photos are reduced to this many pixels, by area averaging: the forest needs seconds a photo as it is."""

_WINDOW = 1 / 40
"""Window of the local texture, as a share of the long side."""

_LEAST_DEVIATION = 0.3
"""Of lightness, in steps of 1/255: what rounding alone makes."""


def otsu(values: Raster) -> int:
    """Return the threshold of N. Otsu (IEEE Trans. SMC 9, 1979): values above it are the brighter class."""
    threshold, _ = cv2.threshold(values.reshape(-1, 1), 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    return int(threshold)


def lightness(rgb: Raster) -> Raster:
    """Return CIE L* of an sRGB picture, shape (h, w, 3), as 255 / 100 of it, shape (h, w)."""
    return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)[:, :, 0], np.uint8)


def by_brightness(rgb: Raster, ground: Mask) -> Raster:
    """Call the brighter pixels bright metal, by Otsu's threshold on lightness."""
    return _called(_above_otsu(lightness(rgb), ground), ground)


def by_two_means(rgb: Raster, ground: Mask) -> Raster:
    """Part the ground pixels into two clusters in CIE Lab and call the lighter cluster bright metal."""
    pixels = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)[ground], np.float32)
    if len(pixels) < 2:
        return _called(ground, ground)
    cv2.setRNGSeed(1)
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 30, 0.2)
    _, labels, centres = cv2.kmeans(pixels, 2, np.zeros((len(pixels), 1), np.int32), stop, 3, cv2.KMEANS_PP_CENTERS)
    bright = np.zeros(ground.shape, bool)
    bright[ground] = labels.ravel() == int(centres[:, 0].argmax())
    return _called(bright, ground)


def by_texture(rgb: Raster, ground: Mask) -> Raster:
    """Call pixels of strong local texture bright metal, by Otsu's threshold: tool marks show on metal, oxide is matt and even.

    Texture is the logarithm of the deviation of lightness in a window: of twelve variants tried on our own synthetic
    pictures the best.
    """
    light = lightness(rgb).astype(np.float32)
    side = max(3, round(_WINDOW * max(light.shape)))
    mean, square = (cv2.blur(plane, (side, side)) for plane in (light, light * light))
    texture = np.log(np.sqrt(np.maximum(square - mean * mean, 0)) + _LEAST_DEVIATION)
    low, high = np.percentile(texture[ground], (1, 99))
    scaled = np.clip(255 * (texture - low) / max(high - low, 1e-6), 0, 255)
    return _called(_above_otsu(scaled.astype(np.uint8), ground), ground)


def by_grabcut(rgb: Raster, ground: Mask) -> Raster:
    """Let GrabCut (C. Rother et al., ACM Trans. Graphics 23, 2004) improve on the brightness rule.

    What lies outside the ground area is given as surely not bright metal; five rounds, as in the paper's figures.
    """
    bright = _above_otsu(lightness(rgb), ground)
    if not bright.any():
        return _called(bright, ground)
    given = np.where(bright, cv2.GC_PR_FGD, np.where(ground, cv2.GC_PR_BGD, cv2.GC_BGD)).astype(np.uint8)
    cv2.setRNGSeed(1)
    background, foreground = np.zeros((1, 65)), np.zeros((1, 65))
    bgr = cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR)
    cv2.grabCut(bgr, given, (0, 0, 1, 1), background, foreground, 5, cv2.GC_INIT_WITH_MASK)
    return _called(np.isin(given, (cv2.GC_FGD, cv2.GC_PR_FGD)), ground)


RULES: dict[str, Rule] = {
    "brightness (Otsu)": by_brightness,
    "two means in Lab": by_two_means,
    "local texture": by_texture,
    "GrabCut": by_grabcut,
}
FOREST = "features + random forest"


def at_full_size(rule: Rule, rgb: Raster, ground: Mask) -> Raster:
    """Apply a rule to the reduced photo and return its states at the size of `ground`."""
    scale = min(1.0, LONG_SIDE / max(ground.shape))
    size = (max(1, round(ground.shape[1] * scale)), max(1, round(ground.shape[0] * scale)))
    small = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    inside = cv2.resize(ground.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST_EXACT) > 0
    if not inside.any():
        return np.zeros(ground.shape, np.uint8)
    states = rule(small, inside)
    return np.asarray(cv2.resize(states, ground.shape[::-1], interpolation=cv2.INTER_NEAREST_EXACT), np.uint8)


def _above_otsu(values: Raster, ground: Mask) -> Mask:
    return np.asarray(ground & (values > otsu(values[ground])))


def _called(bright: Mask, ground: Mask) -> Raster:
    told = np.where(bright, np.uint8(State.BRIGHT), np.uint8(State.OXIDE))
    return np.where(ground, told, np.uint8(State.BACKGROUND))
