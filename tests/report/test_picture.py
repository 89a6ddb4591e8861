"""The whole picture."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import cv2
import numpy as np
import pytest

from prepcheck.errors import CannotWrite, WrongUse
from prepcheck.record import PersonRecord, Record
from prepcheck.report.panels import legend, next_step, scale_bar, scale_strip, set_line, standing_band
from prepcheck.report.picture import draw_picture, write_picture
from prepcheck.report.view import INK, View
from prepcheck.terms import Standing, State
from tests.report.made import grey, patch_at, record_of, retake, ring, set_of, spot_of, twenty

UNIT = 1280 / 390


def dirty(**changes: object) -> Record:
    spot = spot_of(1, ring(500, 450, 200), Standing.RESIDUE_LEFT, largest_patch=patch_at(520, 470))
    return record_of([spot], Standing.RESIDUE_LEFT, **changes)  # type: ignore[arg-type]


def longest_run(row: np.ndarray) -> int:
    """Longest run of set pixels."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
    return int(max(edges[1::2] - edges[::2], default=0))


def bar_of(strip: np.ndarray) -> int:
    return max(longest_run(np.all(row == INK, axis=1)) for row in strip)


def holds(picture: np.ndarray, part: np.ndarray) -> bool:
    """Say whether `part`, of the same width, is a stretch of rows of `picture`."""
    starts = range(picture.shape[0] - part.shape[0] + 1)
    return any(np.array_equal(picture[y : y + len(part)], part) for y in starts if np.array_equal(picture[y], part[0]))


def test_the_picture_of_a_set_says_on_how_many_photos_it_rests_in_one_line() -> None:
    line = set_line(set_of(dirty(), enough=False), 1280, UNIT)
    assert line is not None
    assert holds(draw_picture(set_of(dirty(), enough=False), grey(), None), line)
    assert len(line) == len(scale_strip_without_scale())


def scale_strip_without_scale() -> np.ndarray:
    """A strip of one line."""
    return scale_strip(dirty(mm_per_px=None), View(0, 0, 1280, 960, (1.0, 1.0), UNIT), 1280)


def test_the_picture_of_one_photo_has_no_such_line() -> None:
    assert set_line(dirty(), 1280, UNIT) is None


@pytest.mark.parametrize("mm_per_px", [0.003, 0.021, 0.1, 0.47, 3.3])
@pytest.mark.parametrize("reduction", [1.0, 3.15])
def test_the_scale_bar_is_as_long_as_it_says(mm_per_px: float, reduction: float) -> None:
    size = (round(1280 * reduction), round(960 * reduction))
    view = View(0, 0, 1280, 960, (1280 / size[0], 960 / size[1]), UNIT)
    length, _ = scale_bar(mm_per_px / view.scale[0], 0.4 * 1280)
    ends = view.place([(100.0, 100.0), (100.0 + length / mm_per_px, 100.0)])  # by the photo's own pixels
    strip = scale_strip(dirty(size=size, mm_per_px=mm_per_px), view, 1280)
    assert bar_of(strip) == pytest.approx(ends[1, 0] - ends[0, 0], abs=1.5)


@pytest.mark.parametrize("most_mm", [0.02, 0.9, 1.0, 4.99, 5.0, 77.0, 1000.0])
def test_the_scale_bar_has_a_round_length_that_fills_two_fifths_of_its_room(most_mm: float) -> None:
    length, pixels = scale_bar(most_mm / 500, 500)
    assert f"{length:.0e}"[0] in "125"
    assert 0.39 * 500 < pixels <= 500


def test_without_scale_there_is_no_bar() -> None:
    assert (
        bar_of(scale_strip(dirty(mm_per_px=None), View(0, 0, 1280, 960, (1, 1), UNIT), 1280)) < 40
    )  # strokes of letters only


def test_nothing_covers_a_photo_to_retake() -> None:
    photo = np.random.default_rng(3).integers(0, 256, (96, 128, 3), np.uint8).repeat(10, 0).repeat(10, 1)
    assert holds(draw_picture(retake(), photo, None), photo)


def test_a_photo_to_retake_says_what_its_flag_asks_for() -> None:
    other = retake().model_copy(update={"flags": []})
    assert not np.array_equal(next_step(retake(), 1280, UNIT), next_step(other, 1280, UNIT))


def test_panels_leave_the_photo_whole() -> None:
    photo = grey()
    drawn = draw_picture(dirty(), photo, None, job_line="job 7", when="today")
    assert np.sum(np.all(drawn == 150, axis=2)) > 0.9 * 960 * 1280


def test_score_and_interval_come_from_the_record_only() -> None:
    bands = [standing_band(dirty(share=share), 1280, UNIT) for share in (0.71, 0.72)]
    assert not np.array_equal(bands[0], bands[1])


def test_a_persons_answer_stands_below_the_tools_own() -> None:
    person = PersonRecord(standing=Standing.CANNOT_TELL, bright_share=0.9, interval=(0.8, 1.0))
    drawn = draw_picture(dirty(by_person=person), grey(), None)
    assert holds(drawn, standing_band(dirty(), 1280, UNIT))
    assert drawn.shape[0] > draw_picture(dirty(), grey(), None).shape[0]


