"""The homography between card and picture, with the error of a length.

Robust least squares on marker corners in pixels. The two perspective terms carry a prior: the scale changes across the
picture by no more than a tilted plane before an ordinary lens allows. A card small in the picture hardly shows its
perspective; without the prior noise in its corners would be extrapolated over the whole picture. The errors follow from
the covariance at the solution.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo import card_design as design
from prepcheck.photo.percentile import percentile

Array = NDArray[np.float64]
_PERSPECTIVE = 1.2
"""Prior: change of depth over the long side, as a share: tan(40 degrees) x 36 mm / 26 mm, a usual phone lens."""
_CORNER_PX = 0.1
"""Least error of a measured corner that is believed, px."""
_FAR = 3.0
"""A corner this many standard errors off weighs a quarter, further ones less and less."""
_ROUNDS = 12


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted card.

    Parameters
    ----------
    from_mm, to_mm : ndarray, shape (3, 3)
        Homographies, mm to px and back.
    misfit : float
        Standard error of a corner's coordinate by the nearer 70 % of the distances from the fitted places, px: one
        covered or creased corner of the card does not count, a bent card does.
    side : float
        Side of a marker in px, the mean over its directions.
    base : ndarray, shape (3, 3)
        Scales mm to units of half a card around its middle.
    values : ndarray, shape (8,)
        Homography from those units to pixels, without its last term, 1.
    covariance : ndarray, shape (8, 8)
        Of `values`.
    """

    from_mm: Array
    to_mm: Array
    misfit: float
    side: float
    base: Array
    values: Array
    covariance: Array

    @property
    def card_middle(self) -> Array:
        """Where the middle of the card lies, px."""
        return np.asarray(self.to_px(design.outline().mean(axis=0)[None])[0])

    def to_px(self, mm: Array) -> Array:
        """Map (n, 2) mm to px."""
        return project(self.from_mm, mm)

    def length_error(self, px: Array) -> float:
        """Standard deviation of the scale (square root of area) at a pixel, as a share of it."""
        step = 1e-5 * np.maximum(np.abs(self.values), 1e-2)
        here, *beside = self._log_scales(self.values + np.vstack([np.zeros(8), np.diag(step)]), px)
        slope = (np.array(beside) - here) / step
        return float(np.sqrt(slope @ self.covariance @ slope))

    def _log_scales(self, values: Array, px: Array) -> Array:
        """Logarithm of the scale at a pixel for each row of `values`, shape (n, 8)."""
        to_mm = np.linalg.inv(_matrix(values) @ self.base)
        depth = to_mm[:, 2] @ np.array([*px, 1.0])
        return np.asarray(0.5 * np.log(np.abs(np.linalg.det(to_mm)) / np.abs(depth) ** 3))


def project(homography: Array, points: Array) -> Array:
    """Map (n, 2) points through a (3, 3) homography."""
    ends = _with_one(points) @ homography.T
    return np.asarray(ends[:, :2] / ends[:, 2:])


def fit_card(mm: Array, px: Array, size: tuple[int, int]) -> Fit | None:
    """Fit the card's homography.

    Parameters
    ----------
    mm, px : ndarray, shape (n, 2), float64
        Marker corners on the card and in the picture.
    size : tuple of int
        Width and height of the picture in px.

    Returns
    -------
    Fit or None
        None when no plane seen from its printed side explains the corners.
    """
    start = _start(mm, px)
    if start is None:
        return None
    base = _base()
    values, covariance, rest = _least_squares(project(base, mm), px, start, _prior(start, size))
    from_mm = _matrix(values) @ base
    if not _plausible(from_mm):
        return None
    side = math.sqrt(abs(_area(project(from_mm, design.outline()))) / (design.WIDTH * design.HEIGHT)) * design.MARKER
    to_mm = np.asarray(np.linalg.inv(from_mm), np.float64)
    return Fit(from_mm, to_mm, _spread(rest, 70), side, base, values, covariance)


