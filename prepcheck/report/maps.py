"""The maps of an inspection as PNG files at the photo's own upright size (design, section 3)."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.inspection import Inspection
from prepcheck.report.files import write_whole

KINDS = ("states", "spots", "residue")


def write_maps(folder: Path, inspection: Inspection) -> list[Path]:
    """Write ``NAME.states.png``, ``NAME.spots.png`` and ``NAME.residue.png`` into `folder`, made when missing.

    States and spot numbers are enlarged by nearest neighbour, the residue probability linearly.

    Returns
    -------
    list of Path
        The files written.
    """
    files = map_files(folder, inspection.photo.name)
    for path, kind in zip(files, KINDS, strict=True):
        write_whole(path, _png(_full_size(inspection, kind)))
    return files


def map_files(folder: Path, name: str) -> list[Path]:
    """Return the files in `folder` that hold the maps of the photo `name`."""
    return [folder / f"{Path(name).stem}.{kind}.png" for kind in KINDS]


def spot_numbers(inspection: Inspection) -> NDArray[np.uint8]:
    """Return the number of the spot each map pixel lies in, 0 for none; shape (h, w), uint8."""
    numbers = np.zeros(inspection.surface.states.shape, np.uint8)
    for spot, _ in inspection.answer.spots:
        numbers[spot.mask] = spot.number
    return numbers


def _full_size(inspection: Inspection, kind: str) -> NDArray[np.uint8]:
    size = (inspection.photo.width, inspection.photo.height)
    if kind == "residue":
        residue = np.round(255 * inspection.surface.residue).astype(np.uint8)
        return np.asarray(cv2.resize(residue, size, interpolation=cv2.INTER_LINEAR), np.uint8)
    codes = inspection.surface.states if kind == "states" else spot_numbers(inspection)
    return np.asarray(cv2.resize(codes, size, interpolation=cv2.INTER_NEAREST_EXACT), np.uint8)


def _png(image: NDArray[np.uint8]) -> bytes:
    done, data = cv2.imencode(".png", image, [cv2.IMWRITE_PNG_COMPRESSION, 3])
    if not done:
        raise ValueError(f"OpenCV cannot write a PNG of shape {image.shape}")
    return data.tobytes()
