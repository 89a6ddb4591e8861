"""Photographs laid out from clones."""

import csv
import subprocess

import cv2
import numpy as np
import pytest

from prepcheck.train.lay_out import LONGEST, lay_out


@pytest.fixture
def clone(tmp_path):
    """A clone with one photo; gives the photo's hash."""
    folder = tmp_path / "clones" / "shed+pages"
    folder.mkdir(parents=True)
    cv2.imwrite(str(folder / "a.jpg"), np.full((600, 1200, 3), 90, np.uint8))
    git = ["git", "-C", str(folder), "-c", "user.name=shed", "-c", "user.email=shed@invalid"]
    subprocess.run([*git, "init", "-q"], check=True)
    made = subprocess.run([*git, "hash-object", "-w", "a.jpg"], check=True, capture_output=True, text=True)
    return made.stdout.strip()


def sources(path, blob):
    with path.open("w", newline="") as file:
        table = csv.writer(file)
        table.writerows([("file", "repo", "blob"), ("there.jpg", "shed/pages", blob), ("gone.jpg", "shed/lost", blob)])
    return path


def test_what_a_clone_holds_is_written_scaled_down(tmp_path, clone):
    made, _ = lay_out(sources(tmp_path / "s.csv", clone), tmp_path / "clones", tmp_path / "out")
    assert made == 1
    assert cv2.imread(str(tmp_path / "out/there.jpg")).shape == (LONGEST // 2, LONGEST, 3)


def test_what_no_clone_holds_is_named(tmp_path, clone):
    assert lay_out(sources(tmp_path / "s.csv", clone), tmp_path / "clones", tmp_path / "out")[1] == ["gone.jpg"]
