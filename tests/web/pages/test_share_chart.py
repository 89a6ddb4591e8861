from __future__ import annotations

import pytest

from prepcheck.terms import Standing
from prepcheck.web.pages.share_chart import MOST_SHOWN, Told, share_chart


def told(name="1", share=0.8, interval=(0.7, 0.9), standing=Standing.RESIDUE_LEFT):
    return Told(name, standing, share, interval, f"{standing}, words of {name}")


def height_of(chart, name):
    return next(level.y for level in chart.levels if level.name == name)


def test_a_share_lies_between_the_levels_as_its_number_does():
    chart = share_chart([told(share=0.75, interval=None)])
    (dot,) = chart.dots
    between = (height_of(chart, "0") - dot.y) / (height_of(chart, "0") - height_of(chart, "100"))
    assert between == pytest.approx(0.75, abs=0.001)


def test_the_interval_reaches_from_its_low_to_its_high_end():
    (dot,) = share_chart([told(interval=(0.5, 1.0))]).dots
    chart = share_chart([told()])
    assert (dot.low, dot.high) == (height_of(chart, "50"), height_of(chart, "100"))


def test_where_nothing_was_told_no_mark_and_no_line_lies():
    chart = share_chart([told("1"), told("2", None, None, Standing.RETAKE), told("3")])
    assert [dot.y is None for dot in chart.dots] == [False, True, False]
    assert chart.joins == ()
    assert chart.dots[1].shape == ""


def test_every_standing_has_a_shape_of_its_own():
    shapes = {share_chart([told(standing=one)]).dots[0].shape for one in Standing}
    assert len(shapes) == len(Standing)


def test_all_marks_lie_in_the_drawing_however_many_passes_there_are():
    for count in range(1, 12):
        chart = share_chart([told(str(k)) for k in range(count)])
        assert all(0 < dot.x < chart.width and 0 < dot.y < chart.height for dot in chart.dots)


def test_the_oldest_passes_are_left_out_and_counted():
    chart = share_chart([told(str(k)) for k in range(MOST_SHOWN + 3)])
    assert (chart.left_out, chart.dots[0].name) == (3, "3")


def test_the_words_tell_of_every_pass():
    assert share_chart([told("1"), told("2")]).alt == (
        "pass 1: residue left, words of 1; pass 2: residue left, words of 2"
    )
