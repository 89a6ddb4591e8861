"""Overwrites the position in an EXIF block, byte for byte."""

from __future__ import annotations

import struct

from prepcheck.photo.containers import Damaged

_CAMERA, _POSITION = 0x8769, 0x8825
_TEXTS = (0x010E, 0x927C, 0x9286, 0x02BC, 0x83BB, 0x8649, 0x9C9B, 0x9C9C, 0x9C9E, 0x9C9F)
"""Description, maker's notes and person's comment (EXIF 2.3, JEITA CP-3451C): free forms. The others hold XMP, IPTC and
picture editors' blocks, and title, comment, keywords and subject as one system writes them (from memory)."""
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
"""Bytes of a value by type (TIFF 6.0, section 2; 13 from its supplement)."""


def blanked(block: bytes) -> bytes:
    """Return an EXIF block in which what can hold a position is overwritten with zeros; its size stays.

    That is the position part, and the free texts and the parts of other programs, such as the maker's own notes,
    which can hold a position in a form that nobody describes.

    Parameters
    ----------
    block : bytes
        A TIFF structure.

    Raises
    ------
    Damaged, struct.error
        It is not built as expected.
    """
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
