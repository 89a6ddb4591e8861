"""The shipped sample photos: invented scenes of a farm co-op's aluminium diesel bowser, rendered, with known truth."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from prepcheck.errors import DamagedPhoto, Unreadable
from prepcheck.resources import folder
from prepcheck.terms import Standing

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Truth:
    """What a sample shows in truth, at the photo's own upright size.

    Parameters
    ----------
    states_path, ground_path : Path
        PNG of state codes, and of the ground area (255 inside).
    bright_share : float or None
        Bright metal as a share of the readable ground area; None without a spot.
    standing : Standing
        The standing rule applied to the truth.
    to_mm : tuple of tuple of float, 3 x 3
        Homography from pixels (x, y) to mm on the wall.
    """

    states_path: Path
    ground_path: Path
    bright_share: float | None
    standing: Standing
    to_mm: tuple[tuple[float, ...], ...] = field(repr=False)

    def states(self) -> NDArray[np.uint8]:
        """State codes, shape (height, width), uint8."""
        return _plane(self.states_path)

    def ground(self) -> NDArray[np.uint8]:
        """Ground area, shape (height, width), uint8: 255 inside."""
        return _plane(self.ground_path)


@dataclass(frozen=True, eq=False)
class Sample:
    """One sample photo.

    Parameters
    ----------
    path : Path
        The photo.
    sha256 : str
        Hash of its bytes.
    title, origin, licence : str
        What it shows, how it was made, under which licence.
    mm_per_px : float
        True scale in the middle of the picture.
    card : bool
        Whether a scale card lies in view.
    standing : Standing
        Expected standing.
    flags : tuple of str
        Codes of the flags that must be raised.
    note : str
        Why the expected standing is another than the truth's; empty when it is not.
    spots : int
        Number of ground spots in the scene.
    demo : tuple of (str, int) or None
        Spot of the demo job and grinding pass, when the demo uses the photo.
    truth : Truth
        What it shows in truth.
    """

    path: Path
    sha256: str
    title: str
    origin: str
    licence: str
    mm_per_px: float
    card: bool
    standing: Standing
    flags: tuple[str, ...]
    note: str
    spots: int
    demo: tuple[str, int] | None
    truth: Truth

    @property
    def name(self) -> str:
        """File name without ending."""
        return self.path.stem


def samples() -> tuple[Sample, ...]:
    """Return the shipped samples in the registry's order, each file checked by its SHA-256.

    Raises
    ------
    DamagedPhoto
        A file is not the registered one.
    Unreadable
        A file or the registry is missing.
    """
    place = folder("sample_images")
    return tuple(_sample(place, entry) for entry in registry()["samples"])


@lru_cache(maxsize=1)
def _by_hash() -> dict[str, Sample]:
    return {one.sha256: one for one in samples()}


def sample_of(sha256: str) -> Sample | None:
    """Return the sample whose bytes have this SHA-256 (hex), or None; the files are checked once."""
    return _by_hash().get(sha256)


def unseen() -> tuple[tuple[str, str], ...]:
    """Return the samples that are fit to be judged: names that do not tell what they show, each with its SHA-256 (hex)."""
    fit = [one for one in _by_hash().values() if one.standing is not Standing.RETAKE]
    return tuple((f"sample {number}", one.sha256) for number, one in enumerate(fit, 1))


def registry() -> dict[str, Any]:
    """Return the registry as it is written: a note on where the samples come from, and one entry for each."""
    text = _bytes(folder("sample_images") / "registry.json").decode("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def _sample(place: Path, entry: dict[str, Any]) -> Sample:
    expected, demo = entry["expected"], entry["demo"]
    return Sample(
        path=_checked(place / entry["file"], entry["sha256"]),
        sha256=entry["sha256"],
        title=entry["title"],
        origin=entry["origin"],
        licence=entry["licence"],
        mm_per_px=entry["mm_per_px"],
        card=entry["card"],
        standing=Standing(expected["standing"]),
        flags=tuple(expected["flags"]),
        note=expected["note"],
        spots=expected["spots"],
        demo=None if demo is None else (demo["spot"], demo["pass_no"]),
        truth=_truth(place, entry["truth"], Standing(expected["truth_standing"])),
    )


def _truth(place: Path, entry: dict[str, Any], standing: Standing) -> Truth:
    states, ground = (_checked(place / entry[kind], entry["sha256s"][entry[kind]]) for kind in ("states", "ground"))
    return Truth(states, ground, entry["bright_share"], standing, tuple(tuple(row) for row in entry["to_mm"]))


def _checked(path: Path, sha256: str) -> Path:
    if hashlib.sha256(_bytes(path)).hexdigest() != sha256:
        raise DamagedPhoto("is not the registered sample", "Reinstall prepcheck", path.name)
    return path


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise Unreadable(f"cannot be read ({error.strerror})", "Reinstall prepcheck", path.name) from error


def _plane(path: Path) -> NDArray[np.uint8]:
    """Read a PNG of one channel; imported late, as the list of samples needs no pictures."""
    import numpy as np
    from PIL import Image

    with Image.open(path) as image:
        return np.asarray(image, np.uint8)
