"""Takes the position out of a photo without touching its picture.

Of the EXIF block, the position part, the maker's own notes and the person's comment are overwritten with zeros: the last two
can hold a position in a form that nobody describes. Other parts that can hold one (XMP, IPTC, texts, further pictures,
whatever follows the end) are left out. What is not understood to the last byte is not copied at all.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

from prepcheck.photo.containers import Damaged, jpeg_parts, png_parts, webp_parts

_EXIF = b"Exif\0\0"
_CAMERA, _POSITION = 0x8769, 0x8825
_TEXTS = (0x010E, 0x927C, 0x9286)
"""Description, maker's notes and person's comment (EXIF 2.3, JEITA CP-3451C): free forms."""
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
"""Bytes of a value by type (TIFF 6.0, section 2; 13 from its supplement)."""

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
        None where that cannot be done without coding the picture anew: a format other than JPEG, PNG and WebP, or a file
        that is not built as expected.
    """
    copier = _COPIERS.get(format)
    if copier is None:
        return None
    try:
        return copier(data)
    except (Damaged, struct.error, IndexError, ValueError):
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
            body = _EXIF + _blanked(body[len(_EXIF) :])
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
            body = _blanked(body)
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
            body = start + _blanked(body[len(start) :])
        elif part.kind == b"VP8X":
            body = bytes([body[0] & ~_WEBP_XMP]) + body[1:]
        elif part.kind not in _WEBP_KEPT:
            continue
        kept.append(struct.pack("<4sI", part.kind, part.size) + body + bytes(part.size % 2))
    inside = b"WEBP" + b"".join(kept)
    return b"RIFF" + struct.pack("<I", len(inside)) + inside


def _blanked(block: bytes) -> bytes:
    """Overwrite what can hold a position in an EXIF block; its size stays."""
    order = {b"II": "<", b"MM": ">"}.get(block[:2])
    if order is None:
        raise Damaged("its EXIF block is not built as TIFF")
    changed = bytearray(block)
    for at in _directories(block, order):
        for entry in reversed(_entries(block, order, at)):
            tag, _, _, value = struct.unpack_from(f"{order}HHII", block, entry)
            if tag in _TEXTS:
                _blank_value(changed, order, entry)
            elif tag == _POSITION:
                _blank_directory(changed, order, value)
                _drop_entry(changed, order, at, entry)
    return bytes(changed)


def _directories(block: bytes, order: str) -> list[int]:
    """Return where the directories of the picture, of its thumbnail and of the camera lie."""
    found: list[int] = []
    (at,) = struct.unpack_from(f"{order}I", block, 4)
    while at:
        if at in found or len(found) > 4:
            raise Damaged("its EXIF directories run in a circle")
        found.append(at)
        (at,) = struct.unpack_from(f"{order}I", block, _entries(block, order, at).stop)
    for entry in (entry for at in list(found) for entry in _entries(block, order, at)):
        tag, _, _, value = struct.unpack_from(f"{order}HHII", block, entry)
        if tag == _CAMERA and value not in found:
            found.append(value)
    return found


def _entries(block: bytes | bytearray, order: str, at: int) -> range:
    """Return where the entries of a directory begin."""
    (count,) = struct.unpack_from(f"{order}H", block, at)
    if at + 2 + 12 * count > len(block):
        raise Damaged("an EXIF directory is cut")
    return range(at + 2, at + 2 + 12 * count, 12)


def _blank_directory(changed: bytearray, order: str, at: int) -> None:
    for entry in _entries(changed, order, at):
        _blank_value(changed, order, entry)
        changed[entry : entry + 12] = bytes(12)
    changed[at : at + 2] = bytes(2)


def _blank_value(changed: bytearray, order: str, entry: int) -> None:
    _, kind, count, value = struct.unpack_from(f"{order}HHII", changed, entry)
    size = _SIZES.get(kind, 1) * count
    at = entry + 8 if size <= 4 else value
    if at + size > len(changed):
        raise Damaged("a value lies outside its EXIF block")
    changed[at : at + size] = bytes(size)


def _drop_entry(changed: bytearray, order: str, at: int, entry: int) -> None:
    """Take an entry out of its directory; those after it, and the pointer to the next directory, move up."""
    (count,) = struct.unpack_from(f"{order}H", changed, at)
    end = min(at + 2 + 12 * count + 4, len(changed))
    changed[entry:end] = changed[entry + 12 : end] + bytes(12)
    struct.pack_into(f"{order}H", changed, at, count - 1)


_COPIERS = {"JPEG": _jpeg, "PNG": _png, "WEBP": _webp}
