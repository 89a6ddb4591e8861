"""The measures a second way: from the written maps alone, pixel by pixel, as anybody outside would take them."""

import cv2
import numpy as np
import pytest

from prepcheck.evaluate.folder import judge_folder
from prepcheck.evaluate.measures import MEASURES
from prepcheck.inspection import inspect
from prepcheck.photo import read
from prepcheck.report.maps import write_maps
from prepcheck.settings import Settings
from prepcheck.terms import State
from tests import painted
from tests.evaluate.test_folder import labelled

MM2_PER_PX = 0.25**2
SHOWN = painted.plate((State.OXIDE, 260, 200, 40), (State.FOREIGN, 380, 280, 20), (State.OXIDE, 330, 330, 12))
TRUTH = painted.plate((State.OXIDE, 275, 200, 40), (State.PIT, 380, 280, 15), (State.OXIDE, 240, 300, 10))


def planes(folder):
    """Photo, truth, ground area and the three written maps."""
    photo = read(folder / "images" / "a.jpg", Settings())
    maps = write_maps(folder / "maps", inspect(photo, painted.model(sure=0.9), Settings()))
    files = [folder / "states" / "a.png", folder / "ground" / "a.png", *maps]
    return cv2.imread(str(folder / "images" / "a.jpg")), *(
        cv2.imread(str(file), cv2.IMREAD_GRAYSCALE) for file in files
    )


def by_patch(mask, hit):
    """The share of each patch of at least 3 mm2 that is hit, by flood fill from each pixel."""
    left, shares = {(int(y), int(x)) for y, x in np.argwhere(mask)}, []
    while left:
        patch, open_ends = [], [left.pop()]
        while open_ends:
            y, x = open_ends.pop()
            patch.append((y, x))
            near = {(y + dy, x + dx) for dy in (-1, 0, 1) for dx in (-1, 0, 1)} & left
            left -= near
            open_ends += near
        if len(patch) * MM2_PER_PX >= 3:
            shares.append(np.mean([hit[place] for place in patch]))
    return np.array(shares)


def test_every_measure_agrees_with_the_one_taken_from_the_written_maps(tmp_path):
    folder = labelled(tmp_path, a=SHOWN)
    cv2.imwrite(str(folder / "states" / "a.png"), TRUTH)
    photo, truth, ground, states, spots, residue = planes(folder)
    seen = (ground > 0) & ~(photo >= 250).all(axis=2) & (truth != 255)
    told, called = seen & (states != 255), np.isin(states, (2, 3, 4, 5))
    bright, oxide = truth == 1, truth == 2
    shares = [np.mean(codes[where & (codes > 0)] == 1) for codes, where in ((states, told), (truth, seen))]
    said = residue[seen] / 255
    bins, off = np.minimum((15 * said).astype(int), 14), said - (truth[seen] != 1)
    expected = {
        "balanced accuracy": (np.mean(states[told & bright] == 1) + np.mean(called[told & oxide])) / 2,
        "coverage": np.sum(told & (bright | oxide)) / np.sum(seen & (bright | oxide)),
        "patch recall": np.mean(by_patch(seen & oxide, called) >= 0.25),
        "false patches a photo": np.sum(by_patch(seen & called, np.isin(truth, (2, 3, 4, 5))) < 0.5),
        "false area": np.mean(called[seen & bright]),
        "spot IoU": np.sum((spots > 0) & (ground > 0)) / np.sum((spots > 0) | (ground > 0)),
        "bright-share error": abs(shares[0] - shares[1]),
        "calibration error": sum(abs(off[bins == k].sum()) for k in range(15)) / off.size,
    }
    (judged,) = judge_folder(folder, painted.model(sure=0.9), Settings())
    got = {name: float(MEASURES[name](judged.tally)) for name in expected}
    assert got == pytest.approx(expected, abs=2e-3)  # the residue map has 8 bits
    assert 0 < got["patch recall"] < 1
    assert got["false patches a photo"] > 0