@pytest.mark.parametrize(("one", "other"), list(combinations(Standing, 2)))
def test_standings_differ_in_grey(one: Standing, other: Standing) -> None:
    bands = []
    for standing in (one, other):
        band = standing_band(record_of([], standing), 1280, UNIT)
        bands.append(cv2.cvtColor(cv2.resize(band, (390, 100), interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY))
    assert np.mean(np.abs(bands[0].astype(int) - bands[1]) > 40) > 0.05


def test_the_legend_grows_with_the_hatches_used() -> None:
    two = legend({State.OXIDE, State.PIT}, False, 1280, UNIT)
    five = legend(set(State) - {State.BACKGROUND, State.BRIGHT}, True, 1280, UNIT)
    assert two is not None
    assert five is not None
    assert five.shape[0] > two.shape[0]


def test_nothing_hatched_needs_no_legend() -> None:
    assert legend(set(), False, 1280, UNIT) is None


@pytest.mark.parametrize("field", ["job_line", "when"])
def test_job_line_and_date_are_shown(field: str) -> None:
    texts: dict[str, str | None] = {"job_line": None, "when": None}
    pictures = [draw_picture(dirty(), grey(), None, **{**texts, field: text}) for text in ("A", "B")]  # type: ignore[arg-type]
    assert not np.array_equal(pictures[0], pictures[1])


@pytest.mark.parametrize("size", [(64, 48), (1, 1), (200, 4000), (4000, 100), (1280, 960), (2560, 1920)])
def test_a_photo_of_any_size_gives_a_picture_for_a_phone(size: tuple[int, int]) -> None:
    width, height = size
    spot = spot_of(1, ring(width / 2, height / 2, min(size) / 3), Standing.RESIDUE_LEFT)
    spot = spot.model_copy(update={"largest_patch": patch_at(width / 2, height / 2, mm=None, px=min(size) / 4)})
    record = record_of([spot], Standing.RESIDUE_LEFT, size=size, mm_per_px=None)
    drawn = draw_picture(record, grey(*size), np.full((9, 12), State.OXIDE, np.uint8))
    assert 780 <= drawn.shape[1] <= 1280
    assert drawn.shape[0] < 3000


def test_twenty_spots_fit_on_a_picture() -> None:
    assert draw_picture(twenty(), grey(), None).shape[0] < 4000


@pytest.mark.parametrize(
    "name", ["[b]x[/b].jpg", "a\nb\x1b[2J.jpg", "Søren ś Привет 漢字.jpg", "\udc80.jpg", "x" * 3000, ""]
)
def test_no_name_breaks_the_picture(name: str) -> None:
    assert draw_picture(dirty(name=name), grey(), None, job_line=name, when=name).shape[1] == 1280


def test_the_arrays_given_are_left_alone() -> None:
    photo, states = grey(), np.full((96, 128), State.OXIDE, np.uint8)
    draw_picture(dirty(), photo, states)
    assert np.all(photo == 150)
    assert np.all(states == State.OXIDE)


def test_the_same_record_gives_the_same_picture() -> None:
    assert np.array_equal(draw_picture(dirty(), grey(), None), draw_picture(dirty(), grey(), None))


@pytest.mark.parametrize(
    ("photo", "states"),
    [
        (np.zeros((9, 9), np.uint8), None),
        (np.zeros((9, 9, 3)), None),
        (np.zeros((0, 9, 3), np.uint8), None),
        (grey(), np.zeros((9, 9, 1), np.uint8)),
        (grey(), np.zeros((9, 9), np.int64)),
    ],
)
def test_arrays_of_another_kind_are_refused(photo: np.ndarray, states: np.ndarray | None) -> None:
    with pytest.raises(WrongUse, match="cannot be drawn"):
        draw_picture(dirty(), photo, states)


def test_a_png_holds_the_picture_to_the_pixel(tmp_path: Path) -> None:
    drawn = draw_picture(dirty(), grey(), None)
    write_picture(tmp_path / "a.PNG", drawn)
    assert np.array_equal(cv2.imread(str(tmp_path / "a.PNG"))[..., ::-1], drawn)


def test_a_jpeg_holds_the_picture_nearly(tmp_path: Path) -> None:
    drawn = draw_picture(dirty(), grey(), None)
    write_picture(tmp_path / "a.jpg", drawn)
    assert np.mean(np.abs(cv2.imread(str(tmp_path / "a.jpg"))[..., ::-1].astype(int) - drawn)) < 2


def test_nothing_but_the_picture_is_left_in_the_folder(tmp_path: Path) -> None:
    write_picture(tmp_path / "a.jpg", grey())
    assert [path.name for path in tmp_path.iterdir()] == ["a.jpg"]


@pytest.mark.parametrize("name", ["a.gif", "a", "a.pdf", ".png"])
def test_another_suffix_is_refused_in_words(tmp_path: Path, name: str) -> None:
    with pytest.raises(WrongUse, match=r"written as PNG or JPEG\. Give a name that ends in \.png or \.jpg"):
        write_picture(tmp_path / name, grey())


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(CannotWrite):
        write_picture(tmp_path / "file" / "a.png", grey())
