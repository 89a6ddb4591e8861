"""Measuring how photos of one place are laid on each other."""

import cv2
import numpy as np
import pytest

from prepcheck.evaluate.cameras import read_groups, shaken, true_align
from prepcheck.evaluate.registration import Laid, errors, lay_groups, lay_wrong_pairs, main, summary
from prepcheck.photo.align import Alignment, NotAligned
from tests.evaluate.known_views import write

STAYS = (300, 240, 20)


@pytest.fixture
def folder(tmp_path):
    write(tmp_path, "s1_a", "s1", 1, [STAYS], card="kept")
    write(tmp_path, "s1_b", "s1", 2, [STAYS], shift=(12, -7), card="kept")
    write(tmp_path, "s2_a", "s2", 1, [STAYS])
    write(tmp_path, "s2_b", "s2", 2, [STAYS], shift=(-5, 3))
    return tmp_path


def pair(folder):
    (_, (first, last)), _ = read_groups(folder)
    return last, first


def moved(x, y):
    return np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]])


def test_the_error_is_the_shift_in_mm_and_in_pixels_at_1280(folder):
    last, first = pair(folder)
    assert errors(moved(3, 4) @ true_align(last, first).matrix, last, first) == pytest.approx((5 * 0.2, 5 * 1280 / 640))
    assert errors(true_align(last, first).matrix, last, first) == pytest.approx((0, 0), abs=1e-9)


def test_a_shaken_alignment_is_off_by_what_it_says(folder):
    last, first = pair(folder)
    known = shaken(4.0)(last, first)
    assert known.error_px == 4.0
    assert errors(known.matrix, last, first)[1] == pytest.approx(4.0)


def test_every_earlier_pass_is_laid_on_the_last_one(folder):
    write(folder, "s1_c", "s1", 3, [STAYS], card="kept")
    seen = []
    list(
        lay_groups(
            folder, lambda base, other: seen.append((base.path.stem, other.path.stem)) or true_align(base, other)
        )
    )
    assert seen == [("s1_c", "s1_b"), ("s1_c", "s1_a"), ("s2_b", "s2_a")]


def test_the_photos_of_a_set_are_laid_on_the_first(tmp_path):
    for name in "abc":
        write(tmp_path, name, "s1", None, [STAYS])
    assert [one.name for one in lay_groups(tmp_path, true_align)] == ["b", "c"]


def test_a_refused_pair_is_not_laid_and_not_wrong(folder):
    laid = list(lay_groups(folder, lambda base, other: NotAligned("too little in common")))
    assert [(one.refused, one.wrong, one.how) for one in laid] == [(True, False, "too little in common")] * 2


def test_less_is_borne_with_a_card_in_view(folder):
    def off(base, other):
        return Alignment(moved(7.5, 0) @ true_align(base, other).matrix, 0.5, 20, "features")

    with_card, without = lay_groups(folder, off)
    assert with_card.error_mm == pytest.approx(without.error_mm) == pytest.approx(1.5)
    assert (with_card.wrong, without.wrong) == (True, False)


def test_photos_of_different_groups_are_wrong_pairs(folder):
    refused = dict(lay_wrong_pairs(folder, lambda base, other: NotAligned("no")))
    assert refused == {"s2_b on s1_b": True}
    assert dict(lay_wrong_pairs(folder, lambda base, other: Alignment(np.eye(3)))) == {"s2_b on s1_b": False}


def test_refused_pairs_count_in_the_shares_and_not_in_the_errors():
    laid = [
        Laid("s1", "a", False, 3.0, 1.0, 0.5),
        Laid("s1", "b", False, 0.1, 1.0, 0.5),
        Laid("s2", "a", False),
        Laid("s3", "a", False),
    ]
    said = summary(laid, 2.0)
    assert "4 pairs of 3 groups; at most 2 mm" in said
    assert f"{'laid':30} 0.500" in said
    assert f"{'laid, but more than that off':30} 0.250" in said
    assert "error in mm: median 1.55, 90 % within 2.71, most 3.00" in said


def test_nothing_laid_is_said(folder):
    assert "none was laid" in summary([Laid("s1", "a", False)], 2.0)


def test_the_figures_are_printed(folder, capsys):
    rng = np.random.default_rng(3)
    (folder / "images").mkdir()
    for name in ("s1_a", "s1_b", "s2_a", "s2_b"):
        cv2.imwrite(str(folder / f"images/{name}.png"), rng.integers(0, 255, (480, 640, 3), np.uint8))
    assert main([str(folder), "--each"]) == 0
    said = capsys.readouterr().out
    assert "s1_a with a card: " in said
    assert "different parts: 1 of 1 pairs refused" in said
