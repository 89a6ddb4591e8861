"""First passes over time as a chart: the share that was bright, with the band of its exact intervals."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from prepcheck.progress.blocks import Block
from prepcheck.report.feedback_words import exact, tally_words
from prepcheck.report.job.charts import MOST_SHOWN, note
from prepcheck.report.job.content import CHART_WIDTH, Chart, Ink, Lettering, Stroke
from prepcheck.report.job.page import svg_of

Mark = Stroke | Lettering
AXES = {"spots": "spots in order", "month": "month"}
TITLE = "Bright at the first pass"
_LEFT, _TOP, _PLOT, _RIGHT = 50.0, 8.0, 64.0, CHART_WIDTH - 14
_TICKS = (0.0, 0.5, 1.0)
_LABEL = 62.0
"""Room that the words under a stretch need."""
_STYLE = (
    "svg{background:#fff;font-family:sans-serif}text{fill:#161c26}.ink{stroke:#161c26}.faint{stroke:#a8aeb4}"
    ".accent{stroke:#c43e0c}"
)


def over_time(blocks: Sequence[Block], least: int, axis: str) -> Chart:
    """Draw the share of each stretch as a dot within the band of its 95 % intervals.

    A stretch of fewer than `least` spots gets the band alone, without a dot: too few to tell.

    Parameters
    ----------
    blocks : sequence of Block
        Oldest first; the oldest of many are left out, and the chart says so.
    least : int
        From how many spots on a share is told.
    axis : str
        What the stretches are: ``spots in order`` or ``month``.
    """
    shown = blocks[-MOST_SHOWN:]
    step = min((_RIGHT - _LEFT) / max(len(shown), 1), 110.0)
    places = [_LEFT + (k + 0.5) * step for k in range(len(shown))]
    right = _LEFT + step * max(len(shown), 1)
    marks = [mark for share in _TICKS for mark in _level(share, right)]
    marks += _band(shown, places)
    every = math.ceil(_LABEL / step)
    for k, (x, block) in enumerate(zip(places, shown, strict=True)):
        marks += [*_stretch(block, x, min(6.0, 0.22 * step), least), *(_words(block, x) if k % every == 0 else ())]
    words = note(_legend(axis, least, len(blocks) - len(shown)), _TOP + _PLOT + 52)
    alt = "; ".join(f"{block.label}: {tally_words(block.tally, least)}" for block in shown) or "nothing to draw yet"
    return Chart(TITLE, alt, CHART_WIDTH, words[-1].at[1] + 6, (*marks, *words))


def chart_file(chart: Chart) -> str:
    """Return a chart as an SVG file that needs nothing else."""
    return svg_of(chart, _STYLE) + "\n"


def _y(share: float) -> float:
    return _TOP + _PLOT * (1 - share)


def _level(share: float, right: float) -> list[Mark]:
    y = _y(share)
    label = Lettering((_LEFT - 7, y + 4), f"{100 * share:.0f}%", "end")
    return [Stroke(((_LEFT, y), (right, y)), 0.4, Ink.FAINT), label]


def _band(blocks: Sequence[Block], places: Sequence[float]) -> list[Mark]:
    """Draw the upper and the lower ends of the intervals, joined."""
    found = [exact(block.tally) for block in blocks]
    if len(found) < 2:
        return []
    edges = ([one.low for one in found], [one.high for one in found])
    return [Stroke(tuple((x, _y(end)) for x, end in zip(places, edge, strict=True)), 0.8, Ink.FAINT) for edge in edges]


def _words(block: Block, x: float) -> Iterator[Mark]:
    yield Lettering((x, _TOP + _PLOT + 16), block.label, "middle", bold=True)
    yield Lettering((x, _TOP + _PLOT + 31), f"{block.tally.hits} of {block.tally.of}", "middle")


def _stretch(block: Block, x: float, half: float, least: int) -> Iterator[Mark]:
    found = exact(block.tally)
    yield Stroke(((x, _y(found.low)), (x, _y(found.high))), 1.4)
    for end in (found.low, found.high):
        yield Stroke(((x - half, _y(end)), (x + half, _y(end))), 1.4)
    if found.share is not None and block.tally.of >= least:
        yield Stroke(((x, _y(found.share)),), 7.0, Ink.ACCENT)


def _legend(axis: str, least: int, left_out: int) -> str:
    words = f"by {axis}; bar: 95% interval; no dot under {least} spots"
    return f"{words}; oldest {left_out} left out" if left_out else words
