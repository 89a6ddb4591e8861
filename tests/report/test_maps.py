"""Maps as files: sizes, codes and numbers of the file contract."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from prepcheck.errors import CannotWrite
from prepcheck.inspection import Inspection, inspect
from prepcheck.photo import from_bytes
from prepcheck.record import record_of
from prepcheck.report.maps import KINDS, map_files, spot_numbers, write_maps
from prepcheck.settings import Settings
from prepcheck.terms import State
from tests.command import photo_bytes, two_spots
from tests.painted import model, photo, plate
from tests.photo.pictures import exif

SETTINGS = Settings()
PLATE = plate((State.OXIDE, 120, 100, 20), (State.PIT, 200, 150, 8), size=(240, 320), spot=(160, 120, 80))


def look(states: NDArray[np.uint8] = PLATE, *, reduction: int = 1) -> Inspection:
    return inspect(photo(states, reduction=reduction), model(), SETTINGS)


def written(folder: Path, inspection: Inspection) -> dict[str, NDArray[np.uint8]]:
    files = write_maps(folder, inspection)
    return {
        kind: np.asarray(cv2.imread(str(path), cv2.IMREAD_UNCHANGED)) for kind, path in zip(KINDS, files, strict=True)
    }


def test_the_files_are_named_by_the_photo() -> None:
    assert map_files(Path("out"), "seam 3.v2.JPG") == [
        Path("out/seam 3.v2.states.png"),
        Path("out/seam 3.v2.spots.png"),
        Path("out/seam 3.v2.residue.png"),
    ]


@pytest.mark.parametrize("kind", KINDS)
def test_a_map_is_a_single_channel_of_eight_bits(tmp_path: Path, kind: str) -> None:
    image = written(tmp_path, look())[kind]
    assert (image.dtype, image.shape) == (np.uint8, (240, 320))


@pytest.mark.parametrize("reduction", [2, 7])
@pytest.mark.parametrize("kind", KINDS)
def test_a_map_has_the_photos_full_size(tmp_path: Path, kind: str, reduction: int) -> None:
    assert written(tmp_path, look(reduction=reduction))[kind].shape == (240 * reduction, 320 * reduction)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turned_photo_has_maps_of_its_upright_size(tmp_path: Path, orientation: int) -> None:
    data = photo_bytes(PLATE, exif=exif(orientation=orientation))
    inspection = inspect(from_bytes(data, "turned.jpg", SETTINGS), model(), SETTINGS)
    size = (inspection.photo.height, inspection.photo.width)
    assert size == ((240, 320) if orientation < 5 else (320, 240))
    assert {image.shape for image in written(tmp_path, inspection).values()} == {size}


TURN = {
    1: lambda a: a,
    2: np.fliplr,
    3: lambda a: np.rot90(a, 2),
    4: np.flipud,
    5: np.transpose,
    6: lambda a: np.rot90(a, -1),
    7: lambda a: np.rot90(np.transpose(a), 2),
    8: np.rot90,
}


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turned_photos_states_are_turned_with_it(tmp_path: Path, orientation: int) -> None:
    data = photo_bytes(PLATE, exif=exif(orientation=orientation))
    states = written(tmp_path, inspect(from_bytes(data, "t.jpg", SETTINGS), model(), SETTINGS))["states"]
    assert (states == TURN[orientation](PLATE)).mean() > 0.99


def test_the_states_are_the_painted_ones_in_allowed_codes(tmp_path: Path) -> None:
    states = written(tmp_path, look(reduction=3))["states"]
    assert set(np.unique(states)) <= set(State)
    assert (states == np.kron(PLATE, np.ones((3, 3), np.uint8))).mean() > 0.99


def test_what_cannot_be_told_has_its_code(tmp_path: Path) -> None:
    one = model()
    unsure = inspect(photo(PLATE), replace(one, origin=replace(one.origin, sure=1.0)), SETTINGS)
    assert set(np.unique(written(tmp_path, unsure)["states"])) == {State.CANNOT_TELL}


def test_the_numbers_are_those_of_the_record(tmp_path: Path) -> None:
    path = two_spots(tmp_path / "two.jpg")
    inspection = inspect(from_bytes(path.read_bytes(), "two.jpg", SETTINGS), model(), SETTINGS)
    spots = written(tmp_path, inspection)["spots"]
    record = record_of(inspection)
    assert {int(number): int((spots == number).sum()) for number in np.unique(spots) if number} == {
        spot.number: spot.area_px for spot in record.spots
    }


def test_a_spot_holds_the_residue_and_pits_inside_its_outline() -> None:
    numbers = spot_numbers(look())
    assert (numbers[PLATE == State.PIT] == 1).all()
    assert (numbers[PLATE == State.OXIDE] == 1).all()


def test_a_photo_without_a_spot_has_an_empty_spot_map(tmp_path: Path) -> None:
    assert not written(tmp_path, look(np.full((240, 320), State.COATING, np.uint8)))["spots"].any()


def test_the_residue_map_is_the_probability_of_no_bright_metal(tmp_path: Path) -> None:
    sharp = SETTINGS.model_copy(update={"photo": SETTINGS.photo.model_copy(update={"smoothing_px": 0.0})})
    inspection = inspect(photo(PLATE), model(sure=0.8), sharp)
    residue = written(tmp_path, inspection)["residue"]
    assert np.unique(residue).tolist() == [round(255 * 0.2), round(255 * (1 - 0.2 / 6))]


def test_a_folder_is_made_and_nothing_else_is_left_in_it(tmp_path: Path) -> None:
    files = write_maps(tmp_path / "new" / "maps", look())
    assert sorted((tmp_path / "new" / "maps").iterdir()) == sorted(files)


def test_maps_replace_older_ones(tmp_path: Path) -> None:
    write_maps(tmp_path, look(np.full((240, 320), State.COATING, np.uint8)))
    assert written(tmp_path, look())["spots"].any()


def test_a_file_in_place_of_the_folder_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "maps").touch()
    with pytest.raises(CannotWrite, match="maps: cannot be written"):
        write_maps(tmp_path / "maps", look())
