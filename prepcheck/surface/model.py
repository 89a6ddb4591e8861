"""Loads the model: only a file whose SHA-256 is the registry's is ever run."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import Annotated, Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, Field, ValidationError

from prepcheck.errors import ModelFault
from prepcheck.own_file import first_fault
from prepcheck.resources import folder
from prepcheck.surface.surface_map import ModelOrigin

_File = TypeVar("_File", bound=BaseModel)

CHANNELS = 8
"""Output channels: probabilities of states 0..5, of weld bead or heat tint, and of lying inside a ground spot."""

STEP = 32
"""Height and width of the input are multiples of this, and at least twice it: at one step OpenCV 5 computes wrongly."""


@dataclass(frozen=True, eq=False)
class Model:
    """A loaded model and what is known of its error. May be used from several threads; the net runs for one at a time.

    `unused_fit` says why the fit that a shop has taken is not used; empty when there is none, or it is used.
    """

    origin: ModelOrigin
    net: Any = field(repr=False)
    turn: Lock = field(default_factory=Lock, repr=False)
    unused_fit: str = ""

    def run(self, rgb: NDArray[np.uint8]) -> tuple[NDArray[np.float32], int]:
        """Return the model's maps for one picture.

        Parameters
        ----------
        rgb : ndarray, shape (h, w, 3), uint8
            sRGB picture at working size.

        Returns
        -------
        maps : ndarray, shape (8, ceil(h / step), ceil(w / step)), float32
            See `CHANNELS`; the first seven sum to 1 at each pixel.
        step : int
            Pixels of `rgb` per pixel of the maps.

        Raises
        ------
        ModelFault
            The net does not give what the contract says.
        """
        height, width = rgb.shape[:2]
        below, right = (max(-side % STEP, 2 * STEP - side) for side in (height, width))
        padded = cv2.copyMakeBorder(rgb, 0, below, 0, right, cv2.BORDER_REFLECT_101)
        blob = cv2.dnn.blobFromImage(padded, 1 / 255.0)
        try:
            with self.turn:
                self.net.setInput(blob)
                maps = self.net.forward()[0]
        except cv2.error as error:
            raise ModelFault("the model cannot be run", "Reinstall prepcheck", self.origin.name) from error
        if maps.ndim != 3 or maps.shape[0] != CHANNELS or not np.isfinite(maps).all():
            raise ModelFault("the model gives no usable maps", "Reinstall prepcheck", self.origin.name)
        step = padded.shape[1] // maps.shape[2]
        return maps[:, : -(-height // step), : -(-width // step)], step


def load_model(name: str | None = None, models: Path | None = None) -> Model:
    """Load a model of the registry, checked by its SHA-256.

    Parameters
    ----------
    name : str, optional
        Name in the registry; its default otherwise.
    models : Path, optional
        Folder with ``registry.json``; the one that ships with prepcheck otherwise.

    Raises
    ------
    ModelFault
        The registry or file is missing, the name is unknown, the bytes are not the registered ones, or OpenCV cannot
        read them.
    """
    return _load(name, models or folder("models"))


@lru_cache(maxsize=4)
def _load(name: str | None, models: Path) -> Model:
    registry = read_as(models / "registry.json", _Registry)
    name = name or registry.default
    entry = registry.models.get(name)
    if entry is None:
        raise ModelFault("no such model in the registry", f"Known: {', '.join(registry.models)}", name)
    data = checked_bytes(models / entry.file, entry.sha256)
    known = read_as(models / entry.card, _Card).calibration
    origin = ModelOrigin(name, entry.sha256, known.sure, known.error_scale, known.error_floor)
    return Model(origin, read_net(data, name))


class _Entry(BaseModel):
    file: str
    sha256: str
    card: str


class _Registry(BaseModel):
    default: str
    models: dict[str, _Entry]


class _Calibration(BaseModel):
    sure: Annotated[float, Field(ge=0, le=1)]
    error_scale: Annotated[float, Field(ge=0, allow_inf_nan=False)]
    error_floor: Annotated[float, Field(ge=0, allow_inf_nan=False)]


class _Card(BaseModel):
    calibration: _Calibration


def read_as(path: Path, kind: type[_File]) -> _File:
    """Read one of prepcheck's own JSON files; raises ModelFault where it is missing or says something else."""
    try:
        return kind.model_validate_json(path.read_bytes())
    except OSError as error:
        raise ModelFault(f"cannot be read ({error.strerror})", "Reinstall prepcheck", path.name) from error
    except ValidationError as error:
        raise ModelFault(f"cannot be used ({first_fault(error)})", "Reinstall prepcheck", path.name) from error


def checked_bytes(path: Path, sha256: str) -> bytes:
    """Read a file; raises ModelFault where it is missing or has another SHA-256."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ModelFault(f"cannot be read ({error.strerror})", "Reinstall prepcheck", path.name) from error
    if hashlib.sha256(data).hexdigest() != sha256:
        raise ModelFault(
            "the model file is not the registered one (its SHA-256 differs)", "Reinstall prepcheck", path.name
        )
    return data


def read_net(data: bytes, name: str) -> Any:
    """Make OpenCV's net of an ONNX file's bytes; raises ModelFault where it cannot."""
    try:
        return cv2.dnn.readNetFromONNX(np.frombuffer(data, np.uint8))
    except cv2.error as error:
        raise ModelFault("OpenCV cannot read the model", "Check the version of OpenCV", name) from error
