"""A short clip of a torch sweep to a few sharp photos under different light.

The clip is decoded once, frame after frame. A few dozen frames spread over it are looked at; of each stretch of the clip the
least blurred one is kept, and of these the ones are chosen whose light differs most. Stretches are counted in frames, so a
frame rate that varies does no harm.

The first photo, in whose frame the answer lies, is the fit one with the least lost to shadow and glare, and of those
alike in this the one nearest the middle of the clip, off which the hand has drifted least. Every photo carries the
SHA-256 of the clip, of which the log keeps one copy, and is told apart by its name, which counts frames from 1.
"""

from __future__ import annotations

import hashlib
import io
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import groupby
from pathlib import Path, PurePath
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.errors import DamagedPhoto, MissingDecoder, TooLarge
from prepcheck.photo.clip_header import (
    FILM_AGAIN,
    ClipHeader,
    check_frames,
    check_pixels,
    check_seconds,
    container,
    read_clip_header,
)
from prepcheck.photo.decode import silent_opencv
from prepcheck.photo.files import read_bytes
from prepcheck.photo.fitness import photo_flags
from prepcheck.photo.photo import Photo, at_long_side
from prepcheck.photo.picture_hash import picture_hash
from prepcheck.photo.sharpness import blur_px
from prepcheck.settings import Settings

Raster = NDArray[np.uint8]
Plain = NDArray[np.float32]

_SUFFIXES = (".mp4", ".mov", ".m4v", ".3gp")
_MOST_CHOSEN = 6
_STRETCHES = 12
"""Twice as many as are chosen: some of them are blurred or dark."""
_LOOKED_AT = 3
"""Frames in each stretch: the hand is still in one of three. Of a clip in HDR only one: each takes 0.1 s to convert."""
_THREADS = 4
"""Each thread of the decoder holds frames of its own."""
_SMALL = 48
"""Long side at which light is compared: scratches are gone, the torch's pool of light is not."""
_HAND = 3
"""Pixels at that size, 6 % of the picture, by which a hand moves."""
_ALIKE = 0.05
"""Root mean square of the logarithm (base 2) of light below which a further frame tells nothing new: 3.5 %."""
_LEAST_DECODED = 0.9
"""Share of the frames that the file says it shows; where frames vary in length, that number is an estimate."""
_NOT_READ = "is coded in a way that is not read here, or damaged"
_DARK, _BURNT = 20, 250
_LOST_ALIKE = 0.02
"""Share of the picture, in shadow or glare, that matters less than where in the clip a frame lies."""


@dataclass(frozen=True, eq=False)
class _Frame:
    """A frame as decoded, upright, and its number from 1."""

    number: int
    bgr: Raster = field(repr=False)


@dataclass(frozen=True, eq=False)
class _Still:
    """A frame that was kept: its number, its size, and its raster as in `Photo`."""

    number: int
    width: int
    height: int
    rgb: Raster = field(repr=False)


def is_clip(path: Path) -> bool:
    """Say whether a file is to be read by `read_clip`: by its first bytes, or by its suffix when these are no video's.

    A file that cannot be opened or is no regular one counts by its suffix; reading it says what is wrong.
    """
    named = path.suffix.lower() in _SUFFIXES
    try:
        if not path.is_file():
            return named
        with path.open("rb") as file:
            return named or container(file.read(16)) is not None
    except (OSError, ValueError):
        return named


def read_clip(path: Path, settings: Settings) -> tuple[Photo, ...]:
    """Read a clip of a torch sweep, once.

    Parameters
    ----------
    path : Path
        A regular file: mp4 or mov as a phone records it.
    settings : Settings
        Limits, size of the rasters, and when a frame is fit to be judged.

    Returns
    -------
    tuple of Photo
        Two to six, the best exposed one first, the others in the order in which they add most light; upright, reduced,
        without scale. Clips without motion, and those in which no two frames are fit, are read all the same.

    Raises
    ------
    Unreadable, TooLarge, NotAPhoto, DamagedPhoto, MissingDecoder
        See `prepcheck.errors`.
    """
    return clip_from_bytes(clip_bytes(path, settings), path.name, settings)


