"""Bytes to `Photo`: reading, limits, fitness flags and the scale card."""

from prepcheck.photo.card import with_scale
from prepcheck.photo.files import read_bytes
from prepcheck.photo.fitness import photo_flags, spot_flags
from prepcheck.photo.photo import Flag, Photo, Plane, at_long_side
from prepcheck.photo.picture_hash import hash_distance
from prepcheck.photo.read import from_bytes, read

__all__ = [
    "Flag",
    "Photo",
    "Plane",
    "at_long_side",
    "from_bytes",
    "hash_distance",
    "photo_flags",
    "read",
    "read_bytes",
    "spot_flags",
    "with_scale",
]
