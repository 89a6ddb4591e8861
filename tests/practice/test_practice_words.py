from __future__ import annotations

import json

import numpy as np
import pytest

from prepcheck.inspection import inspect
from prepcheck.photo import Photo
from prepcheck.practice import differ
from prepcheck.practice.own_error import own_error
from prepcheck.practice.words import area_rows, ground_words, patch_lines, patch_words, unfit_words
from prepcheck.resources import folder
from prepcheck.terms import State
from tests import painted
from tests.practice.scenes import SETTINGS, SHAPE, answer, area, inspected, mark, photo, surface

PLAIN = surface(np.ones(SHAPE, np.uint8))


def beside(marked, residue, scale=None, **more):
    return differ(mark(marked), answer(residue, **more), photo(mm_per_px=scale), PLAIN)


def test_areas_are_told_as_share_and_in_square_millimetres():
    """20 x 20 of 60 x 80 pixels are 8.3 %; at 0.5 mm a pixel they are 100 mm2."""
    rows = dict(area_rows(beside(area(0, 0, 20, 20), area(0, 0, 20, 40), scale=0.5)))
    assert rows["Residue for both"] == "8.3 % of the ground area, 100 mm2"
    assert rows["Only for the tool"] == "8.3 % of the ground area, 100 mm2"
    assert rows["Only for you"] == "0.0 % of the ground area, 0.0 mm2"


def test_without_scale_areas_are_shares_alone():
    rows = dict(area_rows(beside(area(0, 0, 20, 20), area(0, 0, 20, 20))))
    assert rows["Residue for both"] == "8.3 % of the ground area"


def test_what_was_marked_outside_is_told_only_when_there_is_some():
    inside, outside = (
        dict(area_rows(beside(area(*place, 5, 5), area(30, 30, 5, 5), scale=1.0, ground=area(20, 20, 30, 30))))
        for place in ((30, 30), (0, 0))
    )
    assert "Marked outside the ground area" not in inside
    assert outside["Marked outside the ground area"] == "25 mm2"


def test_patches_are_counted_in_words():
    d = beside(area(0, 0, 20, 20), area(0, 0, 20, 5) | area(40, 40, 9, 9))
    assert patch_lines(d) == [
        "You found 1 of 2 patches of the tool (at least a quarter of each marked).",
        "1 of your 1 patches lie mostly where the tool shows no residue.",
    ]


def test_with_nothing_marked_no_patch_of_it_is_told():
    assert len(patch_lines(beside(area(0, 0, 0, 0), area(0, 0, 9, 9)))) == 1


def test_a_patch_says_whose_it_is_and_how_much_of_it_the_other_saw():
    d = beside(area(0, 0, 20, 20), area(0, 0, 20, 5) | area(40, 40, 9, 9), scale=0.5)
    words = [patch_words(d, patch) for patch in d.patches]
    assert words == [
        "100 mm2: you marked it; 25 % of it is residue for the tool",
        "25 mm2: residue for the tool; you marked 100 % of it",
        "20 mm2: residue for the tool; you marked none of it",
    ]


def test_a_photo_without_ground_area_says_so():
    nothing = area(0, 0, 0, 0)
    d = beside(area(0, 0, 5, 5), nothing, ground=nothing)
    assert ground_words(d).startswith("No ground area is known")
    assert dict(area_rows(d))["Only for you"].startswith("0.0 %")


@pytest.mark.parametrize(("scale", "least"), [(0.5, "3 mm2"), (None, "0.1 % of the ground area")])
def test_the_least_patch_is_named(scale, least):
    assert f"at least {least} " in ground_words(beside(area(0, 0, 9, 9), area(0, 0, 9, 9), scale=scale))


def test_a_photo_that_is_fit_needs_no_word():
    assert unfit_words(inspected((State.OXIDE, 320, 240, 40))) == ""


def test_a_photo_that_has_to_be_taken_again_is_told_with_its_flags():
    dark = Photo("dark.jpg", "2" * 64, 1, "JPEG", 640, 480, np.full((480, 640, 3), 2, np.uint8))
    assert "too dark): what it maps here means little" in unfit_words(inspect(dark, painted.model(), SETTINGS))


def test_the_tools_own_error_is_that_of_its_card():
    registry = json.loads((folder("models") / "registry.json").read_bytes())
    entry = registry["models"][registry["default"]]
    figures = json.loads((folder("models") / entry["card"]).read_bytes())["figures"]["open"]["all"]
    found, low, high = (f"{100 * part:.0f}" for part in figures["residue found"])
    assert f"it found {found} % ({low} to {high} %)" in own_error(entry["sha256"])


def test_of_a_strange_model_no_error_is_known():
    assert own_error("f" * 64) == "The tool is not the truth. No figures of its error on photographs are known."
