"""The tool's answer at counted points."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from prepcheck.agreement.fields import Field
from prepcheck.agreement.grid import Grid
from prepcheck.agreement.told import by_inspection, from_maps
from prepcheck.errors import BrokenInput, WrongUse
from prepcheck.settings import load
from prepcheck.terms import Standing, State
from tests import painted
from tests.command import photo_bytes

PLATE = painted.plate((State.OXIDE, 120, 100, 20), size=(240, 320), spot=(160, 120, 80))
PLACES = ((160, 150), (120, 100), (20, 20))
"""Bright metal, oxide and coating on the plate."""


def on(folder: Path, data: bytes, places: Sequence[tuple[float, float]] = PLACES) -> Field:
    (folder / "images").mkdir(exist_ok=True)
    (folder / "images" / "plate.jpg").write_bytes(data)
    laid = Grid(np.array(places, np.float64), 50, 0)
    return Field("images/plate.jpg", hashlib.sha256(data).hexdigest(), (320, 240), laid)


def test_an_inspected_photo_tells_what_lies_under_each_point(tmp_path: Path) -> None:
    one = on(tmp_path, photo_bytes(PLATE))
    told = by_inspection(tmp_path, painted.model(), load(None))(one)
    assert told.counted.labels == ((State.BRIGHT,), (State.OXIDE,), (State.COATING,))
    assert told.standing in Standing
    assert (told.counted.grid, told.counted.sha256) == (one.grid, one.sha256)


def test_points_on_the_edge_of_the_photo_have_an_answer(tmp_path: Path) -> None:
    one = on(tmp_path, photo_bytes(PLATE), [(-0.5, -0.5), (319.5, 239.5)])
    told = by_inspection(tmp_path, painted.model(), load(None))(one)
    assert told.counted.labels == ((State.COATING,),) * 2


def test_another_photo_under_the_same_name_is_refused(tmp_path: Path) -> None:
    one = on(tmp_path, photo_bytes(PLATE))
    (tmp_path / "images" / "plate.jpg").write_bytes(photo_bytes(PLATE[::-1]))
    with pytest.raises(WrongUse, match="is not the photo that the points were laid on"):
        by_inspection(tmp_path, painted.model(), load(None))(one)


def test_a_photo_that_is_gone_is_told(tmp_path: Path) -> None:
    one = on(tmp_path, photo_bytes(PLATE))
    (tmp_path / "images" / "plate.jpg").unlink()
    with pytest.raises(BrokenInput, match="cannot be read"):
        by_inspection(tmp_path, painted.model(), load(None))(one)


def test_maps_tell_the_state_of_the_pixel_under_each_point(tmp_path: Path) -> None:
    one = on(tmp_path, photo_bytes(PLATE))
    Image.fromarray(PLATE).save(tmp_path / "plate.states.png")
    told = from_maps(tmp_path)(one)
    assert told.counted.labels == ((State.BRIGHT,), (State.OXIDE,), (State.COATING,))
    assert told.standing is None


@pytest.mark.parametrize("x", [100.0, 99.6, 100.4])
def test_a_point_takes_the_pixel_whose_centre_is_nearest(tmp_path: Path, x: float) -> None:
    codes = np.full((240, 320), State.COATING, np.uint8)
    codes[50, 100] = State.PIT
    Image.fromarray(codes).save(tmp_path / "plate.states.png")
    told = from_maps(tmp_path)(on(tmp_path, photo_bytes(PLATE), [(x, 50), (101, 50), (99, 50), (100, 51)]))
    assert [label[0] for label in told.counted.labels] == [State.PIT, *[State.COATING] * 3]


def test_points_of_a_photo_larger_than_the_map_are_brought_to_its_size(tmp_path: Path) -> None:
    plate = painted.plate((State.OXIDE, 1400, 480, 60), size=(960, 1600), spot=(1300, 480, 200))
    one = replace(on(tmp_path, photo_bytes(plate), [(1400, 480), (1250, 480), (200, 480)]), size=(1600, 960))
    told = by_inspection(tmp_path, painted.model(), load(None))(one)
    assert told.counted.labels == ((State.OXIDE,), (State.BRIGHT,), (State.COATING,))


def test_maps_of_another_size_are_refused(tmp_path: Path) -> None:
    Image.fromarray(PLATE[:100]).save(tmp_path / "plate.states.png")
    with pytest.raises(WrongUse, match="has another size than the photo"):
        from_maps(tmp_path)(on(tmp_path, photo_bytes(PLATE)))


def png(codes: np.ndarray) -> bytes:
    data = io.BytesIO()
    Image.fromarray(codes).save(data, "PNG")
    return data.getvalue()


def test_a_map_that_claims_a_huge_size_is_refused_before_it_is_decoded(tmp_path: Path) -> None:
    claimed = bytearray(png(PLATE))
    claimed[16:24] = (60_000).to_bytes(4, "big") * 2
    (tmp_path / "plate.states.png").write_bytes(claimed)
    with pytest.raises(WrongUse, match="has another size than the photo"):
        from_maps(tmp_path)(on(tmp_path, photo_bytes(PLATE)))


@pytest.mark.parametrize("data", [b"", b"no picture", png(PLATE)[:30], png(np.full((240, 320), 77, np.uint8))])
def test_what_is_no_map_of_states_is_refused(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "plate.states.png").write_bytes(data)
    with pytest.raises(BrokenInput, match="is no map of states"):
        from_maps(tmp_path)(on(tmp_path, photo_bytes(PLATE)))


def test_a_missing_map_is_told(tmp_path: Path) -> None:
    with pytest.raises(BrokenInput, match="cannot be read"):
        from_maps(tmp_path)(on(tmp_path, photo_bytes(PLATE)))
