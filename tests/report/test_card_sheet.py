"""The printed card: true size, crisp, and readable by the finder."""

from __future__ import annotations

import builtins
import shutil
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from prepcheck.errors import CannotWrite, WrongUse
from prepcheck.photo import card_design as design
from prepcheck.report.card_sheet import DPI, MARGIN, Paper, card_pdf, write_card

PAGES = {Paper.A4: (210.0, 297.0), Paper.LETTER: (215.9, 279.4)}


def marker_corners(grey: np.ndarray) -> dict[int, np.ndarray]:
    """Corners px by id, through OpenCV's own dictionary."""
    whole = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    knobs = cv2.aruco.DetectorParameters()
    knobs.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, ids, _ = cv2.aruco.ArucoDetector(whole, knobs).detectMarkers(grey)
    return {int(i): c.reshape(4, 2) for i, c in zip(np.ravel(ids), corners, strict=True)}


def checking_line_mm(grey: np.ndarray, dpi: float) -> float:
    """Length of the longest dark run that lies alone in its rows: the line between the marker rows."""
    corners = marker_corners(grey)
    y = round(float((corners[design.IDS[0]][3, 1] + corners[design.IDS[3]][0, 1]) / 2))
    left, right = corners[design.IDS[0]][0, 0], corners[design.IDS[1]][1, 0]
    row = grey[y, round(left) - 40 : round(right) + 40]
    dark = np.flatnonzero(row < 128)
    return float(dark[-1] - dark[0] + 1) / dpi * 25.4


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return write_card(tmp_path_factory.mktemp("card"), Paper.A4)


@pytest.fixture(scope="module")
def png(written: tuple[Path, Path]) -> np.ndarray:
    return cv2.imdecode(np.fromfile(written[1], np.uint8), cv2.IMREAD_GRAYSCALE)


def test_the_png_knows_its_dpi(written: tuple[Path, Path]) -> None:
    with Image.open(written[1]) as image:
        assert image.info["dpi"] == pytest.approx((DPI, DPI), abs=0.1)


def test_the_checking_line_of_the_png_is_100_mm(png: np.ndarray) -> None:
    assert checking_line_mm(png, DPI) == pytest.approx(100.0, abs=0.1)


def test_marker_corners_of_the_png_lie_where_the_design_says(png: np.ndarray) -> None:
    truth = design.marker_corners()
    for number, corners in marker_corners(png).items():
        assert (corners + 0.5) / DPI * 25.4 - MARGIN == pytest.approx(truth[number], abs=0.1)


def test_marker_modules_of_the_png_are_black_or_white(png: np.ndarray) -> None:
    x, y = (round((v + MARGIN) * DPI / 25.4) for v in design.CORNERS[0])
    side = round(design.MARKER * DPI / 25.4)
    marker = png[y + 3 : y + side - 3, x + 3 : x + side - 3]
    assert np.mean((marker == 0) | (marker == 255)) > 0.97


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="no PDF rasteriser here")
@pytest.mark.parametrize("paper", list(Paper))
def test_the_pdf_prints_the_card_in_true_size(paper: Paper, tmp_path: Path) -> None:
    pdf = tmp_path / "card.pdf"
    pdf.write_bytes(card_pdf(paper))
    subprocess.run(["pdftoppm", "-r", "300", "-gray", str(pdf), str(tmp_path / "page")], check=True)
    page = cv2.imdecode(np.fromfile(next(tmp_path.glob("page*.pgm")), np.uint8), cv2.IMREAD_GRAYSCALE)
    assert np.array(page.shape[::-1]) / 300 * 25.4 == pytest.approx(PAGES[paper], abs=0.2)
    assert checking_line_mm(page, 300) == pytest.approx(100.0, abs=0.2)
    corners = marker_corners(page)
    assert sorted(corners) == sorted(design.IDS)
    wide = np.linalg.norm(corners[design.IDS[1]][1] - corners[design.IDS[0]][0]) / 300 * 25.4
    assert wide == pytest.approx(100.0, abs=0.15)


def test_the_pdf_asks_the_viewer_not_to_scale_it() -> None:
    assert b"/PrintScaling /None" in card_pdf(Paper.A4)


def test_the_pdf_holds_no_picture() -> None:
    assert b"/Subtype /Image" not in card_pdf(Paper.A4)


def test_without_the_optional_part_one_line_helps(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    real = builtins.__import__

    def without_fpdf(name: str, *rest: object) -> object:
        if name.startswith("fpdf"):
            raise ImportError(name)
        return real(name, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(builtins, "__import__", without_fpdf)
    with pytest.raises(WrongUse, match=r"optional part 'report'.*scale_card\.png"):
        write_card(tmp_path, Paper.A4)
    assert (tmp_path / "scale_card.png").exists()


def test_a_file_in_place_of_the_folder_is_one_clear_line(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("")
    with pytest.raises(CannotWrite, match="cannot be written"):
        write_card(tmp_path / "taken", Paper.A4)
