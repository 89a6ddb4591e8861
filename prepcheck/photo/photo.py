"""The frozen objects that carry a photo through the pipeline."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Flag:
    """A flag raised on a photo: a code of `prepcheck.terms.FLAGS`, and what was measured.

    Parameters
    ----------
    code : str
        Key of ``FLAGS``.
    blocking : bool
        Whether the photo has to be taken again.
    measured : str
        What was measured against which limit, in words.
    """

    code: str
    blocking: bool
    measured: str = ""


def enlargement(x: float, y: float) -> NDArray[np.float64]:
    """Homography from pixels of a reduced picture to those of the whole one, `x` and `y` times as many; shape (3, 3).

    Pixel centres lie at whole numbers in both.
    """
    return np.array([[x, 0, (x - 1) / 2], [0, y, (y - 1) / 2], [0, 0, 1.0]])


@dataclass(frozen=True, eq=False)
class Plane:
    """The plane of the surface in the photo.

    Parameters
    ----------
    to_mm : ndarray, shape (3, 3), float64
        Homography from pixels of the upright full-size photo, (x, y) with pixel centres at whole numbers, to mm.
    relative_error : float
        Standard deviation of a length, as a share of it.
    source : {"card", "stated"}
        Where the scale comes from.
    """

    to_mm: NDArray[np.float64]
    relative_error: float
    source: str

    def mm_per_px(self, x: float, y: float) -> float:
        """Local scale at full-size pixel (x, y): square root of the area scale, in mm per pixel."""
        return math.sqrt(self.areas(np.array([[x, y]], np.float64))[0])

    def areas(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Area in mm2 of the full-size pixel at each of `points`, shape (n, 2) as (x, y); shape (n,).

        The area scale of a homography H is abs(det H) / abs(w)**3, w being the third coordinate there.
        """
        third = points @ self.to_mm[2, :2] + self.to_mm[2, 2]
        return np.asarray(abs(np.linalg.det(self.to_mm)) / np.abs(third) ** 3, np.float64)


def at_long_side(rgb: NDArray[np.uint8], long_side: int) -> NDArray[np.uint8]:
    """Reduce a picture (h, w) or (h, w, 3) by area averaging to at most `long_side`; smaller ones stay as they are."""
    scale = long_side / max(rgb.shape[:2])
    if scale >= 1:
        return rgb
    size = (max(1, round(rgb.shape[1] * scale)), max(1, round(rgb.shape[0] * scale)))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)


@dataclass(frozen=True, eq=False)
class View:
    """A photo at the size at which it is looked at.

    Parameters
    ----------
    rgb : ndarray, shape (h, w, 3), uint8
        Upright, sRGB.
    """

    rgb: NDArray[np.uint8] = field(repr=False)

    @cached_property
    def grey(self) -> NDArray[np.uint8]:
        """Luma, shape (h, w)."""
        return np.asarray(cv2.cvtColor(self.rgb, cv2.COLOR_RGB2GRAY), np.uint8)


@dataclass(frozen=True, eq=False)
class Photo:
    """A photo as it was received, and an upright sRGB raster of it, reduced to a bounded size.

    Parameters
    ----------
    name : str
        File name as given, without folders.
    sha256 : str
        SHA-256 (hex) of the bytes as received.
    byte_count : int
        Number of bytes as received.
    format : str
        ``JPEG``, ``PNG``, ``WEBP``, ``TIFF`` or ``HEIC``.
    width, height : int
        Upright full size in pixels.
    rgb : ndarray, shape (h, w, 3), uint8
        Upright, sRGB, long side at most ``settings.photo.detail_px``.
    taken : str or None
        Capture time, ISO 8601, with offset when the camera stored one.
    camera : str or None
        Make and model as stored by the camera.
    re_encoded : bool
        Whether the file looks saved again by an app.
    picture_hash : str
        64-bit hash (16 hex digits) that stays nearly the same when the picture is saved again.
    position : tuple of float or None
        Latitude and longitude in degrees, only kept when asked for.
    plane : Plane or None
        The surface's plane in mm when a scale is known.
    flash : bool or None
        Whether the flash fired; None when the camera did not say.
    """

    name: str
    sha256: str
    byte_count: int
    format: str
    width: int
    height: int
    rgb: NDArray[np.uint8] = field(repr=False)
    taken: str | None = None
    camera: str | None = None
    re_encoded: bool = False
    picture_hash: str = ""
    position: tuple[float, float] | None = None
    plane: Plane | None = None
    flash: bool | None = None
    _views: dict[int, View] = field(default_factory=dict, init=False, repr=False)

    def view(self, long_side: int) -> View:
        """Return the photo at most so many pixels long, made once for all who ask."""
        if long_side not in self._views:
            self._views[long_side] = View(at_long_side(self.rgb, long_side))
        return self._views[long_side]

    @property
    def reduction(self) -> float:
        """Full-size pixels per pixel of `rgb`, at least 1."""
        return float(self.width / self.rgb.shape[1])
