"""The two curves: what they show and that they can be read as SVG."""

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from prepcheck.evaluate.curves import reliability_svg, risk_coverage_svg
from prepcheck.evaluate.measures import Tally, tally
from prepcheck.terms import State

SVG = "{http://www.w3.org/2000/svg}"


def compared(said, truth):
    said, truth = np.array([said], np.float32), np.array([truth], np.uint8)
    everywhere = np.ones(truth.shape, bool)
    told = np.where(said < 0.5, np.uint8(State.BRIGHT), np.uint8(State.OXIDE))
    return tally(told, said, everywhere, truth, everywhere, ~everywhere, mm_per_px=None)


def test_what_is_said_and_comes_true_lies_on_the_dashed_line():
    made = compared([0.25] * 4 + [0.75] * 4, [1, 1, 1, 2, 2, 2, 2, 1])
    root = ET.fromstring(reliability_svg(made, "t"))
    diagonal, curve = (
        [tuple(map(float, point.split(","))) for point in line.get("points").split()]
        for line in root.iter(f"{SVG}polyline")
    )
    (x0, y0), (x1, y1) = diagonal
    for x, y in curve:
        assert y == pytest.approx(y0 + (y1 - y0) * (x - x0) / (x1 - x0), abs=0.2)
    assert len(curve) == 2


def test_the_risk_curve_ends_at_the_dot_where_everything_is_told():
    made = compared([0.1] * 8 + [0.6] * 2 + [0.9] * 8 + [0.4] * 2, [1] * 10 + [2] * 10)
    root = ET.fromstring(risk_coverage_svg(made, "t"))
    (curve,), (dot,) = root.iter(f"{SVG}polyline"), root.iter(f"{SVG}circle")
    last = tuple(map(float, curve.get("points").split()[-1].split(",")))
    assert last == pytest.approx((float(dot.get("cx")), float(dot.get("cy"))), abs=0.2)


@pytest.mark.parametrize("draw", [reliability_svg, risk_coverage_svg])
def test_a_name_with_signs_and_nothing_measured_is_a_picture_too(draw):
    root = ET.fromstring(draw(Tally(), "a < b & c"))
    assert any(text.text == "a < b & c" for text in root.iter(f"{SVG}text"))