def _start(mm: Array, px: Array) -> Array | None:
    """Values of a homography that ignores corners far off."""
    reach = 0.05 * math.sqrt(float(np.ptp(px, axis=0).prod())) + 1.0
    found, _ = cv2.findHomography(project(_base(), mm), px, cv2.RANSAC, reach)
    if found is None or not np.isfinite(found).all() or abs(found[2, 2]) < 1e-9:
        return None
    return np.asarray((found / found[2, 2]).ravel()[:8], np.float64)


def _base() -> Array:
    half = design.WIDTH / 2
    return np.array([(1 / half, 0, -1.0), (0, 1 / half, -design.HEIGHT / design.WIDTH), (0, 0, 1.0)])


def _prior(values: Array, size: tuple[int, int]) -> Array:
    """Precision (1 / variance) of each value: only the perspective terms have any."""
    half_card = math.sqrt(abs(values[0] * values[4] - values[1] * values[3]))
    spread = _PERSPECTIVE * half_card / max(size)
    return np.array([0.0] * 6 + [1 / spread**2] * 2)


def _least_squares(units: Array, px: Array, values: Array, prior: Array) -> tuple[Array, Array, Array]:
    """Gauss-Newton with weights that fall off (Geman and McClure); returns values, covariance, residuals (n, 2)."""
    sigma = max(_CORNER_PX, _spread(px - project(_matrix(values), units)))
    for _ in range(_ROUNDS):
        at, slope = _slopes(values, units)
        rest = px - at
        weight = np.repeat((1 + np.sum(rest**2, axis=1) / (_FAR * sigma) ** 2) ** -2, 2)
        normal = slope.T @ (slope * weight[:, None]) / sigma**2 + np.diag(prior)
        values = values + np.linalg.solve(normal, slope.T @ (weight * rest.ravel()) / sigma**2 - prior * values)
        sigma = max(_CORNER_PX, _spread(rest))
    return values, np.linalg.inv(normal), px - project(_matrix(values), units)


def _spread(rest: Array, percent: int = 50) -> float:
    """Standard error of a coordinate by a percentile of the distances (Rayleigh), corrected for eight values fitted."""
    freedom = max(rest.size - 8, 1)
    distance = percentile(np.hypot(*rest.T), percent)
    return distance / math.sqrt(-2 * math.log(1 - percent / 100)) * math.sqrt(rest.size / freedom)


def _slopes(values: Array, units: Array) -> tuple[Array, Array]:
    """Projected points (n, 2), and derivatives of their (x, y), in turn for each point, by the eight values."""
    whole = _with_one(units)
    ends = whole @ _matrix(values).T
    at, one = ends[:, :2] / ends[:, 2:], whole / ends[:, 2:]
    slopes = np.zeros((len(units), 2, 8))
    slopes[:, 0, :3] = slopes[:, 1, 3:6] = one
    slopes[:, :, 6:] = -at[:, :, None] * one[:, None, :2]
    return at, slopes.reshape(-1, 8)


def _with_one(points: Array) -> Array:
    """Homogeneous coordinates, (n, 3), of points (n, 2)."""
    whole = np.ones((len(points), 3))
    whole[:, :2] = points
    return whole


def _matrix(values: Array) -> Array:
    """Homographies (..., 3, 3) of values (..., 8)."""
    whole = np.ones((*values.shape[:-1], 9))
    whole[..., :8] = values
    return whole.reshape(*values.shape[:-1], 3, 3)


def _plausible(from_mm: Array) -> bool:
    """Whether the whole card lies before the lens, printed side up, at no steeper a slant than can be read."""
    depth = _with_one(design.outline()) @ from_mm[2]
    if depth.min() <= 0.2 * depth.max():
        return False
    return _area(project(from_mm, design.outline())) > 0


def _area(polygon: Array) -> float:
    """Signed area of a polygon, positive when clockwise on the screen."""
    x, y = polygon.T
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
