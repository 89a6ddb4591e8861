"""What the camera wrote beside the picture: orientation, capture time, make, position."""

from __future__ import annotations

import re
import threading
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from PIL import Image

from prepcheck.errors import printable

_ORIENTATION, _MAKE, _MODEL, _CAMERA_PART, _POSITION_PART = 0x0112, 0x010F, 0x0110, 0x8769, 0x8825
_TIMES = ((0x9003, 0x9011, 0x9291), (0x9004, 0x9012, 0x9292))
_WIDTH, _HEIGHT = 0xA002, 0xA003
_FLASH = 0x9209
_TIME = re.compile(r"(\d{4}):(\d\d):(\d\d) (\d\d):(\d\d):(\d\d)")
_OFFSET = re.compile(r"[+-]\d\d:\d\d")
_LONGEST_NAME = 64
_one_at_a_time = threading.Lock()


@dataclass(frozen=True)
class Exif:
    """What is used of a photo's EXIF.

    Parameters
    ----------
    orientation : int
        1 to 8; 1 when missing or out of range.
    taken : str or None
        ISO 8601, with fraction of a second and offset when stored.
    camera : str or None
        Make and model, printable, at most 129 letters.
    size : tuple of int or None
        Width and height that the camera stored for its picture.
    position : tuple of float or None
        Latitude and longitude in degrees.
    flash : bool or None
        Whether the flash fired; None when not stored.
    """

    orientation: int = 1
    taken: str | None = None
    camera: str | None = None
    size: tuple[int, int] | None = None
    position: tuple[float, float] | None = None
    flash: bool | None = None


def read_exif(block: bytes | None) -> Exif:
    """Read an EXIF block; a missing or broken one gives what can be had, at worst nothing.

    Parameters
    ----------
    block : bytes or None
        A TIFF structure, with or without ``Exif\\0\\0`` before it.
    """
    if not block:
        return Exif()
    tags, camera, place = _tags(block)
    return Exif(
        orientation=_orientation(tags.get(_ORIENTATION)),
        taken=_taken(camera),
        camera=_camera(tags),
        size=_size(camera),
        position=_position(place),
        flash=_flash(camera),
    )


def tiff_tags(block: bytes) -> Mapping[int, Any]:
    """Return the tags of the first picture of a TIFF structure, empty when broken."""
    return _tags(block)[0]


def _tags(block: bytes) -> tuple[Mapping[int, Any], Mapping[int, Any], Mapping[int, Any]]:
    """Tags of picture, camera and position; Pillow warns on broken ones, which is nothing to bother a welder with."""
    parts: list[Mapping[int, Any]] = [{}, {}, {}]
    with _one_at_a_time, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            exif = Image.Exif()
            exif.load(block)
            parts[0] = dict(exif)
            parts[1] = dict(exif.get_ifd(_CAMERA_PART))
            parts[2] = dict(exif.get_ifd(_POSITION_PART))
        except Exception:  # a parser of untrusted bytes raises anything; the picture does not depend on it
            return parts[0], parts[1], parts[2]
    return parts[0], parts[1], parts[2]


def _orientation(value: Any) -> int:
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _taken(camera: Mapping[int, Any]) -> str | None:
    for time, offset, fraction in _TIMES:
        if found := _TIME.match(_text(camera.get(time))):
            year, month, day, hour, minute, second = found.groups()
            if not (year != "0000" and 1 <= int(month) <= 12 and 1 <= int(day) <= 31 and int(hour) < 24):
                continue
            parts = re.match(r"\d{1,6}", _text(camera.get(fraction)))
            zone = _text(camera.get(offset))
            return (
                f"{year}-{month}-{day}T{hour}:{minute}:{second}"
                + (f".{parts[0]}" if parts else "")
                + (zone if _OFFSET.fullmatch(zone) else "")
            )
    return None


def _camera(tags: Mapping[int, Any]) -> str | None:
    make, model = (printable(_text(tags.get(tag)))[:_LONGEST_NAME] for tag in (_MAKE, _MODEL))
    both = model if model.startswith(make) else f"{make} {model}"
    return both.strip() or None


def _size(camera: Mapping[int, Any]) -> tuple[int, int] | None:
    width, height = camera.get(_WIDTH), camera.get(_HEIGHT)
    return (width, height) if isinstance(width, int) and isinstance(height, int) and width and height else None


def _flash(camera: Mapping[int, Any]) -> bool | None:
    """Bit 0 of the tag Flash says whether it fired (EXIF 2.3, JEITA CP-3451C, tag 0x9209)."""
    value = camera.get(_FLASH)
    return bool(value & 1) if isinstance(value, int) else None


def _position(place: Mapping[int, Any]) -> tuple[float, float] | None:
    latitude, longitude = _degrees(place, 1, "S", 90), _degrees(place, 3, "W", 180)
    return None if latitude is None or longitude is None else (latitude, longitude)


def _degrees(place: Mapping[int, Any], tag: int, negative: str, most: float) -> float | None:
    try:
        degree, minute, second = (float(part) for part in place[tag + 1])
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return None
    value = degree + minute / 60 + second / 3600
    if not 0 <= value <= most:
        return None
    return round(-value if _text(place.get(tag)).upper() == negative else value, 7)


def _text(value: Any) -> str:
    if isinstance(value, bytes):
        value = value.decode("latin-1")
    return value.split("\0")[0].strip() if isinstance(value, str) else ""
