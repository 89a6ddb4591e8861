"""Measuring moved-light sets: groups, subsets, and what is compared at equal coverage or equal error."""

import json

import cv2
import numpy as np
import pytest

from prepcheck.evaluate.measures import FINE, Tally
from prepcheck.evaluate.sets import FIRST, SINGLE, error_at, judge_sets, read_sets, subsets, untold_at
from prepcheck.settings import Settings
from prepcheck.surface.model import Model
from prepcheck.surface.surface_map import ModelOrigin
from prepcheck.terms import State

SETTINGS = Settings()


class LightNet:
    """Stands in for a net: what is lighter than the middle is bright metal, the rest oxide; all of it is ground."""

    def setInput(self, blob):  # noqa: N802
        self.blob = blob

    def forward(self):
        light = (self.blob[0].mean(axis=0) > 0.5)[::2, ::2].astype(np.float32)
        maps = np.full((1, 8, *light.shape), 0.02, np.float32)
        maps[0, 1], maps[0, 2], maps[0, 7] = 0.05 + 0.85 * light, 0.9 - 0.85 * light, 1.0
        return maps


MODEL = Model(ModelOrigin("light", "0" * 64, 0.5, 1.0, 0.01), LightNet())


def write(folder, name, grey, group, **meta):
    """A photo whose left half is bright metal and whose right half is oxide; `grey` gives both halves' level."""
    for part in ("images", "states", "ground", "meta"):
        (folder / part).mkdir(exist_ok=True)
    halves = np.repeat(np.array(grey, np.uint8)[None], 96, axis=0).repeat(64, axis=1)
    truth = np.repeat(np.array([State.BRIGHT, State.OXIDE], np.uint8)[None], 96, axis=0).repeat(64, axis=1)
    cv2.imwrite(str(folder / f"images/{name}.png"), halves)
    cv2.imwrite(str(folder / f"states/{name}.png"), truth)
    cv2.imwrite(str(folder / f"ground/{name}.png"), np.full_like(truth, 255))
    (folder / f"meta/{name}.json").write_text(json.dumps({"group": group, "mm_per_px": 0.5, **meta}))


def test_photos_of_a_group_are_one_set_and_a_lone_photo_is_none(tmp_path):
    for name, group in (("s1_a", "s1"), ("s1_b", "s1"), ("s2_a", "s2"), ("s3_a", "s3"), ("s3_b", "s3")):
        write(tmp_path, name, (200, 50), group)
    assert [(group, len(views)) for group, views in read_sets(tmp_path, MODEL, SETTINGS)] == [("s1", 2), ("s3", 2)]


def test_the_true_homography_is_read_and_is_none_by_default(tmp_path):
    shift = [[1, 0, 5], [0, 1, 0], [0, 0, 1]]
    write(tmp_path, "a", (200, 50), "s")
    write(tmp_path, "b", (200, 50), "s", to_first=shift)
    ((_, views),) = read_sets(tmp_path, MODEL, SETTINGS)
    assert views[0].to_first.tolist() == np.eye(3).tolist()
    assert views[1].to_first.tolist() == shift


def test_every_subset_holds_the_first_photo():
    assert [(name, some) for name, some in subsets(["a", "b", "c"])] == [
        ("two photos", ["a", "b"]),
        ("two photos", ["a", "c"]),
        ("three photos", ["a", "b", "c"]),
    ]


def test_ways_are_tallied_by_group(tmp_path):
    write(tmp_path, "a", (200, 50), "s")
    write(tmp_path, "b", (50, 50), "s")
    tallies = judge_sets(tmp_path, MODEL, SETTINGS, {"mean": None})
    assert {way: len(groups) for way, groups in tallies.items()} == {FIRST: 1, SINGLE: 1, "two photos, mean": 1}
    assert tallies[SINGLE][0].photos == 2
    assert error_at(1.0)(tallies[FIRST][0]) == 0
    assert error_at(1.0)(tallies[SINGLE][0]) == pytest.approx(0.25, abs=0.01)


def test_a_set_that_does_not_align_is_left_out_of_the_fused_ways(tmp_path):
    write(tmp_path, "a", (200, 50), "s")
    write(tmp_path, "b", (50, 50), "s")
    tallies = judge_sets(tmp_path, MODEL, SETTINGS, {"mean": None}, lambda first, other: None)
    assert set(tallies) == {FIRST, SINGLE}


def sure_half_right():
    """100 sure places of each kind told rightly, 100 of each at random: half right."""
    chance = np.zeros((3, FINE))
    chance[0, 0], chance[1, -1] = 100, 100
    chance[0, [FINE // 2 - 1, FINE // 2]] = 50
    chance[1, [FINE // 2 - 1, FINE // 2]] = 50
    return Tally(chance=chance)


def test_error_falls_when_only_the_surest_are_told():
    assert error_at(1.0)(sure_half_right()) == pytest.approx(0.25)
    assert error_at(0.5)(sure_half_right()) == 0


def test_untold_is_the_least_share_left_out_for_an_error():
    assert untold_at(0.0)(sure_half_right()) == pytest.approx(0.5)
    assert untold_at(0.25)(sure_half_right()) == 0


def test_measures_work_on_many_drawn_tallies_at_once():
    one = sure_half_right()
    drawn = Tally(chance=np.stack([one.chance, 2 * one.chance]))
    assert error_at(1.0)(drawn).tolist() == pytest.approx([0.25, 0.25])
