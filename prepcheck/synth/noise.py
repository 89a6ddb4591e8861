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


def clouds(rng: np.random.Generator, shape: Shape, cell: float, octaves: int = 5, gain: float = 0.55) -> Field:
    """Make a field like :func:`fractal`, two to three times as fast: coarse octaves are summed on coarse grids.

    Arguments and result are those of :func:`fractal`; other numbers come from the same seed.
    """
    total = np.zeros((2, 2), np.float32)
    amplitude = 1.0
    for octave in range(octaves):
        step = cell / 2**octave
        if octave and step < 1.5:
            break
        coarse = max(1.0, step / 4.0)
        size = (max(2, round(shape[0] / coarse)), max(2, round(shape[1] / coarse)))
        if size != total.shape:
            total = np.asarray(cv2.resize(total, size[::-1], interpolation=cv2.INTER_CUBIC), np.float32)
        total += np.float32(amplitude) * smooth(rng, size, (step / coarse, step / coarse))
        amplitude *= gain
    if total.shape != shape:
        total = np.asarray(cv2.resize(total, shape[::-1], interpolation=cv2.INTER_CUBIC), np.float32)
    return standard(total)


def soft(field: Field, sigma: float) -> Field:
    """Gaussian blur; a wide one is computed on a coarse grid."""
    step = int(sigma / 3)
    if step < 2:
        return np.asarray(cv2.GaussianBlur(field, (0, 0), sigma), np.float32)
    size = (max(2, field.shape[1] // step), max(2, field.shape[0] // step))
    small = cv2.GaussianBlur(cv2.resize(field, size, interpolation=cv2.INTER_AREA), (0, 0), sigma / step)
    return np.asarray(cv2.resize(small, field.shape[::-1], interpolation=cv2.INTER_CUBIC), np.float32)


def cells(rng: np.random.Generator, shape: Shape, size: float) -> tuple[NDArray[np.int32], Field]:
    """Voronoi cells of jittered points about `size` pixels apart: cell numbers, and distance to the cell's point."""
    size = max(size, 3.0)
    rows, cols = max(2, round(shape[0] / size)), max(2, round(shape[1] / size))
    ys = (np.arange(rows)[:, None] + rng.uniform(0, 1, (rows, cols))) * (shape[0] / rows)
    xs = (np.arange(cols)[None, :] + rng.uniform(0, 1, (rows, cols))) * (shape[1] / cols)
    free = np.ones(shape, np.uint8)
    free[np.minimum(ys.astype(int), shape[0] - 1), np.minimum(xs.astype(int), shape[1] - 1)] = 0
    distance, number = cv2.distanceTransformWithLabels(free, cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL)
    return np.asarray(number, np.int32), np.asarray(distance, np.float32)


def by_cell(rng: np.random.Generator, number: NDArray[np.int32]) -> Field:
    """Give every cell its own standard normal value."""
    values = rng.standard_normal(int(number.max()) + 1).astype(np.float32)
    return np.asarray(np.take(values, number), np.float32)


def places(shape: Shape) -> tuple[Field, Field]:
    """Return x and y of every pixel, each of shape (1, W) and (H, 1), counted from the middle of the picture."""
    ys = np.arange(shape[0], dtype=np.float32)[:, None] - np.float32(shape[0] / 2)
    xs = np.arange(shape[1], dtype=np.float32)[None, :] - np.float32(shape[1] / 2)
    return xs, ys


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