def clip_bytes(path: Path, settings: Settings) -> bytes:
    """Read the file of a clip.

    Raises
    ------
    Unreadable, TooLarge
        The latter says what to film instead.
    """
    try:
        return read_bytes(path, settings.clip.max_bytes)
    except TooLarge as error:
        raise TooLarge(error.what, FILM_AGAIN, path.name) from error


def clip_from_bytes(data: bytes, name: str, settings: Settings) -> tuple[Photo, ...]:
    """Read a clip from the bytes of its file; as `read_clip`.

    Parameters
    ----------
    data : bytes
        The whole file as received.
    name : str
        File name; folders before it are dropped.
    settings : Settings
        As in `read_clip`.
    """
    name = PurePath(name).name
    header = read_clip_header(data, name, settings.clip)
    stills = _stills(data, name, header, settings)
    blank = Photo(
        name=name,
        sha256=hashlib.sha256(data).hexdigest(),
        byte_count=len(data),
        format=header.format,
        width=1,
        height=1,
        rgb=np.zeros((1, 1, 3), np.uint8),
        taken=header.taken,
    )
    return tuple(_photo(still, blank) for still in _chosen(stills, blank, settings))


def _photo(still: _Still, clip: Photo) -> Photo:
    return replace(
        clip,
        name=f"{clip.name}, frame {still.number}",
        width=still.width,
        height=still.height,
        rgb=still.rgb,
        picture_hash=picture_hash(still.rgb),
    )


