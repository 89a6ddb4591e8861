"""Pixels of a picture file, reduced while decoding where the format allows it.

What is refused: a file that is cut, with or without an end marker put back; a progressive JPEG that lacks a scan; a
PNG with a wrong check sum; a WebP or HEIC that ends in zeros; whatever else a decoder stumbles over.

What no decoder can notice: bytes overwritten inside the coded picture that still decode to something (a JPEG scan, an
uncompressed TIFF, a part of a HEIC or WebP). Only the SHA-256 of the original shows that.
"""

from __future__ import annotations

import io
import struct
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray
from PIL import Image, PngImagePlugin

from prepcheck.errors import DamagedPhoto, TooLarge
from prepcheck.photo import containers as box
from prepcheck.photo.header import Header

_ORIGINAL = "Copy the original file from the phone again"
_HARMLESS = "extraneous bytes before marker 0xd9"
_MID_GREY = 128
_DECODER_ERRORS = (
    ValueError,
    OSError,
    RuntimeError,
    EOFError,
    SyntaxError,
    MemoryError,
    IndexError,
    struct.error,
    cv2.error,
)
_one_at_a_time = threading.Lock()
_MOST_KEPT = 650_000_000
"""Bytes of coefficients that a JPEG of several scans may need: 200 MP at 4:2:0 is 600 MB."""


def decode(data: bytes, header: Header, name: str, detail_px: int) -> NDArray[np.uint8]:
    """Decode a picture, as stored (not turned), long side at most `detail_px`.

    Reduction averages the coded values, as every viewer does, not linear light.

    Parameters
    ----------
    data : bytes
        The whole file.
    header : Header
        From `read_header`.
    name : str
        For messages.
    detail_px : int
        Long side of the result in pixels; a smaller picture keeps its size.

    Returns
    -------
    ndarray, shape (h, w, 3), uint8
        RGB in the file's own colour space. Transparent places show mid grey.

    Raises
    ------
    DamagedPhoto
        A part of the picture is not there.
    TooLarge
        A progressive JPEG that would not fit into bounded memory.
    """
    try:
        pixels = _DECODERS[header.format](data, header, detail_px)
    except _TooMuch as error:
        raise TooLarge(str(error), "Save it as a plain (not progressive) JPEG", name) from error
    except _DECODER_ERRORS as error:
        why = str(error) if isinstance(error, box.Damaged) else "it is cut or damaged: not every pixel can be decoded"
        raise DamagedPhoto(why, _ORIGINAL, name) from error
    return _to_rgb8(_reduced(pixels, detail_px))


class _TooMuch(Exception):
    """Decoding would need more memory than allowed."""


def _jpeg(data: bytes, header: Header, detail_px: int) -> NDArray[Any]:
    kept = 2 * header.samples * header.width * header.height
    if box.check_scans(data) > 1 and kept > _MOST_KEPT:
        raise _TooMuch(f"is a progressive JPEG that needs {kept / 1e9:.1f} GB to decode")
    side = "min_width" if header.width >= header.height else "min_height"
    wanted = {"colorspace": "RGB", side: _least_side(max(header.width, header.height), detail_px)}
    try:
        return np.asarray(simplejpeg.decode_jpeg(data, strict=True, **wanted))
    except ValueError as error:
        if _HARMLESS not in str(error):
            raise
        return np.asarray(simplejpeg.decode_jpeg(data, strict=False, **wanted))


def _least_side(long_side: int, detail_px: int) -> int:
    """Long side to ask for: an eighth, a quarter or half if that is large enough; other reductions decode slower."""
    sides = (-(-long_side // factor) for factor in (8, 4, 2))
    return next((side for side in sides if side >= detail_px), long_side)


def _by_opencv(data: bytes, header: Header, detail_px: int) -> NDArray[Any]:
    with silent_opencv():
        pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if pixels is None or pixels.shape[:2] != (header.height, header.width):
        raise box.Damaged("it is cut or damaged: not every pixel can be decoded")
    return _swapped(pixels)


@contextmanager
def silent_opencv() -> Iterator[None]:
    """Keep OpenCV from printing about broken files; its level of logging is one for the process, hence the lock."""
    with _one_at_a_time:
        before = cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
        try:
            yield
        finally:
            cv2.utils.logging.setLogLevel(before)


def _png(data: bytes, header: Header, detail_px: int) -> NDArray[Any]:
    """Decode by Pillow: the library below OpenCV writes its complaints to standard error."""
    image: Image.Image = PngImagePlugin.PngImageFile(io.BytesIO(data))
    if image.mode == "P":
        image = image.convert("RGBA" if "transparency" in image.info else "RGB")
    elif image.mode == "1":
        image = image.convert("L")
    return np.asarray(image)


def _tiff(data: bytes, header: Header, detail_px: int) -> NDArray[Any]:
    return _by_opencv(box.tiff_unturned(data), header, detail_px)


def _swapped(pixels: NDArray[Any]) -> NDArray[Any]:
    if pixels.ndim == 3 and pixels.shape[2] >= 3:
        code = cv2.COLOR_BGR2RGB if pixels.shape[2] == 3 else cv2.COLOR_BGRA2RGBA
        cv2.cvtColor(pixels, code, dst=pixels)
    return pixels


def _webp(data: bytes, header: Header, detail_px: int) -> NDArray[Any]:
    return _not_padded(data, _by_opencv(data, header, detail_px))


def _heic(data: bytes, header: Header, detail_px: int) -> NDArray[Any]:
    import pillow_heif

    return _not_padded(data, np.asarray(pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=True)))


def _not_padded(data: bytes, pixels: NDArray[Any]) -> NDArray[Any]:
    """Refuse a WebP or HEIC that ends in zeros, which their decoders take for picture; an even picture may end so."""
    if box.ends_in_zeros(data) and pixels[::8, ::8].std() > 1:
        raise box.Damaged("it is cut: its end is filled with zeros")
    return pixels


def _reduced(pixels: NDArray[Any], detail_px: int) -> NDArray[Any]:
    """Shrink to the wanted long side; by less than two a bilinear filter still sees every pixel, and is 7 times faster."""
    height, width = pixels.shape[:2]
    scale = detail_px / max(height, width)
    if scale >= 1:
        return pixels
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    way = cv2.INTER_LINEAR if scale > 0.5 else cv2.INTER_AREA
    return np.asarray(cv2.resize(pixels, size, interpolation=way))


def _to_rgb8(pixels: NDArray[Any]) -> NDArray[np.uint8]:
    if pixels.dtype == np.uint16:
        pixels = cv2.convertScaleAbs(pixels, alpha=1 / 257)
    if pixels.ndim == 2:
        pixels = pixels[:, :, None]
    channels = pixels.shape[2]
    colour = pixels[:, :, : 3 if channels >= 3 else 1]
    if channels in (2, 4):
        colour = _over_grey(colour, pixels[:, :, -1:])
    return np.ascontiguousarray(np.broadcast_to(colour, (*pixels.shape[:2], 3)), np.uint8)


def _over_grey(colour: NDArray[np.uint8], alpha: NDArray[np.uint8]) -> NDArray[np.uint8]:
    share = alpha.astype(np.float32) / 255
    return np.asarray(np.rint(colour * share + _MID_GREY * (1 - share)), np.uint8)


_DECODERS = {"JPEG": _jpeg, "PNG": _png, "WEBP": _webp, "TIFF": _tiff, "HEIC": _heic}
