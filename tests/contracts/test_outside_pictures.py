"""Pictures of anything but ground metal: none may come out bright with the model that ships.

Held harder: no picture is bright even when the model's own error is taken for a fifth of what the model itself owns to at each
pixel, so that no wide interval hides a wrong answer.
"""

from __future__ import annotations

import dataclasses
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from prepcheck.errors import NotAPhoto
from prepcheck.inspection import inspect
from prepcheck.photo import from_bytes
from prepcheck.record import Record, record_of
from prepcheck.settings import Settings
from prepcheck.surface import Model, load_model
from prepcheck.terms import Standing
from tests.photo.pictures import coded

Raster = NDArray[np.uint8]
SIZE = (240, 320)


@cache
def shipped() -> Model:
    return load_model()


def sure_of_itself() -> Model:
    """Return the model that ships with intervals so narrow that a clean spot is bright with room to spare (at least 1 %)."""
    return Model(dataclasses.replace(shipped().origin, error_scale=0.2, error_floor=0.05), shipped().net)


def outside() -> list[Path]:
    """Return the pictures that really lie in scikit-image's wheel; the others it would download."""
    import skimage.data

    assert skimage.data.__file__ is not None
    folder = Path(skimage.data.__file__).parent
    return sorted(path for path in folder.iterdir() if path.suffix in (".png", ".jpg", ".jpeg", ".tif", ".tiff"))


def look(data: bytes, name: str, model: Model, mm_per_px: float | None = None) -> Record | None:
    """Return the record of a picture; None for one that is no photo, such as an animation."""
    try:
        photo = from_bytes(data, name, Settings())
    except NotAPhoto:
        return None
    return record_of(inspect(photo, model, Settings(), stated_mm_per_px=mm_per_px))


def bright(data: bytes, name: str) -> bool:
    """Say whether a picture comes out bright when the model is sure of itself."""
    record = look(data, name, sure_of_itself())
    return record is not None and record.standing is Standing.BRIGHT


def picture(rgb: Raster) -> bytes:
    return coded(rgb[:, :, ::-1], ".png")


TAKEN_FOR_METAL: dict[str, str] = {"page.png": "eye-7: a page in shade"}
"""What eye-7 takes for bright metal; only the width of its interval keeps it from the standing bright."""


def known(paths: list[Path]) -> list[Any]:
    """Mark the pictures that the model is known to take for metal."""
    marks = {name: [pytest.mark.xfail(reason=told, strict=True)] for name, told in TAKEN_FOR_METAL.items()}
    return [pytest.param(path, id=path.name, marks=marks.get(path.name, [])) for path in paths]


@pytest.mark.parametrize("path", known(outside()))
def test_no_picture_of_something_else_is_bright(path: Path) -> None:
    assert not bright(path.read_bytes(), path.name)


@pytest.mark.parametrize("path", outside(), ids=lambda path: path.name)
def test_no_spot_in_a_picture_of_something_else_is_bright(path: Path) -> None:
    record = look(path.read_bytes(), path.name, shipped(), 0.1)
    assert record is None or [spot.number for spot in record.spots if spot.standing is Standing.BRIGHT] == []


def test_there_are_pictures_of_something_else() -> None:
    assert len(outside()) >= 20


def even(level: int) -> Raster:
    return np.full((*SIZE, 3), level, np.uint8)


@pytest.mark.parametrize("level", range(0, 256, 25))
def test_no_even_grey_is_bright(level: int) -> None:
    assert not bright(picture(even(level)), "grey.png")


@pytest.mark.parametrize("colour", [(200, 40, 40), (40, 160, 60), (50, 80, 190), (230, 200, 150), (120, 80, 60)])
def test_no_even_colour_is_bright(colour: tuple[int, int, int]) -> None:
    assert not bright(picture(np.broadcast_to(np.array(colour, np.uint8), (*SIZE, 3))), "colour.png")


@pytest.mark.parametrize("middle", [90, 190])
@pytest.mark.parametrize("spread", [4, 20, 60])
@pytest.mark.parametrize("grain", [1, 4, 16])
def test_no_noise_is_bright(middle: int, spread: int, grain: int) -> None:
    coarse = np.random.default_rng(spread + grain).normal(middle, spread, (SIZE[0] // grain, SIZE[1] // grain))
    noise = cv2.resize(coarse, SIZE[::-1], interpolation=cv2.INTER_CUBIC)
    grey = np.clip(noise, 0, 255).astype(np.uint8)
    assert not bright(picture(np.repeat(grey[:, :, None], 3, axis=2)), "noise.png")


@pytest.mark.parametrize("seed", range(3))
def test_no_coloured_noise_is_bright(seed: int) -> None:
    noise = np.random.default_rng(seed).integers(0, 256, (*SIZE, 3), np.uint8)
    assert not bright(picture(noise), "noise.png")


@pytest.mark.parametrize("turn", range(4))
def test_no_gradient_is_bright(turn: int) -> None:
    ramp = np.broadcast_to(np.linspace(0, 255, SIZE[1]).astype(np.uint8)[None, :, None], (*SIZE, 3))
    assert not bright(picture(np.rot90(ramp, turn)), "ramp.png")


@pytest.mark.parametrize("side", [2, 8, 40, 120])
@pytest.mark.parametrize("levels", [(0, 255), (100, 180)])
def test_no_checkerboard_is_bright(side: int, levels: tuple[int, int]) -> None:
    y, x = np.indices(SIZE)
    board = np.where((y // side + x // side) % 2 == 0, *levels).astype(np.uint8)
    assert not bright(picture(np.repeat(board[:, :, None], 3, axis=2)), "board.png")


@pytest.mark.parametrize("period", [3, 7, 20])
def test_no_stripes_are_bright(period: int) -> None:
    wave = 150 + 40 * np.sin(np.arange(SIZE[1]) * 2 * np.pi / period)
    stripes = np.broadcast_to(wave.astype(np.uint8)[None, :, None], (*SIZE, 3))
    assert not bright(picture(stripes), "stripes.png")
