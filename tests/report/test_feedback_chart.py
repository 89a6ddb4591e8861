"""First passes over time, drawn."""

from __future__ import annotations

import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from prepcheck.progress.blocks import Block
from prepcheck.progress.tally import Tally
from prepcheck.report.feedback_chart import chart_file, over_time
from prepcheck.report.job.content import Chart, Ink, Lettering, Stroke

LEAST = 10


def blocks(*counts: tuple[int, int]) -> list[Block]:
    return [Block(f"{10 * k + 1}-{10 * k + 10}", Tally(*one)) for k, one in enumerate(counts)]


def drawn(*counts: tuple[int, int]) -> Chart:
    return over_time(blocks(*counts), LEAST, "spots in order")


def dots(chart: Chart) -> list[tuple[float, float]]:
    return [mark.points[0] for mark in chart.marks if isinstance(mark, Stroke) and mark.ink is Ink.ACCENT]


def texts(chart: Chart) -> list[str]:
    return [mark.text for mark in chart.marks if isinstance(mark, Lettering)]


def test_a_higher_share_lies_higher_and_later_ones_further_right() -> None:
    (x1, y1), (x2, y2) = dots(drawn((2, 20), (18, 20)))
    assert (x1 < x2, y1 > y2) == (True, True)


def test_a_dot_lies_within_its_bar_at_its_share() -> None:
    chart = drawn((9, 10))
    ((x, y),) = dots(chart)
    bars = [m.points for m in chart.marks if isinstance(m, Stroke) and len(m.points) == 2 and m.thick == 1.4]
    (low, high) = next((a[1], b[1]) for a, b in bars if a[0] == b[0] == x)
    # Clopper-Pearson of 9 of 10: 0.554984 to 0.997471, computed from the beta quantiles of scipy
    full = (low - high) / (0.997471 - 0.554984)
    assert y == pytest.approx(low - full * (0.9 - 0.554984), abs=0.01)


def test_too_few_spots_get_a_bar_without_a_dot() -> None:
    chart = drawn((3, 4), (8, 10))
    assert len(dots(chart)) == 1
    assert {"3 of 4", "8 of 10"} <= set(texts(chart))


def test_the_band_joins_the_ends_of_two_stretches_or_more() -> None:
    def band(chart: Chart) -> list[Stroke]:
        return [m for m in chart.marks if isinstance(m, Stroke) and m.ink is Ink.FAINT and m.thick == 0.8]

    assert [len(band(drawn(*[(5, 10)] * n))) for n in (1, 2, 5)] == [0, 2, 2]


def test_the_words_say_what_the_chart_shows() -> None:
    assert drawn((3, 4)).alt == "1-10: 3 of 4, too few to tell"
    assert "90% (95% interval 68 to 99)" in drawn((18, 20)).alt


def test_the_oldest_of_many_are_left_out_and_that_is_said() -> None:
    chart = drawn(*[(5, 10)] * 27)
    assert len(dots(chart)) == 24
    assert "oldest 3 left out" in " ".join(texts(chart))


@pytest.mark.parametrize("count", [1, 8, 24])
def test_words_below_never_run_into_each_other_nor_out_of_the_chart(count: int) -> None:
    chart = over_time([Block(f"{900 + k}-{909 + k}", Tally(5, 10)) for k in range(count)], LEAST, "spots in order")
    below = [m for m in chart.marks if isinstance(m, Lettering) and re.fullmatch(r"\d+-\d+", m.text)]
    places = [mark.at[0] for mark in below]
    assert all(b - a >= 61 for a, b in pairwise(places))
    assert all(mark.at[0] <= chart.width for mark in chart.marks if isinstance(mark, Lettering))


def test_letters_can_be_read_on_a_phone_of_360_px() -> None:
    chart = drawn(*[(5, 10)] * 24)
    page = 360 * (1 - 2 * 0.04)  # the margins of the sheet's page
    assert min(mark.size * page / chart.width for mark in chart.marks if isinstance(mark, Lettering)) >= 12


def test_the_file_is_a_picture_that_needs_nothing_else() -> None:
    text = chart_file(drawn((3, 4), (18, 20)))
    root = ElementTree.fromstring(text)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert "href" not in text
    assert root.get("aria-label", "").startswith("1-10: 3 of 4")


def test_nothing_yet_is_drawn_as_an_empty_chart() -> None:
    assert (dots(drawn()), drawn().alt) == ([], "nothing to draw yet")