def _stills(data: bytes, name: str, header: ClipHeader, settings: Settings) -> list[_Still]:
    """Decode the clip and return the least blurred of the frames looked at in each stretch."""
    with _opened(data, name) as video:
        check_pixels(*_size(video), name, settings.clip)
        count = header.frames or max(0, int(video.get(cv2.CAP_PROP_FRAME_COUNT))) or settings.clip.max_frames
        step = max(1, count // (_STRETCHES * (1 if header.high_range else _LOOKED_AT)))
        looked_at = _looked_at(video, name, step, header, settings)
        stretches = groupby(looked_at, lambda frame: (frame.number - 1) * _STRETCHES // count)
        kept = [_reduced(min(frames, key=lambda frame: _blur(frame, settings)), settings) for _, frames in stretches]
    if not kept:
        raise MissingDecoder(_NOT_READ, FILM_AGAIN, name)
    if len(kept) < 2:
        raise DamagedPhoto("holds a single frame that can be decoded; two are needed", FILM_AGAIN, name)
    return kept


@contextmanager
def _opened(data: bytes, name: str) -> Iterator[cv2.VideoCapture]:
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")  # else the decoder writes to standard error
    source: Any = io.BytesIO(data)  # has to outlive the capture, which reads from it but does not hold it
    try:
        with silent_opencv():
            video: cv2.VideoCapture = cv2.VideoCapture(source, cv2.CAP_FFMPEG, [cv2.CAP_PROP_N_THREADS, _THREADS])
    except cv2.error as error:
        raise MissingDecoder(_NOT_READ, FILM_AGAIN, name) from error
    try:
        if not video.isOpened():
            raise MissingDecoder(_NOT_READ, FILM_AGAIN, name)
        video.set(cv2.CAP_PROP_ORIENTATION_AUTO, 1)
        yield video
    except cv2.error as error:
        raise DamagedPhoto("is damaged: its frames cannot be decoded", FILM_AGAIN, name) from error
    finally:
        video.release()


def _size(video: cv2.VideoCapture) -> tuple[int, int]:
    return int(video.get(cv2.CAP_PROP_FRAME_WIDTH)), int(video.get(cv2.CAP_PROP_FRAME_HEIGHT))


def _looked_at(
    video: cv2.VideoCapture, name: str, step: int, header: ClipHeader, settings: Settings
) -> Iterator[_Frame]:
    """Decode every frame, and yield the middle one of every `step`; a clip that differs from its header is refused."""
    number = 0
    while video.grab():
        number += 1
        check_frames(number, name, settings.clip)
        check_seconds(video.get(cv2.CAP_PROP_POS_MSEC) / 1000, name, settings.clip)
        if (number - 1) % step == step // 2:
            good, bgr = video.retrieve()
            if good:
                yield _Frame(number, np.asarray(bgr, np.uint8))
    if 0 < number < _LEAST_DECODED * header.shown - 2:
        what = f"is damaged: {number:,} of its {header.shown:,} frames can be decoded"
        raise DamagedPhoto(what, FILM_AGAIN, name)


def _blur(frame: _Frame, settings: Settings) -> float:
    """Blur, in pixels at working size, in the middle of a frame."""
    height, width = frame.bgr.shape[:2]
    middle = frame.bgr[height // 4 : height - height // 4, width // 4 : width - width // 4]
    grey = np.asarray(cv2.cvtColor(middle, cv2.COLOR_BGR2GRAY), np.uint8)
    blur = blur_px(at_long_side(grey, settings.photo.working_px // 2))
    return np.inf if blur is None else blur


def _reduced(frame: _Frame, settings: Settings) -> _Still:
    height, width = frame.bgr.shape[:2]
    rgb = np.asarray(cv2.cvtColor(at_long_side(frame.bgr, settings.photo.detail_px), cv2.COLOR_BGR2RGB), np.uint8)
    return _Still(frame.number, width, height, rgb)


def _chosen(stills: Sequence[_Still], clip: Photo, settings: Settings) -> list[_Still]:
    """Choose frames whose light differs most among those fit to be judged, or among all where fewer than two are fit."""

    def fit(index: int) -> bool:
        return not any(flag.blocking for flag in photo_flags(_photo(stills[index], clip), settings))

    lights = [_light(still.rgb) for still in stills]
    off_middle = [abs(2 * index - len(stills) + 1) for index in range(len(stills))]
    lost = [round(_lost(still.rgb) / _LOST_ALIKE) for still in stills]
    first = sorted(range(len(stills)), key=lambda index: (lost[index], off_middle[index]))
    chosen = spread(lights, first, fit)
    if len(chosen) < 2:
        chosen = spread(lights, [*chosen, *(index for index in first if index not in chosen)])
    return [stills[index] for index in chosen]


def _lost(rgb: Raster) -> float:
    """Share of a picture in shadow or glare."""
    some = rgb[::8, ::8]
    return float(np.mean((some.max(axis=2) < _DARK) | (some.min(axis=2) >= _BURNT)))


def _light(rgb: Raster) -> Plain:
    """Logarithm of light at a small size, without the exposure."""
    small = np.asarray(cv2.cvtColor(at_long_side(rgb, _SMALL), cv2.COLOR_RGB2GRAY), np.float32)
    light = np.log2(cv2.GaussianBlur(small, (0, 0), 1.0) + 8.0)
    return np.asarray(light - light.mean(), np.float32)


def spread(lights: Sequence[Plain], first: Sequence[int], fit: Callable[[int], bool] = lambda _: True) -> list[int]:
    """Choose up to six lights that differ most: each next one is the farthest from all chosen ones.

    Parameters
    ----------
    lights : sequence of ndarray, shape (h, w), float32
        Logarithm (base 2) of light at one small size, mean zero.
    first : sequence of int
        Indices of all lights; the first of them that is fit is chosen first.
    fit : callable, optional
        Whether an index may be chosen; asked once for each that is considered.

    Returns
    -------
    list of int
        Indices. Once there are two, lights that hardly differ from a chosen one are left out.
    """
    chosen: list[int] = []
    left = list(first)
    nearest = np.full(len(lights), np.inf)
    while left and len(chosen) < _MOST_CHOSEN:
        best = max(left, key=lambda index: nearest[index])
        if len(chosen) >= 2 and nearest[best] < _ALIKE:
            break
        left.remove(best)
        if fit(best):
            chosen.append(best)
            nearest = np.minimum(nearest, [difference(light, lights[best]) for light in lights])
    return chosen


def difference(one: Plain, other: Plain) -> float:
    """Root mean square of what differs between two lights, at the shift of a hand at which it is least.

    Parameters
    ----------
    one, other : ndarray, shape (h, w), float32
        Logarithm of light at one small size.
    """
    if min(one.shape) <= 4 * _HAND:
        return float(np.sqrt(np.mean((one - other) ** 2)))
    inner = np.ascontiguousarray(other[_HAND:-_HAND, _HAND:-_HAND])
    squares = cv2.matchTemplate(one, inner, cv2.TM_SQDIFF)
    return float(np.sqrt(max(0.0, float(squares.min())) / inner.size))
