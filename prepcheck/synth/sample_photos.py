"""Make the sample photos: ``python -m prepcheck.synth.sample_photos [--only NAME] [--out FOLDER] [--words-only]``.

Each photo is rendered from its seeds; the same versions of the libraries give the same bytes. What is expected of each, and
what it is called, stands in :mod:`~prepcheck.synth.sample_list`; ``--words-only`` brings it into the registry without rendering.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from prepcheck.photo import Photo
from prepcheck.photo.photo import Plane
from prepcheck.resources import folder
from prepcheck.score import score_spot
from prepcheck.settings import Settings
from prepcheck.spot import NoSpot, find_spots
from prepcheck.surface import ModelOrigin, SurfaceMap
from prepcheck.synth.bowser import Array, make_wall
from prepcheck.synth.layers import BEAD
from prepcheck.synth.sample_list import SHOTS, SIZE, Shot
from prepcheck.synth.sample_view import develop_photo, lit, project
from prepcheck.terms import WORST_FIRST, Standing, State

MOST_BYTES = 430_000
QUALITIES = (92, 90, 88, 86, 84, 82)
"""JPEG qualities tried until the photo is small enough."""
NOTE = (
    "Invented scenes: a farm co-op's aluminium diesel bowser that does not exist, rendered by prepcheck.synth.sample_photos. "
    "No photo shows a real part, place or person. They come from the same kind of generator as the model's training scenes, "
    "so a right answer on them says nothing about real photographs."
)
LICENCE = "Apache-2.0"
EXACT = ModelOrigin("truth", "0" * 64, sure=0.5, error_scale=0.0, error_floor=0.0)


@dataclass(frozen=True)
class Taken:
    """A photo with its truth, upright.

    Attributes
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
        sRGB.
    states, ground : ndarray of uint8, shape (H, W)
        Codes of :class:`prepcheck.terms.State`; 255 inside the ground area.
    to_mm : ndarray of float64, shape (3, 3)
        Homography from pixels to mm on the wall.
    """

    rgb: NDArray[np.uint8]
    states: NDArray[np.uint8]
    ground: NDArray[np.uint8]
    to_mm: Array

    def mm_per_px(self, x: float, y: float) -> float:
        """True scale at a pixel."""
        return Plane(self.to_mm, 0.0, "stated").mm_per_px(x, y)


def take(shot: Shot, size: tuple[int, int] = SIZE) -> Taken:
    """Photograph `shot` at `size` (width, height of the sensor); upright when the phone was held so."""
    layers = make_wall(shot.wall, shot.view.width / size[0])
    linear = project(lit(layers, shot.light, shot.view), layers, shot.view, size, cv2.INTER_LINEAR)
    rgb = develop_photo(shot.seed, np.asarray(linear, np.float32), shot.camera)
    truth = (layers.state, np.asarray(layers.ground * 255, np.uint8))
    states, ground = (np.asarray(project(p, layers, shot.view, size, cv2.INTER_NEAREST), np.uint8) for p in truth)
    states[states == BEAD] = State.CANNOT_TELL
    to_mm = np.asarray(np.linalg.inv(shot.view.from_mm(size)), np.float64)
    taken = Taken(rgb, states, ground, to_mm)
    return _stood_up(taken) if shot.upright else taken


def _stood_up(taken: Taken) -> Taken:
    """Turn by a quarter clockwise: what EXIF orientation 6 asks for."""
    rgb, states, ground = (
        np.ascontiguousarray(np.rot90(plane, -1)) for plane in (taken.rgb, taken.states, taken.ground)
    )
    back = np.asarray([[0, 1, 0], [-1, 0, rgb.shape[1] - 1], [0, 0, 1.0]])
    return Taken(rgb, states, ground, taken.to_mm @ back)


def photo_bytes(shot: Shot, taken: Taken) -> bytes:
    """The JPEG as the phone stores it: at most `MOST_BYTES`, with make, size and capture time, without position."""
    stored = np.ascontiguousarray(np.rot90(taken.rgb)) if shot.upright else taken.rgb
    exif = _exif(shot, stored.shape[1], stored.shape[0])
    data = b""
    for quality in QUALITIES:
        into = io.BytesIO()
        Image.fromarray(stored).save(into, "JPEG", quality=quality, subsampling="4:2:0", optimize=True, exif=exif)
        data = into.getvalue()
        if len(data) <= MOST_BYTES:
            break
    return data


def _exif(shot: Shot, width: int, height: int) -> Image.Exif:
    when, offset = shot.taken[:19].replace("-", ":").replace("T", " "), shot.taken[19:]
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Demo", "Invented phone", 6 if shot.upright else 1
    exif[0x0132] = when
    camera = exif.get_ifd(0x8769)
    camera |= {0x9003: when, 0x9004: when, 0x9011: offset, 0x9012: offset, 0xA002: width, 0xA003: height}
    exif[0x8769] = camera
    return exif


def truth_standing(shot: Shot, taken: Taken) -> Standing:
    """The standing rule applied to the truth, with the scale that a photo of `shot` gives; ``retake`` without a spot."""
    rows, cols = taken.states.shape
    surface = SurfaceMap(
        taken.states, (taken.states == State.BRIGHT).astype(np.float32), (taken.ground > 0).astype(np.float32),
        np.zeros((rows, cols), bool), (1.0, 1.0), EXACT,
    )  # fmt: skip
    plane = Plane(taken.to_mm, 0.0, "card") if shot.wall.card else None
    photo = Photo(shot.name, "", 0, "JPEG", cols, rows, taken.rgb, plane=plane)
    spots = find_spots(surface, Settings())
    if isinstance(spots, NoSpot):
        return Standing.RETAKE
    return min((score_spot(spot, surface, photo, Settings().score).standing for spot in spots), key=WORST_FIRST.index)


def entry(shot: Shot, taken: Taken, digests: dict[str, str]) -> dict[str, object]:
    """The registry's entry of a photo; `digests` are SHA-256 by path inside the folder."""
    rows, cols = taken.states.shape
    told = (taken.ground > 0) & (taken.states != State.CANNOT_TELL)
    middle = taken.mm_per_px((cols - 1) / 2, (rows - 1) / 2)
    states, ground = (f"truth/{shot.name}.{kind}.png" for kind in ("states", "ground"))
    return {
        "file": f"{shot.name}.jpg",
        "sha256": digests[f"{shot.name}.jpg"],
        **words(shot, truth_standing(shot, taken).value),
        "origin": f"rendered by prepcheck.synth.sample_photos, seed {shot.wall.seed}",
        "licence": LICENCE,
        "mm_per_px": round(middle, 6),
        "card": shot.wall.card is not None,
        "truth": {
            "states": states,
            "ground": ground,
            "to_mm": [[float(f"{value:.9g}") for value in row] for row in taken.to_mm],
            "bright_share": round(float(np.mean(taken.states[told] == State.BRIGHT)), 4) if told.any() else None,
            "sha256s": {states: digests[states], ground: digests[ground]},
        },
    }


