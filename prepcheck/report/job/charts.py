"""Charts of what was told, as strokes and letters in their own units: the bright share over passes, and of all spots."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from prepcheck.record import Interval
from prepcheck.report.job.content import CHART_WIDTH, LETTERS, Chart, Ink, Lettering, Stroke
from prepcheck.report.lettering import Type, wrapped
from prepcheck.report.words import score_words

Mark = Stroke | Lettering
MOST_SHOWN = 24
"""Passes or spots in one chart; the oldest passes are left out of more, and the chart says so."""


@dataclass(frozen=True)
class Bar:
    """A score with its interval, `label` beside it; `share` is None where nothing was told."""

    label: str
    share: float | None
    interval: Interval | None
    standing: str = ""

    @property
    def words(self) -> str:
        """What the bar shows."""
        told = "not fit to judge" if self.share is None else score_words(self.share, self.interval)
        return f"{self.label}: {told}" + (f", {self.standing}" if self.standing else "")


def over_passes(bars: Sequence[Bar], title: str) -> Chart:
    """Draw scores over grinding passes, oldest first; where nothing was told there is a ``?`` and no line through it."""
    shown = bars[-MOST_SHOWN:]
    left, top, plot = 40.0, 10.0, 130.0
    step = min((CHART_WIDTH - left - 10) / max(len(shown), 1), 88.0)
    right, bottom = left + step * len(shown), top + plot
    marks: list[Mark] = [mark for share in _TICKS for mark in _level(share, left, right, top + plot * (1 - share))]
    last: tuple[float, float] | None = None
    for k, bar in enumerate(shown):
        x = left + (k + 0.5) * step
        at = None if bar.share is None else (x, top + plot * (1 - bar.share))
        marks += [Stroke((last, at), 1.0, Ink.FAINT)] if last and at else []
        marks += _upright(bar, x, top, plot, step)
        marks += _named(bar, x, bottom, step) if k % math.ceil(_NUMBER / step) == 0 else []
        last = at
    words = note(_axis(len(bars)), bottom + (34 if step < _STANDING else 62))
    return Chart(title, "; ".join(bar.words for bar in bars), CHART_WIDTH, words[-1].at[1] + 6, (*marks, *words))


def of_spots(bars: Sequence[Bar], title: str) -> Chart:
    """Draw the last score of each spot as a level bar on one scale."""
    left, row, top = 132.0, 20.0, 20.0
    plot, bottom = CHART_WIDTH - left - 14, top + row * len(bars)
    marks: list[Mark] = []
    for share in _TICKS:
        x = left + plot * share
        marks += [Stroke(((x, top - 2), (x, bottom)), 0.5, Ink.FAINT)]
        marks += [Lettering((x, top - 6), f"{100 * share:.0f}", "middle")]
    for k, bar in enumerate(bars):
        marks += _level_bar(bar, left, plot, top + (k + 0.5) * row)
    words = note("score (100 x bright share), bar: 95% interval", bottom + 18)
    return Chart(title, "; ".join(bar.words for bar in bars), CHART_WIDTH, words[-1].at[1] + 6, (*marks, *words))


def note(text: str, y: float) -> list[Lettering]:
    """Say below a chart what it shows, in as many lines as it takes; the first on the base line `y`."""
    lines = wrapped(text, Type(LETTERS), CHART_WIDTH - 16)
    return [Lettering((8, y + 15 * k), line) for k, line in enumerate(lines)]


_TICKS = (0.0, 0.25, 0.5, 0.75, 1.0)
_NUMBER, _STANDING = 20.0, 54.0
"""Room that the number of a pass and a word of its standing need."""


def _axis(count: int) -> str:
    left_out = f"; the oldest {count - MOST_SHOWN} passes are not drawn" if count > MOST_SHOWN else ""
    return f"score (100 x bright share) by grinding pass, bar: 95% interval{left_out}"


def _level(share: float, left: float, right: float, y: float) -> list[Mark]:
    return [Stroke(((left, y), (right, y)), 0.5, Ink.FAINT), Lettering((left - 7, y + 4), f"{100 * share:.0f}", "end")]


def _named(bar: Bar, x: float, bottom: float, step: float) -> list[Mark]:
    """Write the pass under its place, and its standing, a word a line, where there is room."""
    words = bar.standing.split() if step >= _STANDING else []
    standing = [Lettering((x, bottom + 30 + 14 * k), word, "middle") for k, word in enumerate(words)]
    return [Lettering((x, bottom + 16), bar.label, "middle", bold=True), *standing]


def _upright(bar: Bar, x: float, top: float, plot: float, step: float) -> list[Mark]:
    if bar.share is None:
        return [Lettering((x, top + plot / 2 + 5), "?", "middle", 16.0, bold=True)]
    half = min(7.0, 0.25 * step)
    dot: list[Mark] = [Stroke(((x, top + plot * (1 - bar.share)),), 7.0, Ink.ACCENT)]
    if bar.interval is None:
        return dot
    low, high = (top + plot * (1 - share) for share in bar.interval)
    ends: list[Mark] = [Stroke(((x - half, y), (x + half, y)), 1.4) for y in (low, high)]
    return [Stroke(((x, low), (x, high)), 1.4), *ends, *dot]


def _level_bar(bar: Bar, left: float, plot: float, y: float) -> list[Mark]:
    label: list[Mark] = [Lettering((left - 10, y + 4), _cut(bar.label), "end")]
    if bar.share is None:
        return [*label, Lettering((left + plot / 2, y + 4), "?", "middle", bold=True)]
    dot: list[Mark] = [Stroke(((left + plot * bar.share, y),), 7.0, Ink.ACCENT)]
    if bar.interval is None:
        return label + dot
    low, high = (left + plot * share for share in bar.interval)
    ends: list[Mark] = [Stroke(((x, y - 4), (x, y + 4)), 1.4) for x in (low, high)]
    return [*label, Stroke(((low, y), (high, y)), 1.4), *ends, *dot]


def _cut(label: str, most: int = 17) -> str:
    return label if len(label) <= most else f"{label[: most - 3]}..."
