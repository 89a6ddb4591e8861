"""Finds what ships beside the code: models, sample photos, reference tables."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def folder(name: str) -> Path:
    """Return the folder `name` (``models``, ``sample_images`` or ``shared``).

    An installed wheel carries it inside the package; a checkout has it at the top level.
    """
    inside = _PACKAGE / name
    return inside if inside.is_dir() else _PACKAGE.parent / name
