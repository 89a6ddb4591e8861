"""Charts show each score where it is, with its interval, and a question mark where there is none."""

from itertools import pairwise

import pytest

from prepcheck.report.job.charts import MOST_SHOWN, Bar, of_spots, over_passes
from prepcheck.report.job.content import Ink, Lettering, Stroke


def dots(chart):
    return [mark for mark in chart.marks if isinstance(mark, Stroke) and mark.ink is Ink.ACCENT]


def letters(chart):
    return [mark.text for mark in chart.marks if isinstance(mark, Lettering)]


def bars(*shares):
    return [Bar(str(k), share, None if share is None else (share - 0.1, share)) for k, share in enumerate(shares, 1)]


def test_a_higher_share_lies_higher():
    low, high = (dot.points[0][1] for dot in dots(over_passes(bars(0.3, 0.9), "t")))
    assert high < low


def test_the_dot_lies_on_the_scale_in_proportion():
    chart = over_passes(bars(0.0, 0.5, 1.0), "t")
    bottom, middle, top = (dot.points[0][1] for dot in dots(chart))
    assert middle == (bottom + top) / 2


def test_the_bar_reaches_over_the_interval():
    chart = over_passes([Bar("1", 0.5, (0.25, 0.75))], "t")
    (upright,) = [
        m for m in chart.marks if isinstance(m, Stroke) and len(m.points) == 2 and m.points[0][0] == m.points[1][0]
    ]
    zero, one = (dots(over_passes(bars(share), "t"))[0].points[0][1] for share in (0.0, 1.0))
    ends = sorted(y for _, y in upright.points)
    assert ends == [one + 0.25 * (zero - one), one + 0.75 * (zero - one)]


def test_a_pass_without_a_score_has_a_question_mark_and_no_line_through_it():
    chart = over_passes(bars(0.3, None, 0.9), "t")
    assert letters(chart).count("?") == 1
    assert len(dots(chart)) == 2
    joins = [m for m in chart.marks if isinstance(m, Stroke) and m.ink is Ink.FAINT and m.thick == 1.0]
    assert joins == []


def test_the_oldest_of_many_passes_are_left_out_and_the_chart_says_so():
    chart = over_passes(bars(*[0.5] * (MOST_SHOWN + 3)), "t")
    assert len(dots(chart)) == MOST_SHOWN
    assert "the oldest 3 passes are not drawn" in " ".join(letters(chart))


def test_spots_stand_in_order_with_their_names():
    chart = of_spots([Bar("Spot 1", 0.2, (0.1, 0.3)), Bar("Spot 2, " + "x" * 60, None, None)], "t")
    assert [text for text in letters(chart) if text.startswith("Spot")] == ["Spot 1", "Spot 2, xxxxxx..."]
    assert "?" in letters(chart)


def test_every_mark_lies_within_the_chart():
    for chart in (over_passes(bars(*[0.0, 1.0] * 12), "t"), of_spots(bars(0.0, 1.0), "t")):
        places = [p for m in chart.marks for p in (m.points if isinstance(m, Stroke) else (m.at,))]
        assert all(0 <= x <= chart.width and 0 <= y <= chart.height for x, y in places)


def test_letters_can_be_read_on_a_phone_of_360_px():
    charts = over_passes(bars(*[0.5, None] * 13), "t"), over_passes(bars(0.5), "t"), of_spots(bars(0.5, None), "t")
    page = 360 * (1 - 2 * 0.04)  # the margins of the report's page
    sizes = [m.size * page / chart.width for chart in charts for m in chart.marks if isinstance(m, Lettering)]
    assert min(sizes) >= 12


def test_numbers_of_passes_never_run_into_each_other():
    for count in (1, 5, 9, MOST_SHOWN):
        chart = over_passes(bars(*[0.5] * count), "t")
        places = [m.at[0] for m in chart.marks if isinstance(m, Lettering) and m.bold]
        assert all(b - a >= 20 for a, b in pairwise(places))


@pytest.mark.parametrize(("count", "told"), [(5, True), (6, False)])
def test_a_standing_is_told_below_its_pass_where_there_is_room(count, told):
    chart = over_passes([Bar(str(k), 0.5, None, "cannot tell") for k in range(count)], "t")
    assert ("cannot" in letters(chart)) == told


def test_the_words_of_a_chart_tell_every_score():
    assert over_passes(bars(0.3, None), "t").alt == "1: score 30 (20 to 30); 2: not fit to judge"
