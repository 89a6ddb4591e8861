"""Takes the position out of a photo without touching its picture.

Of the EXIF block, the position part, the maker's own notes and the person's comment are overwritten with zeros: the last two
can hold a position in a form that nobody describes. Other parts that can hold one (XMP, IPTC, texts, further pictures,
whatever follows the end) are left out. What is not understood to the last byte is not copied at all.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

from prepcheck.archive.exif_blank import blanked
from prepcheck.archive.heic_blank import heic_without_position
from prepcheck.photo.containers import Damaged, jpeg_parts, png_parts, webp_parts

_EXIF = b"Exif\0\0"

_SOI, _EOI, _SCAN, _COMMENT = b"\xff\xd8", 0xD9, 0xDA, 0xFE
_APPS = range(0xE0, 0xF0)
_APP1 = 0xE1
_PICTURE_APPS = ((0xE0, b"JFIF\0"), (0xE2, b"ICC_PROFILE\0"), (0xEE, b"Adobe"))
"""Application segments that say how the picture is to be shown and have no room for a position."""
_PNG_KEPT = (b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT", b"pHYs", b"cICP")
_WEBP_KEPT = (b"VP8 ", b"VP8L", b"ALPH", b"ICCP")
_WEBP_XMP = 0x04
"""Bit of the extended header that says there is XMP."""


def without_position(data: bytes, format: str) -> bytes | None:
    """Return a copy of a photo that holds no position; the coded picture is the same, byte for byte.

    Parameters
    ----------
    data : bytes
        The whole file.
    format : str
        As in the photo's record.

    Returns
    -------
    bytes or None
        None where that cannot be done without coding the picture anew: another format (TIFF, clips), or a file that is not
        built as expected.
    """
    copier = _COPIERS.get(format)
    if copier is None:
        return None
    try:
        return copier(data)
    except (Damaged, struct.error, IndexError, KeyError, ValueError):
        return None


def _jpeg(data: bytes) -> bytes:
    return b"".join([_SOI, *_jpeg_parts(data)])


def _jpeg_parts(data: bytes) -> Iterator[bytes]:
    exif_seen = False
    for part in jpeg_parts(data):
        code, body = part.kind[0], data[part.start : part.start + part.size]
        if code == _SCAN:
            yield data[part.start - 4 : _end(data, part.start + part.size)]
            return
        if code == _APP1 and body.startswith(_EXIF) and not exif_seen:
            exif_seen = True
            body = _EXIF + blanked(body[len(_EXIF) :])
        elif not _stays(code, body):
            continue
        yield bytes((0xFF, code)) + (len(body) + 2).to_bytes(2, "big") + body
    raise Damaged("it holds no picture")


def _stays(code: int, body: bytes) -> bool:
    if code in _APPS:
        return any(code == app and body.startswith(start) for app, start in _PICTURE_APPS)
    return code != _COMMENT


def _end(data: bytes, at: int) -> int:
    """Return where the end marker of the picture whose coded data begins at `at` ends."""
    while True:
        at = data.index(b"\xff", at)
        code = data[at + 1]
        if code == _EOI:
            return at + 2
        if code == 0xFF:
            at += 1
        elif code == 0x00 or 0xD0 <= code <= 0xD7:
            at += 2
        elif code in _APPS or code == _COMMENT:
            raise Damaged("it holds other things between its scans")
        else:  # tables and headers between the scans of a progressive picture
            at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")


def _png(data: bytes) -> bytes:
    kept = [data[:8]]
    for part in png_parts(data):
        body = data[part.start : part.start + part.size]
        if part.kind == b"eXIf":
            body = blanked(body)
        elif part.kind not in _PNG_KEPT:
            continue
        kept.append(struct.pack(">I4s", part.size, part.kind) + body + struct.pack(">I", zlib.crc32(part.kind + body)))
    return b"".join(kept)


def _webp(data: bytes) -> bytes:
    kept = []
    for part in webp_parts(data):
        body = data[part.start : part.start + part.size]
        if part.kind == b"EXIF":
            start = _EXIF if body.startswith(_EXIF) else b""
            body = start + blanked(body[len(start) :])
        elif part.kind == b"VP8X":
            body = bytes([body[0] & ~_WEBP_XMP]) + body[1:]
        elif part.kind not in _WEBP_KEPT:
            continue
        kept.append(struct.pack("<4sI", part.kind, part.size) + body + bytes(part.size % 2))
    inside = b"WEBP" + b"".join(kept)
    return b"RIFF" + struct.pack("<I", len(inside)) + inside


_COPIERS = {"JPEG": _jpeg, "PNG": _png, "WEBP": _webp, "HEIC": heic_without_position}
