"""How the recall of bright metal and of residue falls towards the edge between the two: how sharp a map is."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.terms import RESIDUE, State

Mask = NDArray[np.bool_]

EDGES = (2.0, 4.0, 8.0, 16.0, 32.0)
"""Upper ends of the distances, in pixels of a photo whose longer side has `SIDE`; the last class lies beyond them."""

SIDE = 1280


def by_distance(said: NDArray[np.float32], truth: NDArray[np.uint8], seen: Mask) -> NDArray[np.float64]:
    """Count how many pixels are told rightly, by how far they lie from the other kind.

    Parameters
    ----------
    said : ndarray, float32, shape (h, w)
        Probability of not being bright metal; from one half on a pixel is told residue, whatever is told in the map.
    truth : ndarray, uint8, shape (h, w)
        State codes.
    seen : ndarray, bool, shape (h, w)
        Ground area without what is not labelled or burnt out.

    Returns
    -------
    ndarray, shape (2, 6, 2)
        Bright metal and residue, by distance, of them told rightly and all.
    """
    bright, residue = seen & (truth == State.BRIGHT), seen & np.isin(truth, RESIDUE)
    told = said >= 0.5
    return np.stack([_counts(bright, residue, ~told), _counts(residue, bright, told)])


def _counts(kind: Mask, other: Mask, right: Mask) -> NDArray[np.float64]:
    """Count pixels of a kind and the right ones among them, shape (6, 2); all lie beyond where there is no other kind."""
    classes = len(EDGES) + 1
    if not other.any():
        return np.array([[0, 0]] * len(EDGES) + [[np.count_nonzero(right & kind), np.count_nonzero(kind)]], np.float64)
    away = cv2.distanceTransform((~other).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    place = np.digitize(away[kind] * np.float32(SIDE / max(kind.shape)), EDGES)
    counts = [np.bincount(place, weights=weights, minlength=classes) for weights in (right[kind], None)]
    return np.stack(counts, axis=1).astype(np.float64)


def edge_table(counts: NDArray[np.float64]) -> list[dict[str, Any]]:
    """Give, for each distance, the recall of both kinds and which share of their pixels lies there; None without any."""
    of = counts[..., 1]
    shares = of / np.maximum(of.sum(1, keepdims=True), 1)
    names = [f"under {edge:g}" for edge in EDGES] + [f"from {EDGES[-1]:g} on"]
    return [
        {
            "px": name,
            **{kind: _recall(counts[k, place]) for k, kind in enumerate(("bright", "residue"))},
            **{f"{kind}_share": float(shares[k, place]) for k, kind in enumerate(("bright", "residue"))},
        }
        for place, name in enumerate(names)
    ]


def _recall(counts: NDArray[np.float64]) -> float | None:
    return float(counts[0] / counts[1]) if counts[1] else None
