"""Where the parts of JPEG, PNG and WebP files lie, and whether they are whole. No pixel is decoded here."""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

_MARKER = re.compile(rb"\xff+[\x01-\xcf\xd8-\xfe]")
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_SCAN, _END = 0xDA, 0xD9
_NEVER = 99
_ZEROS = 256
_ORIENTATION = 0x0112


class Damaged(ValueError):
    """A container that is cut or contradicts itself; says where."""


@dataclass(frozen=True)
class Part:
    """A segment or chunk: its `kind`, and where its body lies in the file."""

    kind: bytes
    start: int
    size: int


def jpeg_parts(data: bytes) -> Iterator[Part]:
    """Yield the segments of a JPEG file up to its end marker; the kind is the marker's second byte.

    Raises
    ------
    Damaged
        A segment runs past the end of the file, or the end marker is missing.
    """
    at = 2
    while found := _MARKER.search(data, at):
        code, body = data[found.end() - 1], found.end()
        if code == _END:
            return
        if code == 0x01 or code == 0xD8:
            at = body
            continue
        if body + 2 > len(data):
            break
        size = int.from_bytes(data[body : body + 2], "big")
        if size < 2 or body + size > len(data):
            break
        yield Part(bytes([code]), body + 2, size - 2)
        at = body + size
    raise Damaged("it is cut: the end marker is missing")


def check_scans(data: bytes) -> int:
    """Check that the scans of a JPEG file hold every component at its full precision, and count them.

    A progressive file that is cut between two scans decodes without complaint, only coarser or greyer.

    Returns
    -------
    int
        Number of scans. A decoder keeps the whole picture in memory when there is more than one.

    Raises
    ------
    Damaged
        A component, a frequency or a bit of precision is stored in no scan.
    """
    missing: dict[int, list[int]] = {}
    scans = 0
    for part in jpeg_parts(data):
        body = data[part.start : part.start + part.size]
        if part.kind[0] in _FRAMES:
            missing = {body[6 + 3 * i]: [_NEVER] * 64 for i in range(body[5])}
        elif part.kind[0] == _SCAN:
            _tick_off(missing, body)
            scans += 1
            if scans == 1 and _complete(missing):  # the usual file: no need to look for more scans
                return scans
    if not _complete(missing):
        raise Damaged("it is cut: not every scan of the picture is there")
    return scans


def _complete(missing: dict[int, list[int]]) -> bool:
    return bool(missing) and not any(any(bits) for bits in missing.values())


def _tick_off(missing: dict[int, list[int]], scan: bytes) -> None:
    count = scan[0]
    first, last, bits = scan[1 + 2 * count], scan[2 + 2 * count], scan[3 + 2 * count] & 15
    for i in range(count):
        left = missing.get(scan[1 + 2 * i])
        if left is None or last > 63:
            raise Damaged("a scan names a part that the picture does not have")
        left[first : last + 1] = [min(bits, now) for now in left[first : last + 1]]


def png_parts(data: bytes) -> Iterator[Part]:
    """Yield the chunks of a PNG file; each one's check sum has been verified.

    Raises
    ------
    Damaged
        A chunk is cut, its check sum is wrong, or the last chunk is missing.
    """
    at = 8
    view = memoryview(data)
    while at + 12 <= len(data):
        size, kind = struct.unpack_from(">I4s", data, at)
        if at + 12 + size > len(data):
            break
        if zlib.crc32(view[at + 4 : at + 8 + size]) != int.from_bytes(data[at + 8 + size : at + 12 + size], "big"):
            raise Damaged(f"the check sum of its part {kind.decode('latin-1')!r} is wrong")
        yield Part(kind, at + 8, size)
        if kind == b"IEND":
            return
        at += 12 + size
    raise Damaged("it is cut: the last part is missing")


def webp_parts(data: bytes) -> Iterator[Part]:
    """Yield the chunks of a WebP file.

    Raises
    ------
    Damaged
        The file is shorter than it says, or a chunk runs past the end.
    """
    end = 8 + int.from_bytes(data[4:8], "little")
    if end > len(data):
        raise Damaged("it is cut: shorter than its header says")
    at = 12
    while at + 8 <= end:
        kind, size = struct.unpack_from("<4sI", data, at)
        if at + 8 + size > end:
            raise Damaged("one of its parts is cut")
        yield Part(kind, at + 8, size)
        at += 8 + size + size % 2


def ends_in_zeros(data: bytes) -> bool:
    """Say whether the last 256 bytes of a file are zero, as where copying stopped early on a full or slow disk."""
    return len(data) > _ZEROS and not any(data[-_ZEROS:])


def tiff_unturned(data: bytes) -> bytes:
    """Return a TIFF file whose first picture names no orientation.

    OpenCV applies that tag of its own accord, to 16 bit twice.
    """
    order = "<" if data[:2] == b"II" else ">"
    (at,) = struct.unpack_from(f"{order}I", data, 4)
    (count,) = struct.unpack_from(f"{order}H", data, at)
    for entry in range(at + 2, at + 2 + 12 * count, 12):
        tag, _, _, value, _ = struct.unpack_from(f"{order}HHIHH", data, entry)
        if tag == _ORIENTATION and value != 1:
            changed = bytearray(data)
            struct.pack_into(f"{order}H", changed, entry + 8, 1)
            return bytes(changed)
    return data
