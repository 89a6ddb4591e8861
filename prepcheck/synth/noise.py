"""Random fields from which surfaces are made: smooth, fractal and stretched noise, all seeded."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float32]
Shape = tuple[int, int]


def smooth(rng: np.random.Generator, shape: Shape, cell: tuple[float, float]) -> Field:
    """Cubic interpolation of white noise on a coarse grid.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of randomness.
    shape : (int, int)
        Rows and columns wanted.
    cell : (float, float)
        Grid spacing down and across, in pixels.

    Returns
    -------
    ndarray of float32, shape (rows, columns)
        Noise with zero mean and about unit variance at the grid points.
    """
    rows = max(2, round(shape[0] / max(cell[0], 1.0))) + 1
    cols = max(2, round(shape[1] / max(cell[1], 1.0))) + 1
    grid = rng.standard_normal((min(rows, shape[0] + 1), min(cols, shape[1] + 1)), dtype=np.float32)
    return np.asarray(cv2.resize(grid, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC), np.float32)


def fractal(rng: np.random.Generator, shape: Shape, cell: float, octaves: int = 4, gain: float = 0.55) -> Field:
    """Sum of smooth noises of halving cell and falling amplitude, scaled to zero mean and unit variance.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of randomness.
    shape : (int, int)
        Rows and columns wanted.
    cell : float
        Size of the largest blobs in pixels.
    octaves : int
        How often the cell is halved; octaves finer than 1.5 pixels are left out.
    gain : float
        Amplitude ratio of one octave to the one before.

    Returns
    -------
    ndarray of float32, shape (rows, columns)
    """
    total = np.zeros(shape, np.float32)
    amplitude = 1.0
    for octave in range(octaves):
        step = cell / 2**octave
        if octave and step < 1.5:
            break
        total += np.float32(amplitude) * smooth(rng, shape, (step, step))
        amplitude *= gain
    return standard(total)


def standard(field: Field) -> Field:
    """Shift and scale `field` to zero mean and unit variance (a constant field becomes zero)."""
    mean, deviation = cv2.meanStdDev(field)
    return np.asarray((field - mean[0, 0]) / max(float(deviation[0, 0]), 1e-6), np.float32)


def warped(rng: np.random.Generator, field: Field, amount: float, cell: float) -> Field:
    """Push `field` about by up to about `amount` pixels along a smooth random flow of the given cell size."""
    rows, cols = field.shape
    ys, xs = np.mgrid[0:rows, 0:cols].astype(np.float32)
    xs += np.float32(amount) * fractal(rng, field.shape, cell, 2)
    ys += np.float32(amount) * fractal(rng, field.shape, cell, 2)
    return np.asarray(cv2.remap(field, xs, ys, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT), np.float32)


def ramp(field: Field, low: float, high: float) -> Field:
    """Smooth step: 0 below `low`, 1 above `high`, cubic in between."""
    part = np.clip((field - low) / max(high - low, 1e-6), 0.0, 1.0)
    return np.asarray(part * part * (3.0 - 2.0 * part), np.float32)


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """Draw between `low` and `high`, evenly in the logarithm."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))
