"""What an mp4 or mov clip says of itself before any frame is decoded, and the limits on it.

Such a file is a tree of boxes (ISO/IEC 14496-12; Apple's QuickTime File Format is its ancestor). Only the few boxes that
tell kind, size, length and time are read; each has to lie inside its parent and inside the file.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from prepcheck.errors import DamagedPhoto, NotAPhoto, TooLarge
from prepcheck.photo.containers import Damaged
from prepcheck.settings import ClipSettings

FILM_AGAIN = "Film the spot for some 5 seconds while the torch moves, 1080p at 30 frames a second"
_ORIGINAL = "Copy the original file from the phone again"
_ACCEPTED = "Give the mp4 or mov clip as the phone recorded it"
_STILLS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"avif", b"avis")
_FIRST_BOXES = (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot")
_OTHERS = {b"\x1a\x45\xdf\xa3": "a Matroska or WebM video", b"RIFF": "an AVI video", b"\0\0\x01\xba": "an MPEG video"}
_ENTRY = 78
"""Bytes of a picture's sample entry before the boxes in it."""
_MOST_BOXES = 10_000
_EPOCH = datetime(1904, 1, 1, tzinfo=UTC)
_NO_CAMERA_BEFORE = datetime(2000, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class ClipHeader:
    """What a clip says of itself.

    Parameters
    ----------
    format : str
        ``MP4`` or ``MOV``.
    frames : int
        Number of its frames; 0 when the file does not say so before they come (a clip in fragments).
    shown : int
        About how many of them are shown; fewer where the clip was trimmed on the phone.
    taken : str or None
        When it was recorded, ISO 8601 in UTC.
    high_range : bool
        Whether its light is coded for HDR (PQ or HLG); the decoder converts that, slowly.
    """

    format: str
    frames: int
    shown: int
    taken: str | None
    high_range: bool = False


@dataclass(frozen=True)
class _Box:
    kind: bytes
    start: int
    end: int


def container(head: bytes) -> str | None:
    """Name the kind of video by the first 16 bytes of a file: ``MP4``, ``MOV``, one not read in words, or None."""
    if head[4:8] in _FIRST_BOXES and not (head[4:8] == b"ftyp" and head[8:12] in _STILLS):
        return "MOV" if head[4:8] != b"ftyp" or head[8:12] == b"qt  " else "MP4"
    if head[:4] == b"RIFF":
        return _OTHERS[b"RIFF"] if head[8:12] == b"AVI " else None
    return _OTHERS.get(head[:4])


def read_clip_header(data: bytes, name: str, limits: ClipSettings) -> ClipHeader:
    """Read what a clip says of itself and hold it against the limits.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages.
    limits : ClipSettings
        Longest time, most frames and pixels.

    Raises
    ------
    NotAPhoto
        Empty, no mp4 or mov, or without pictures.
    DamagedPhoto
        It is cut or contradicts itself.
    TooLarge
        Too long, too many frames, or frames too large.
    """
    if not data:
        raise NotAPhoto("is empty", _ORIGINAL, name)
    kind = container(data[:16])
    if kind not in ("MP4", "MOV"):
        raise NotAPhoto(f"is {kind or 'no video clip'}, not an mp4 or mov", _ACCEPTED, name)
    try:
        movie = _movie(data)
        tracks = [track for track in _inside(data, movie, b"trak") if _is_video(data, track)]
        if not tracks:
            raise NotAPhoto("holds sound or other data but no pictures", FILM_AGAIN, name)
        taken = _check(data, movie, tracks, name, limits)
        frames = _frames(data, tracks[0])
        shown = int(frames * _share_shown(data, movie, tracks[0]))
        return ClipHeader(kind, frames, shown, taken, _high_range(data, tracks[0]))
    except (Damaged, struct.error) as error:
        why = str(error) if isinstance(error, Damaged) else "one of the boxes in it is too short"
        raise DamagedPhoto(f"is damaged: {why}", _ORIGINAL, name) from error


def _check(data: bytes, movie: _Box, tracks: list[_Box], name: str, limits: ClipSettings) -> str | None:
    made, seconds = _time(data, _need(data, movie, b"mvhd"))
    for track in tracks:
        _, own = _time(data, _need(data, track, b"mdia", b"mdhd"))
        check_seconds(max(own, seconds), name, limits)
        check_frames(_frames(data, track), name, limits)
        for width, height in _sizes(data, track):
            check_pixels(width, height, name, limits)
    return made


def check_seconds(seconds: float, name: str, limits: ClipSettings) -> None:
    """Raise `TooLarge` for a clip that lasts longer than allowed."""
    if seconds > limits.max_seconds:
        long = f"{seconds:.0f} seconds" if seconds < 120 else f"{seconds / 60:,.0f} minutes"
        raise TooLarge(f"lasts {long}, more than {limits.max_seconds:.0f} seconds", FILM_AGAIN, name)


def check_frames(frames: int, name: str, limits: ClipSettings) -> None:
    """Raise `TooLarge` for more frames than allowed."""
    if frames > limits.max_frames:
        raise TooLarge(f"holds {frames:,} frames, more than {limits.max_frames:,}", FILM_AGAIN, name)


def check_pixels(width: int, height: int, name: str, limits: ClipSettings) -> None:
    """Raise `TooLarge` for frames of more pixels than allowed."""
    if width * height > limits.max_pixels:
        what = f"says its frames have {width} x {height} pixels, more than {limits.max_pixels / 1e6:.0f} million"
        raise TooLarge(what, FILM_AGAIN, name)


def _boxes(data: bytes, start: int, end: int) -> Iterator[_Box]:
    """Yield the boxes between two places of the file; what is too short for a box at the end is left out."""
    for _ in range(_MOST_BOXES):
        if start + 8 > end:
            return
        size, kind = struct.unpack_from(">I4s", data, start)
        body = start + 8
        if size == 1:
            size, body = struct.unpack_from(">Q", data, body)[0], start + 16
        stop = end if size == 0 else start + size
        if stop < body or stop > end:
            raise Damaged("it is cut, one of the boxes in it runs past the end")
        yield _Box(kind, body, stop)
        start = stop
    raise Damaged("it holds boxes without end")


def _movie(data: bytes) -> _Box:
    """Return the box that lists the tracks; every box at the top has to be whole."""
    movie = next((box for box in list(_boxes(data, 0, len(data))) if box.kind == b"moov"), None)
    if movie is None:
        raise Damaged("it is cut, the list of its frames is missing")
    return movie


def _inside(data: bytes, box: _Box, kind: bytes) -> Iterator[_Box]:
    return (found for found in _boxes(data, box.start, box.end) if found.kind == kind)


def _find(data: bytes, box: _Box, *path: bytes) -> _Box | None:
    for kind in path:
        found = next(_inside(data, box, kind), None)
        if found is None:
            return None
        box = found
    return box


def _need(data: bytes, box: _Box, *path: bytes) -> _Box:
    found = _find(data, box, *path)
    if found is None:
        raise Damaged(f"its part {path[-1].decode('latin-1')!r} is missing")
    return found


def _is_video(data: bytes, track: _Box) -> bool:
    handler = _need(data, track, b"mdia", b"hdlr")
    return data[handler.start + 8 : handler.start + 12] == b"vide"


def _time(data: bytes, box: _Box) -> tuple[str | None, float]:
    """When made, and how many seconds it lasts, of an ``mvhd`` or ``mdhd`` box."""
    made, scale, length = _clock(data, box)
    unknown = length in (2**32 - 1, 2**64 - 1)
    return _when(made), 0.0 if unknown or scale == 0 else length / scale


def _clock(data: bytes, box: _Box) -> tuple[int, int, int]:
    """When made, units a second, and length in these units."""
    form = ">QQIQ" if data[box.start] == 1 else ">IIII"
    made, _, scale, length = struct.unpack_from(form, data, box.start + 4)
    return made, scale, length


def _share_shown(data: bytes, movie: _Box, track: _Box) -> float:
    """Share of a track that its list of edits shows; 1 without one."""
    edits = _find(data, track, b"edts", b"elst")
    _, scale, _ = _clock(data, _need(data, movie, b"mvhd"))
    _, whole = _time(data, _need(data, track, b"mdia", b"mdhd"))
    if edits is None or not scale or not whole:
        return 1.0
    form = ">QqI" if data[edits.start] == 1 else ">IiI"
    body = data[edits.start + 8 : edits.end]
    body = body[: len(body) // struct.calcsize(form) * struct.calcsize(form)]
    shown = sum(length for length, since, _ in struct.iter_unpack(form, body) if since >= 0)
    return min(1.0, shown / scale / whole) if shown else 1.0


def _when(made: int) -> str | None:
    """Seconds since 1904 as ISO 8601; None for what no phone recorded."""
    if made >= 2**32:
        return None
    when = _EPOCH + timedelta(seconds=made)
    return when.isoformat() if when >= _NO_CAMERA_BEFORE else None


def _frames(data: bytes, track: _Box) -> int:
    sizes = _find(data, track, b"mdia", b"minf", b"stbl", b"stsz")
    return 0 if sizes is None else int(struct.unpack_from(">I", data, sizes.start + 8)[0])


def _sizes(data: bytes, track: _Box) -> Iterator[tuple[int, int]]:
    """Width and height that the track names, and those that its pictures are coded with."""
    shown = _need(data, track, b"tkhd")
    width, height = struct.unpack_from(">II", data, shown.end - 8)
    yield width >> 16, height >> 16
    for entry in _entries(data, track):
        yield struct.unpack_from(">HH", data, entry.start + 24)


def _entries(data: bytes, track: _Box) -> Iterator[_Box]:
    """Yield how the pictures of a track are coded, mostly one way."""
    table = _need(data, track, b"mdia", b"minf", b"stbl", b"stsd")
    return _boxes(data, table.start + 8, table.end)


def _high_range(data: bytes, track: _Box) -> bool:
    """Say whether a track names PQ or HLG (transfer 16 or 18 of ITU-T H.273) as its coding of light."""
    for entry in _entries(data, track):
        for colour in _inside(data, _Box(entry.kind, entry.start + _ENTRY, entry.end), b"colr"):
            if data[colour.start : colour.start + 3] == b"ncl":
                return struct.unpack_from(">H", data, colour.start + 6)[0] in (16, 18)
    return False
