"""From a picture's own colours to sRGB."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms


def to_srgb(rgb: NDArray[np.uint8], profile: bytes | None) -> NDArray[np.uint8]:
    """Convert a raster from the colour space of its ICC profile to sRGB, relative colorimetric.

    Parameters
    ----------
    rgb : ndarray, shape (h, w, 3), uint8
        In the space that `profile` describes.
    profile : bytes or None
        ICC profile. None, a broken one, one for other than RGB and sRGB itself leave the raster as it is.

    Returns
    -------
    ndarray, shape (h, w, 3), uint8
    """
    if not profile or profile[16:20] != b"RGB ":
        return rgb
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        if "sRGB" in (ImageCms.getProfileDescription(source) or ""):
            return rgb
        turned = ImageCms.profileToProfile(
            Image.fromarray(rgb), source, ImageCms.createProfile("sRGB"), ImageCms.Intent.RELATIVE_COLORIMETRIC
        )
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return rgb
    return rgb if turned is None else np.array(turned, np.uint8)
