"""The places of an apprentice's largest patches, cut out of their own photos."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from prepcheck.errors import UnknownRecord
from prepcheck.record import PersonRecord
from prepcheck.report.feedback_pictures import HEIGHT_PX, WIDTH_PX, pictures_of, worst_first
from prepcheck.report.hatch import HATCHES
from prepcheck.report.job.content import Picture
from prepcheck.terms import Standing, State
from prepcheck.trade.units import System
from tests import painted
from tests.report.apprentice import left, photo, states

NAMES = ("rim", "middle", "large")


def drawn(picture: Picture) -> NDArray[np.int16]:
    return np.asarray(Image.open(io.BytesIO(picture.jpeg)), np.int16)


def near(raster: NDArray[np.int16], colour: tuple[int, int, int], reach: int = 40) -> NDArray[np.bool_]:
    return np.asarray(np.abs(raster - np.array(colour)).max(axis=2) < reach)


def one(name: str, hatched: bool = False) -> Picture:
    (picture,) = pictures_of([left(name, 1)], photo, states if hatched else lambda record: None, System.METRIC)
    return picture


def test_the_largest_share_of_a_spot_comes_first() -> None:
    found = worst_first([left(name, number) for number, name in enumerate(NAMES, start=1)])
    assert [one.shot.number for one in found] == [3, 2, 1]


def test_a_photo_that_was_logged_twice_is_shown_once() -> None:
    assert [one.shot.number for one in worst_first([left("rim", 1), left("rim", 2)])] == [2]


def test_a_spot_without_a_patch_has_no_picture() -> None:
    plain = left("rim", 1)
    assert worst_first([replace(plain, miss=replace(plain.miss, share=0.0))]) == []


@pytest.mark.parametrize("most", [0, 1, 3, 5])
def test_so_many_pictures_at_most_are_drawn(most: int) -> None:
    made = [left(name, number) for number, name in enumerate(NAMES, start=1)]
    found = pictures_of(made, photo, lambda record: None, System.METRIC, most)
    assert len(found) == min(most, 3)


@pytest.mark.parametrize("name", NAMES)
def test_all_pictures_are_of_one_size(name: str) -> None:
    assert drawn(one(name)).shape == (HEIGHT_PX, WIDTH_PX, 3)


@pytest.mark.parametrize("name", NAMES)
def test_the_patch_itself_is_in_the_picture(name: str) -> None:
    colours = {"rim": State.OXIDE, "middle": State.PIT, "large": State.FOREIGN}
    assert near(drawn(one(name)), painted.COLOURS[colours[name]], 25).mean() > 0.01


def test_hatches_cover_the_patch_and_nothing_outside_the_spot() -> None:
    plain, hatched = drawn(one("large")), drawn(one("large", hatched=True))
    ink = near(hatched, HATCHES[State.FOREIGN].ink) & ~near(plain, HATCHES[State.FOREIGN].ink)
    assert ink.sum() > 300
    assert (near(hatched, HATCHES[State.COATING].ink) & ~near(plain, HATCHES[State.COATING].ink)).sum() < 30


def test_the_caption_names_job_spot_day_state_and_place() -> None:
    assert one("rim").caption == "J-0001, spot 1, 2026-09-02: oxide, no scale, at the rim"


def test_the_words_instead_of_the_picture_say_the_same() -> None:
    assert one("rim").caption in one("rim").alt


def test_the_length_is_told_in_the_units_asked_for() -> None:
    made = left("middle", 1)
    spot = made.record.spots[0]
    assert spot.largest_patch is not None
    patch = spot.largest_patch.model_copy(update={"length_mm": 25.4})
    record = made.record.model_copy(update={"spots": [spot.model_copy(update={"largest_patch": patch})]})
    (told,) = pictures_of([replace(made, text=record.model_dump_json())], photo, lambda record: None, System.US)
    assert "1.00 in" in told.caption


def test_the_side_of_the_joint_line_is_told_where_one_was_drawn() -> None:
    made = left("middle", 1)
    (told,) = pictures_of(
        [replace(made, miss=replace(made.miss, side="left"))], photo, lambda record: None, System.METRIC
    )
    assert told.caption.endswith("its left side")


def test_a_photo_that_was_erased_is_passed_over() -> None:
    def gone(sha256: str) -> bytes:
        raise UnknownRecord("no such photo in the archive", "Check the store", sha256)

    assert pictures_of([left("rim", 1)], gone, lambda record: None, System.METRIC) == []


def test_bytes_that_are_no_photo_are_passed_over() -> None:
    assert pictures_of([left("rim", 1)], lambda sha256: b"no photo", lambda record: None, System.METRIC) == []


def test_an_outline_that_a_person_drew_is_shown_in_its_place() -> None:
    made = left("rim", 1)
    own = made.record.spots[0].model_copy(update={"outlined_by": "person"})
    person = PersonRecord(spots=[own], standing=Standing.RESIDUE_LEFT, bright_share=0.9, interval=(0.8, 0.95))
    record = made.record.model_copy(update={"by_person": person})
    (told,) = pictures_of([replace(made, text=record.model_dump_json())], photo, lambda record: None, System.METRIC)
    assert told.jpeg != one("rim").jpeg
