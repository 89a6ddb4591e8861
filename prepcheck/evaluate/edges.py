"""How the recall of bright metal and of residue falls towards the edge between the two: how sharp a map is."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo.align import SIDE
from prepcheck.terms import RESIDUE, State

Mask = NDArray[np.bool_]

EDGES = (2.0, 4.0, 8.0, 16.0, 32.0)
"""Upper ends of the distances, in pixels of a photo whose longer side has `SIDE`; the last class lies beyond them."""


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
    away = np.full(kind.shape, np.inf, np.float32)
    if other.any():
        cv2.distanceTransform((~other).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE, dst=away)
    place = np.digitize(away[kind] * np.float32(SIDE / max(kind.shape)), EDGES)
    counts = [np.bincount(place, weights=weights, minlength=len(EDGES) + 1) for weights in (right[kind], None)]
    return np.stack(counts, axis=1).astype(np.float64)


def edge_table(counts: NDArray[np.float64]) -> list[dict[str, Any]]:
    """Give, for each distance, the recall of both kinds and which share of their pixels lies there; None without any."""
    rows: list[dict[str, Any]] = [{"px": f"under {edge:g}"} for edge in EDGES] + [{"px": f"from {EDGES[-1]:g} on"}]
    for kind, of_kind in zip(("bright", "residue"), counts, strict=True):
        total = max(of_kind[:, 1].sum(), 1)
        for row, (right, of) in zip(rows, of_kind, strict=True):
            row[kind] = float(right / of) if of else None
            row[f"{kind}_share"] = float(of / total)
    return rows
