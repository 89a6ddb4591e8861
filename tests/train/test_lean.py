"""The machine that fits has torch, numpy and OpenCV, and need not have the product's other packages."""

import subprocess
import sys

import pytest

pytest.importorskip("torch", reason="training needs the extra `train`")

from prepcheck.settings import Settings
from prepcheck.train import calibrate, losses, moved_fit

ABSENT = ("pydantic", "simplejpeg", "PIL")
WITHOUT = "import sys\nsys.modules.update(dict.fromkeys({absent!r}))\nimport {module}\n"


def imported_without(module):
    command = [sys.executable, "-c", WITHOUT.format(absent=ABSENT, module=module)]
    return subprocess.run(command, capture_output=True, text=True)


@pytest.mark.parametrize("module", ["fit", "renders", "pool", "moved_fit"])
def test_what_runs_there_needs_none_of_them(module):
    done = imported_without(f"prepcheck.train.{module}")
    assert done.returncode == 0, done.stderr


def test_what_needs_them_is_noticed():
    assert "pydantic" in imported_without("prepcheck.settings").stderr


def test_maps_are_smoothed_there_as_the_settings_say():
    assert moved_fit.Plan.smoothing_px == Settings().photo.smoothing_px


def test_what_is_burnt_out_there_is_what_the_settings_say():
    assert {round(losses.BURNT * 255, 6), calibrate.BURNT} == {Settings().score.burnt_level}
