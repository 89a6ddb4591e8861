"""A photo file, or its bytes, to a `Photo`."""

from __future__ import annotations

import hashlib
from pathlib import Path, PurePath

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.errors import TooLarge
from prepcheck.photo.colour import to_srgb
from prepcheck.photo.decode import decode
from prepcheck.photo.files import read_bytes
from prepcheck.photo.header import Header, read_header
from prepcheck.photo.photo import Photo
from prepcheck.photo.picture_hash import picture_hash
from prepcheck.photo.saved_again import signs_of_saving
from prepcheck.settings import Settings

_TURNS = {3: cv2.ROTATE_180, 6: cv2.ROTATE_90_CLOCKWISE, 8: cv2.ROTATE_90_COUNTERCLOCKWISE}


def read(path: Path, settings: Settings, *, keep_position: bool = False) -> Photo:
    """Read a photo file, once.

    Parameters
    ----------
    path : Path
        A regular file: JPEG, PNG, WebP, TIFF (8 or 16 bit), or HEIC with the extra ``heic``.
    settings : Settings
        Limits and the size of the raster.
    keep_position : bool
        Whether to keep where the photo was taken.

    Returns
    -------
    Photo
        Upright, sRGB, reduced; without scale. A photo that is unfit to be judged is read all the same.

    Raises
    ------
    Unreadable, TooLarge, NotAPhoto, DamagedPhoto, MissingDecoder
        See `prepcheck.errors`. What damage no decoder can notice: see `prepcheck.photo.decode`.
    """
    return from_bytes(read_bytes(path, settings.photo.max_bytes), path.name, settings, keep_position=keep_position)


def from_bytes(data: bytes, name: str, settings: Settings, *, keep_position: bool = False) -> Photo:
    """Read a photo from the bytes of its file; as `read`.

    Parameters
    ----------
    data : bytes
        The whole file as received.
    name : str
        File name; folders before it are dropped.
    settings, keep_position
        As in `read`.
    """
    name = PurePath(name).name
    limits = settings.photo
    if len(data) > limits.max_bytes:
        raise TooLarge(f"holds more than {limits.max_bytes / 1e6:,.0f} MB", "Give a smaller file", name)
    header = read_header(data, name, limits)
    stored = decode(data, header, name, limits.detail_px)
    rgb = to_srgb(upright(stored, _turn(header)), header.profile)
    exif = header.exif
    sideways = _turn(header) >= 5
    return Photo(
        name=name,
        sha256=hashlib.sha256(data).hexdigest(),
        byte_count=len(data),
        format=header.format,
        width=header.height if sideways else header.width,
        height=header.width if sideways else header.height,
        rgb=rgb,
        taken=exif.taken,
        camera=exif.camera,
        re_encoded=bool(signs_of_saving(header)),
        picture_hash=picture_hash(rgb),
        position=exif.position if keep_position else None,
        flash=exif.flash,
    )


def upright(rgb: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Turn a raster as stored so that it stands upright.

    Parameters
    ----------
    rgb : ndarray, shape (h, w, 3), uint8
        As stored.
    orientation : int
        1 to 8 as in EXIF 2.3 (JEITA CP-3451C), tag 0x0112.
    """
    if orientation in (2, 4, 5, 7):
        rgb = np.asarray(cv2.flip(rgb, 1), np.uint8)
        orientation = {2: 1, 4: 3, 5: 8, 7: 6}[orientation]
    return rgb if orientation == 1 else np.asarray(cv2.rotate(rgb, _TURNS[orientation]), np.uint8)


def _turn(header: Header) -> int:
    """EXIF orientation still to be applied; the HEIC decoder has applied the file's own."""
    return 1 if header.format == "HEIC" else header.exif.orientation
