"""Overwrites in a HEIC file all that is no picture, so that no position is left; nothing moves.

A HEIC file (ISO/IEC 23008-12 on the boxes of ISO/IEC 14496-12) lists its items and where their bytes lie. Bytes of picture
items stay, EXIF is blanked as in a JPEG, everything else in the media data becomes zeros. A box that is not known to be
without text makes the whole file one that is not understood. The layout of the boxes is from memory of these standards.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from prepcheck.archive.exif_blank import blanked
from prepcheck.photo.containers import Damaged

_PICTURES = frozenset((b"hvc1", b"hev1", b"grid", b"iden", b"iovl"))
_IN_META = frozenset((b"hdlr", b"dinf", b"pitm", b"iinf", b"iref", b"iprp", b"iloc", b"idat", b"grpl"))
_PROPERTIES = frozenset(
    (
        b"hvcC",
        b"ispe",
        b"colr",
        b"irot",
        b"imir",
        b"pixi",
        b"pasp",
        b"clap",
        b"auxC",
        b"clli",
        b"mdcv",
        b"amve",
        b"cclv",
    )
)
_MOST_ITEMS = 10_000


@dataclass(frozen=True)
class _Box:
    kind: bytes
    start: int
    end: int


@dataclass(frozen=True)
class _Extent:
    item: int
    start: int
    end: int


def heic_without_position(data: bytes) -> bytes:
    """Return a HEIC file without what can hold a position.

    Raises
    ------
    Damaged, struct.error, ValueError
        It is not built as expected.
    """
    top = list(_boxes(data, 0, len(data)))
    if not {box.kind for box in top} <= {b"ftyp", b"meta", b"mdat", b"free"}:
        raise Damaged("it holds more than a picture")
    (meta,) = (box for box in top if box.kind == b"meta")
    inside = {box.kind: box for box in _boxes(data, meta.start + 4, meta.end)}
    if not inside.keys() <= _IN_META:
        raise Damaged("it holds more than a picture")
    _check_properties(data, inside[b"iprp"])
    kinds = dict(_items(data, inside[b"iinf"]))
    kept = bytearray(data)
    for box in top:
        if box.kind in (b"mdat", b"free"):
            kept[box.start : box.end] = bytes(box.end - box.start)
    for extent in _apart(_extents(data, inside[b"iloc"], kinds)):
        _keep(kept, data, extent, kinds[extent.item])
    return bytes(kept)


def _keep(kept: bytearray, data: bytes, extent: _Extent, kind: bytes) -> None:
    body = data[extent.start : extent.end]
    if kind in _PICTURES:
        kept[extent.start : extent.end] = body
    elif kind == b"Exif":
        start = 4 + int.from_bytes(body[:4], "big")
        kept[extent.start : extent.end] = body[:start] + blanked(body[start:])
    else:
        kept[extent.start : extent.end] = bytes(len(body))


def _boxes(data: bytes, at: int, end: int) -> Iterator[_Box]:
    while at < end:
        size, kind = struct.unpack_from(">I4s", data, at)
        start = at + 8
        if size == 1:
            (size,) = struct.unpack_from(">Q", data, start)
            start += 8
        stop = end if size == 0 else at + size
        if not start <= stop <= end:
            raise Damaged("one of its boxes is cut")
        yield _Box(kind, start, stop)
        at = stop


def _check_properties(data: bytes, iprp: _Box) -> None:
    for box in _boxes(data, iprp.start, iprp.end):
        inside = {one.kind for one in _boxes(data, box.start, box.end)} if box.kind == b"ipco" else set()
        if box.kind not in (b"ipco", b"ipma") or not inside <= _PROPERTIES:
            raise Damaged("its picture has a property that is not known")


def _items(data: bytes, iinf: _Box) -> Iterator[tuple[int, bytes]]:
    """Yield number and kind of each item."""
    for box in _boxes(data, iinf.start + (6 if data[iinf.start] == 0 else 8), iinf.end):
        number = {2: ">HH4s", 3: ">IH4s"}.get(data[box.start])
        if box.kind != b"infe" or number is None:
            raise Damaged("it lists its items in another form")
        item, protected, kind = struct.unpack_from(number, data, box.start + 4)
        if protected:
            raise Damaged("it is protected")
        yield item, kind


class _Numbers:
    """Reads numbers of stated sizes, one after the other."""

    def __init__(self, data: bytes, box: _Box) -> None:
        self.data, self.at, self.end = data, box.start, box.end

    def take(self, size: int) -> int:
        if self.at + size > self.end:
            raise Damaged("one of its boxes is cut")
        self.at += size
        return int.from_bytes(self.data[self.at - size : self.at], "big")


def _extents(data: bytes, iloc: _Box, kinds: Mapping[int, bytes]) -> Iterator[_Extent]:
    """Yield where the bytes of each item lie in the file; those of pictures may lie in the list itself, and stay."""
    read = _Numbers(data, iloc)
    version = read.take(4) >> 24
    if version > 2:
        raise Damaged("it tells in another form where its items lie")
    sizes = read.take(2)
    offset, length, base, index = (sizes >> shift & 15 for shift in (12, 8, 4, 0))
    count = read.take(4 if version == 2 else 2)
    if count > _MOST_ITEMS:
        raise Damaged("it has too many items")
    for _ in range(count):
        item, way = read.take(4 if version == 2 else 2), read.take(2) & 15 if version else 0
        if read.take(2) or way > 1 or (way == 1 and kinds[item] not in _PICTURES):
            raise Damaged("its items lie elsewhere")
        first = read.take(base)
        for _ in range(read.take(2)):
            read.take(index if version else 0)
            start = first + read.take(offset)
            end = start + read.take(length)
            if way == 0:
                yield _checked(_Extent(item, start, end), len(data))


def _checked(extent: _Extent, size: int) -> _Extent:
    if not 0 <= extent.start < extent.end <= size:
        raise Damaged("an item lies outside the file")
    return extent


def _apart(extents: Iterator[_Extent]) -> list[_Extent]:
    """Return the extents in the order of the file; two that overlap would undo what is done to one of them."""
    found = sorted(extents, key=lambda extent: extent.start)
    if any(one.end > other.start for one, other in pairwise(found)):
        raise Damaged("two of its items overlap")
    return found
