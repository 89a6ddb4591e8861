"""Photographs laid out from clones."""

import csv
import subprocess

import cv2
import numpy as np
import pytest

from prepcheck.train.lay_out import LONGEST, lay_out


def cloned(folder, *options):
    """Make a clone with one photo; gives the photo's hash."""
    folder.mkdir(parents=True)
    photo = folder / "a.jpg"
    cv2.imwrite(str(photo), np.full((600, 1200, 3), 90, np.uint8))
    git = ["git", "-C", str(folder)]
    subprocess.run([*git, "init", "-q", *options], check=True)
    made = subprocess.run([*git, "hash-object", "-w", str(photo)], check=True, capture_output=True, text=True)
    photo.unlink()
    return made.stdout.strip()


@pytest.fixture
def clone(tmp_path):
    return cloned(tmp_path / "clones" / "shed+pages")


def sources(path, blob):
    with path.open("w", newline="") as file:
        table = csv.writer(file)
        table.writerows([("file", "repo", "blob"), ("there.jpg", "shed/pages", blob), ("gone.jpg", "shed/lost", blob)])
    return path


def test_what_a_clone_holds_is_written_scaled_down(tmp_path, clone):
    made, _ = lay_out(sources(tmp_path / "s.csv", clone), tmp_path / "clones", tmp_path / "out")
    assert made == 1
    assert cv2.imread(str(tmp_path / "out/there.jpg")).shape == (LONGEST // 2, LONGEST, 3)


@pytest.mark.parametrize("place", ["shed+pages", "shed/pages", "shed+pages/repo"])
@pytest.mark.parametrize("options", [(), ("--bare",)], ids=["plain", "bare"])
def test_a_clone_is_found_wherever_it_may_lie(tmp_path, place, options):
    blob = cloned(tmp_path / "clones" / place, *options)
    assert lay_out(sources(tmp_path / "s.csv", blob), tmp_path / "clones", tmp_path / "out")[0] == 1


def test_what_no_clone_holds_is_named(tmp_path, clone):
    assert lay_out(sources(tmp_path / "s.csv", clone), tmp_path / "clones", tmp_path / "out")[1] == ["gone.jpg"]
