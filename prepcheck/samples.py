"""The shipped sample photos: invented scenes of a farm co-op's aluminium diesel bowser, rendered, with known truth."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

from prepcheck.errors import DamagedPhoto
from prepcheck.resources import folder


@dataclass(frozen=True)
class Sample:
    """One sample photo.

    Parameters
    ----------
    path : Path
        The photo.
    sha256 : str
        Hash of its bytes.
    title : str
        What it shows.
    standing : str
        Expected standing.
    flags : tuple of str
        Codes of the flags that must be raised.
    spots : int
        Number of ground spots in the scene.
    demo : tuple of (str, int) or None
        Spot of the demo job and grinding pass, when the demo uses the photo.
    """

    path: Path
    sha256: str
    title: str
    standing: str
    flags: tuple[str, ...]
    spots: int
    demo: tuple[str, int] | None


def samples() -> tuple[Sample, ...]:
    """Return the shipped samples in the registry's order, each checked by its SHA-256.

    Raises
    ------
    DamagedPhoto
        A file is not the registered one.
    """
    place = folder("sample_images")
    entries = json.loads((place / "registry.json").read_text(encoding="utf-8"))["samples"]
    return tuple(_checked(place, entry) for entry in entries)


def _checked(place: Path, entry: dict[str, object]) -> Sample:
    path = place / str(entry["file"])
    if hashlib.sha256(path.read_bytes()).hexdigest() != entry["sha256"]:
        raise DamagedPhoto("is not the registered sample", "Reinstall prepcheck", path.name)
    expected, demo = dict(entry["expected"]), entry.get("demo")  # type: ignore[call-overload]
    return Sample(
        path,
        str(entry["sha256"]),
        str(entry["title"]),
        str(expected["standing"]),
        tuple(expected["flags"]),
        int(expected["spots"]),
        None if demo is None else (str(demo["spot"]), int(demo["pass_no"])),  # type: ignore[index]
    )
