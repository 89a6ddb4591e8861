"""The scale card in a photo: scale with its error, plane, white balance, outline."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from prepcheck.errors import WrongUse
from prepcheck.photo import card_design as design
from prepcheck.photo.card_fit import Fit, fit_card
from prepcheck.photo.card_read import Sighting, sight_card
from prepcheck.photo.photo import Flag, Photo, Plane
from prepcheck.settings import CardSettings, Settings
from prepcheck.terms import FLAGS

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CardFind:
    """A scale card found in a raster. Pixels are (x, y) of that raster, pixel centres at whole numbers.

    Parameters
    ----------
    to_mm : ndarray, shape (3, 3), float64
        Homography from raster pixels to mm on the card, true mm by the checking line.
    relative_error : float
        Standard deviation of a length as a share of it, in the middle of the picture or beside the card, the worse one.
    markers : tuple of int
        Ids of the markers that were read.
    outline : ndarray, shape (4, 2), float64
        Corners of the card, from its upper left one clockwise on the card.
    corners : ndarray, shape (n, 2), float64
        Corners of the markers as measured, four to a marker.
    gains : ndarray, shape (3,), float64, or None
        Factors for linear R, G, B that make the grey steps neutral, 1 for G; None when the steps cannot be read.
    doubt : str
        Why the scale is not certain enough to be used; empty when it is.
    """

    to_mm: Array = field(repr=False)
    relative_error: float
    markers: tuple[int, ...]
    outline: Array = field(repr=False)
    corners: Array = field(repr=False)
    gains: Array | None
    doubt: str

    @property
    def doubtful(self) -> bool:
        """Whether the scale must not be used as a number."""
        return bool(self.doubt)


def find_card(rgb: NDArray[np.uint8], settings: CardSettings) -> CardFind | None:
    """Look for our scale card.

    Parameters
    ----------
    rgb : ndarray, shape (h, w, 3), uint8
        Upright sRGB raster.
    settings : CardSettings
        Length of the checking line, limits of doubt.

    Returns
    -------
    CardFind or None
        None when fewer than two markers can be read. A find may be doubtful: then it says why.
    """
    sighting = sight_card(rgb)
    if sighting is None:
        return None
    height, width = rgb.shape[:2]
    fit = fit_card(sighting.mm, sighting.px, (width, height))
    if fit is None:
        return None
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    beside, far = (math.hypot(fit.length_error(at), settings.print_error) for at in (_beside(fit, middle), middle))
    return CardFind(
        to_mm=np.diag([settings.check_line_mm / design.CHECK_LINE] * 2 + [1.0]) @ fit.to_mm,
        relative_error=max(beside, far),
        markers=sighting.ids,
        outline=fit.to_px(design.outline()),
        corners=sighting.px,
        gains=sighting.gains,
        doubt=_doubt(sighting, fit, beside, far, settings),
    )


def _beside(fit: Fit, middle: Array) -> Array:
    """Where a spot lies as a rule: two card widths from the card towards the middle of the picture, at most there."""
    card = fit.to_px(design.outline())
    start, reach = card.mean(axis=0), 2 * float(np.linalg.norm(card[1] - card[0]))
    away = middle - start
    return np.asarray(start + away * min(1.0, reach / max(float(np.linalg.norm(away)), 1e-9)))


def _doubt(sighting: Sighting, fit: Fit, beside: float, far: float, settings: CardSettings) -> str:
    if len(sighting.ids) < settings.least_markers:
        return f"{len(sighting.ids)} of 4 corner markers seen, {settings.least_markers} needed"
    most_misfit = math.hypot(settings.most_misfit_px, settings.most_misfit * fit.side)
    if fit.misfit > most_misfit:
        return f"corners are {fit.misfit:.1f} px off those of a flat card, limit {most_misfit:.1f} px"
    if beside > settings.most_error:
        return f"a length beside the card is uncertain by {beside:.1%}, limit {settings.most_error:.1%}"
    if far > settings.most_error_middle:
        return f"a length in mid-picture is uncertain by {far:.1%}, limit {settings.most_error_middle:.1%}"
    return ""


def plane_of(find: CardFind, reduction: float) -> Plane:
    """Return the plane for pixels of the full-size photo, `reduction` of them to a raster pixel."""
    shift = 0.5 / reduction - 0.5
    to_raster = np.array([(1 / reduction, 0.0, shift), (0.0, 1 / reduction, shift), (0.0, 0.0, 1.0)])
    return Plane(find.to_mm @ to_raster, find.relative_error, "card")


def stated_plane(mm_per_px: float, settings: CardSettings) -> Plane:
    """Return the plane of a photo taken square to the surface, for a scale that a person states.

    Raises
    ------
    WrongUse
        The scale is not a positive number.
    """
    if not (math.isfinite(mm_per_px) and mm_per_px > 0):
        raise WrongUse(f"the stated scale {mm_per_px} is no positive number", "State mm per pixel, for example 0.05")
    return Plane(np.diag([mm_per_px, mm_per_px, 1.0]), settings.stated_error, "stated")


def with_scale(
    photo: Photo, settings: Settings, stated_mm_per_px: float | None = None
) -> tuple[Photo, tuple[Flag, ...], CardFind | None]:
    """Give `photo` its plane.

    A sure card gives the plane, as it shows the tilt too. Where the card is missing, doubtful, or differs from a stated
    scale, the stated scale is used: a person who states a number means it, and the flag says that the card differs.

    Parameters
    ----------
    photo : Photo
        Without plane.
    settings : Settings
        All thresholds.
    stated_mm_per_px : float, optional
        A scale that a person states, mm per full-size pixel.

    Returns
    -------
    photo : Photo
        With plane, or without when no certain scale is known.
    flags : tuple of Flag
        ``no_scale``, ``doubtful_scale`` or ``stated_scale_differs``.
    find : CardFind or None
        The card in ``photo.rgb``, also when doubtful.
    """
    find = find_card(photo.rgb, settings.card)
    stated = None if stated_mm_per_px is None else stated_plane(stated_mm_per_px, settings.card)
    by_card = None if find is None or find.doubtful else plane_of(find, photo.reduction)
    difference = _difference(by_card, stated, photo)
    differs = difference > settings.card.most_difference
    plane = stated if by_card is None or differs else by_card
    flags = scale_flags(find, stated, difference if differs else 0.0)
    return replace(photo, plane=plane), flags, find


def scale_flags(find: CardFind | None, stated: Plane | None, difference: float = 0.0) -> tuple[Flag, ...]:
    """Return the flags on the scale.

    Parameters
    ----------
    find : CardFind or None
        The card.
    stated : Plane or None
        What a person stated.
    difference : float
        By how much the two differ, as a share; 0 when not worth a flag.
    """
    flags = []
    if find is None and stated is None:
        flags.append(_flag("no_scale", "no card with at least two readable markers"))
    if find is not None and find.doubtful:
        flags.append(_flag("doubtful_scale", find.doubt))
    if difference:
        measured = f"by {difference:.0%} in the middle of the picture; the stated one is used"
        flags.append(_flag("stated_scale_differs", measured))
    return tuple(flags)


def _difference(by_card: Plane | None, stated: Plane | None, photo: Photo) -> float:
    """Difference of two scales in the middle of the picture, as a share of the card's."""
    if by_card is None or stated is None:
        return 0.0
    middle = ((photo.width - 1) / 2, (photo.height - 1) / 2)
    return abs(stated.mm_per_px(*middle) / by_card.mm_per_px(*middle) - 1)


def _flag(code: str, measured: str) -> Flag:
    return Flag(code, FLAGS[code].blocking, measured)
