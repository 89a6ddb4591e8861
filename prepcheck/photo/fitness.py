"""Is a photo fit to be judged? Measurements, each against its setting, as flags."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo.percentile import percentile
from prepcheck.photo.photo import Flag, Photo, View, at_long_side
from prepcheck.photo.sharpness import blur_px, blur_px_worst_way
from prepcheck.settings import Settings
from prepcheck.terms import FLAGS

Raster = NDArray[np.uint8]
Grey = NDArray[np.uint8]
_CODED = np.arange(256) / 255
_LINEAR = np.where(_CODED <= 0.04045, _CODED / 12.92, ((_CODED + 0.055) / 1.055) ** 2.4).astype(np.float32)
"""Linear light of each sRGB value (IEC 61966-2-1)."""


def photo_flags(photo: Photo, settings: Settings) -> tuple[Flag, ...]:
    """Return the flags on the whole picture, before its surface is known.

    Parameters
    ----------
    photo : Photo
        As read.
    settings : Settings
        All thresholds.

    Returns
    -------
    tuple of Flag
        Of ``blurred``, ``too_dark``, ``too_bright``, ``colour_cast``, ``small_spot``, ``re_encoded``. Flags on the scale: see
        `prepcheck.photo.card`.
    """
    view = photo.view(settings.photo.working_px)
    found = [
        _small_picture(photo, settings),
        _exposure(view, settings),
        _blurred(blur_px_worst_way(view.grey), settings.fitness.blur_px, "in the picture"),
        _colour_cast(view.rgb, settings),
        _re_encoded(photo),
    ]
    return tuple(flag for flag in found if flag)


def spot_flags(photo: Photo, mask: NDArray[np.bool_], settings: Settings) -> tuple[Flag, ...]:
    """Return the flags on the ground spots.

    Parameters
    ----------
    photo : Photo
        With its plane, when a scale is known.
    mask : ndarray, shape (h, w), bool
        Where the spots are, at any size of the same frame.
    settings : Settings
        All thresholds.

    Returns
    -------
    tuple of Flag
        Of ``burnt_out``, ``too_dark``, ``blurred``, ``small_spot``; empty for an empty mask.
    """
    view = photo.view(settings.photo.working_px)
    height, width = view.grey.shape
    whole = cv2.resize(mask.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST)
    x, y, width, height = cv2.boundingRect(whole)
    if width == 0:
        return ()
    box = np.s_[y : y + height, x : x + width]
    grey, inside = view.grey[box], whole[box].astype(bool)
    found = [
        _burnt_out(view.rgb[box], inside, settings),
        _dark_spot(grey, inside, settings),
        _blurred(blur_px(grey, inside), settings.fitness.blur_px, "inside the spot"),
        _small_spot(photo, inside, (x, y), settings),
    ]
    return tuple(flag for flag in found if flag)


def _small_picture(photo: Photo, settings: Settings) -> Flag | None:
    least = settings.spot.least_width_px
    if min(photo.width, photo.height) >= least:
        return None
    return _raised(
        "small_spot", f"the whole picture has {photo.width} x {photo.height} pixels, at least {least:.0f} needed"
    )


def _exposure(view: View, settings: Settings) -> Flag | None:
    fit = settings.fitness
    light = percentile(view.grey[::3, ::3], 90)
    if light < fit.dark_level:
        return _raised(
            "too_dark", f"nine tenths of the picture lie below {light:.0f} of 255, limit {fit.dark_level:.0f}"
        )
    burnt = np.count_nonzero(_burnt(view.rgb, settings)) / view.grey.size
    if burnt > fit.white_share:
        return _raised("too_bright", f"{burnt:.0%} of the picture is pure white, limit {fit.white_share:.0%}")
    return None


def _dark_spot(grey: Grey, inside: NDArray[np.bool_], settings: Settings) -> Flag | None:
    middle, least = percentile(grey[inside], 50), settings.fitness.dark_level
    if middle >= least:
        return None
    return _raised("too_dark", f"half of the spot lies below {middle:.0f} of 255, limit {least:.0f}")


def _burnt(rgb: Raster, settings: Settings) -> Grey:
    level = settings.score.burnt_level
    return np.asarray(cv2.inRange(rgb, (level,) * 3, (255,) * 3), np.uint8)


def _burnt_out(rgb: Raster, inside: NDArray[np.bool_], settings: Settings) -> Flag | None:
    share = np.count_nonzero((_burnt(rgb, settings) > 0) & inside) / np.count_nonzero(inside)
    most = settings.fitness.burnt_share
    return _raised("burnt_out", f"{share:.0%} of the spot is pure white, limit {most:.0%}") if share > most else None


def _blurred(blur: float | None, most: float, where: str) -> Flag | None:
    if blur is None or blur <= most:
        return None
    return _raised(
        "blurred", f"the sharpest edges {where} are smeared by {blur:.1f} px at working size, limit {most:.1f}"
    )


def _colour_cast(rgb: Raster, settings: Settings) -> Flag | None:
    angle, most = cast_degrees(rgb), settings.fitness.cast_degrees
    return (
        _raised("colour_cast", f"the light is {angle:.0f} degrees off white, limit {most:.0f}")
        if angle > most
        else None
    )


def cast_degrees(rgb: Raster) -> float:
    """Angle between the colour of the light and white, by the more cautious of two estimates.

    Parameters
    ----------
    rgb : ndarray, shape (h, w, 3), uint8
        sRGB.

    Returns
    -------
    float
        Degrees in linear RGB. The light's colour is taken once from the brightest places (white patch), once from edges
        (grey edge: J. van de Weijer, T. Gevers and A. Gijsenij, IEEE Trans. Image Processing 16, 2007).
    """
    small = at_long_side(np.ascontiguousarray(rgb[::4, ::4]), 320)
    channels = cv2.split(small)
    brightest = cv2.max(cv2.max(channels[0], channels[1]), channels[2])
    usable = np.asarray(cv2.inRange(brightest, 21, 249), np.uint8)
    if min(usable.shape) < 3 or np.count_nonzero(usable) < 64:
        return 0.0
    bright = np.array([percentile(_LINEAR[channel[usable > 0]], 95) for channel in channels])
    smooth = cv2.GaussianBlur(cv2.LUT(small, _LINEAR), (0, 0), 1)
    edges = cv2.magnitude(*(cv2.Sobel(smooth, cv2.CV_32F, *way) for way in ((1, 0), (0, 1))))
    return min(_degrees_off_white(bright), _degrees_off_white(np.array(cv2.mean(edges, usable)[:3])))


def _degrees_off_white(light: NDArray[np.floating]) -> float:
    length = float(np.linalg.norm(light))
    return 0.0 if length == 0 else float(np.degrees(np.arccos(min(1.0, float(light.sum()) / (length * 3**0.5)))))


def _small_spot(photo: Photo, inside: NDArray[np.bool_], corner: tuple[int, int], settings: Settings) -> Flag | None:
    framed = cv2.copyMakeBorder(inside.view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    reach = cv2.distanceTransform(framed, cv2.DIST_L2, 5)
    width, least = 2 * float(reach.max()), settings.spot.least_width_px
    if width < least:
        return _raised("small_spot", f"the widest spot is {width:.0f} px wide at working size, limit {least:.0f}")
    if photo.plane is None:
        return None
    return _coarse_scale(photo, inside, corner, settings)


def _coarse_scale(photo: Photo, inside: NDArray[np.bool_], corner: tuple[int, int], settings: Settings) -> Flag | None:
    assert photo.plane is not None
    step = photo.width / photo.view(settings.photo.working_px).grey.shape[1]
    sums = cv2.moments(inside.view(np.uint8), binaryImage=True)
    x, y = sums["m10"] / sums["m00"], sums["m01"] / sums["m00"]
    scale = photo.plane.mm_per_px((x + corner[0]) * step, (y + corner[1]) * step)
    patch = settings.score.patch_limit_mm / (scale * step)
    least = settings.fitness.patch_px
    if patch >= least:
        return None
    limit = settings.score.patch_limit_mm
    return _raised("small_spot", f"a patch of {limit:.0f} mm is {patch:.1f} px long at working size, limit {least:.0f}")


def _re_encoded(photo: Photo) -> Flag | None:
    return _raised("re_encoded", "by what the file says of itself") if photo.re_encoded else None


def _raised(code: str, measured: str) -> Flag:
    return Flag(code, FLAGS[code].blocking, measured)