def words(shot: Shot, truth: str) -> dict[str, object]:
    """The part of an entry that needs no rendering, `truth` being the truth's standing."""
    expected = {
        "standing": shot.standing, "flags": list(shot.flags), "spots": len(shot.wall.spots),
        "truth_standing": truth, "note": shot.note,
    }  # fmt: skip
    demo = None if shot.demo is None else {"spot": shot.demo[0], "pass_no": shot.demo[1]}
    return {"title": shot.title, "expected": expected, "demo": demo}


def write(shot: Shot, out: Path) -> dict[str, object]:
    """Make one photo and its truth in the folder `out`; returns the registry's entry."""
    (out / "truth").mkdir(parents=True, exist_ok=True)
    taken = take(shot)
    files = {
        f"{shot.name}.jpg": photo_bytes(shot, taken),
        f"truth/{shot.name}.states.png": _png(taken.states),
        f"truth/{shot.name}.ground.png": _png(taken.ground),
    }
    for name, data in files.items():
        (out / name).write_bytes(data)
    return entry(shot, taken, {name: hashlib.sha256(data).hexdigest() for name, data in files.items()})


def _png(plane: NDArray[np.uint8]) -> bytes:
    into = io.BytesIO()
    Image.fromarray(plane).save(into, "PNG", optimize=True)
    return into.getvalue()


def write_registry(entries: list[dict[str, object]], out: Path) -> None:
    """Write or update ``registry.json``: entries by file, in the order of the list, others kept."""
    path = out / "registry.json"
    by_file = {**registered(out), **{str(sample["file"]): sample for sample in entries}}
    ordered = [by_file[f"{shot.name}.jpg"] for shot in SHOTS if f"{shot.name}.jpg" in by_file]
    text = json.dumps({"note": NOTE, "licence": LICENCE, "samples": ordered}, indent=1)
    path.write_text(text + "\n", encoding="utf-8")


def registered(out: Path) -> dict[str, dict[str, Any]]:
    """Entries of the registry in `out` by file; none when there is no registry."""
    path = out / "registry.json"
    old = json.loads(path.read_text(encoding="utf-8"))["samples"] if path.is_file() else []
    return {sample["file"]: sample for sample in old}


def renamed(shot: Shot, out: Path) -> dict[str, object]:
    """The registered entry of `shot` with new words."""
    old = registered(out)[f"{shot.name}.jpg"]
    return {**old, **words(shot, old["expected"]["truth_standing"])}


def main(arguments: list[str] | None = None) -> None:
    """Make all sample photos, or those named."""
    parser = argparse.ArgumentParser(prog="python -m prepcheck.synth.sample_photos", description=main.__doc__)
    parser.add_argument("--only", action="append", choices=[shot.name for shot in SHOTS], help="make only this photo")
    parser.add_argument("--out", type=Path, default=folder("sample_images"), help="folder to write into")
    parser.add_argument("--words-only", action="store_true", help="renew titles and expectations, render nothing")
    chosen = parser.parse_args(arguments)
    shots = [shot for shot in SHOTS if not chosen.only or shot.name in chosen.only]
    make = renamed if chosen.words_only else write
    write_registry([make(shot, chosen.out) for shot in shots], chosen.out)


if __name__ == "__main__":
    main()
