"""Bytes to `Photo`: reading, limits, fitness flags and the scale card."""

from prepcheck.photo.photo import Flag, Photo, Plane

__all__ = ["Flag", "Photo", "Plane"]
