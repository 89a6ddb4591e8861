"""Charts of what was told, as strokes and letters in their own units: the bright share over passes, and of all spots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from prepcheck.record import Interval
from prepcheck.report.job.content import Chart, Ink, Lettering, Stroke
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
    step = min(_WIDEST / max(len(shown), 1), 88.0)
    right = left + step * len(shown)
    marks: list[Mark] = [mark for share in _TICKS for mark in _level(share, left, right, top + plot * (1 - share))]
    last: tuple[float, float] | None = None
    for k, bar in enumerate(shown):
        x = left + (k + 0.5) * step
        at = None if bar.share is None else (x, top + plot * (1 - bar.share))
        marks += [Stroke((last, at), 1.0, Ink.FAINT)] if last and at else []
        marks += _upright(bar, x, top, plot, step)
        last = at
    marks.append(Lettering((8, top + plot + 40), _axis(len(bars)), 8.5))
    return Chart(title, "; ".join(bar.words for bar in bars), max(right + 10, _NARROW), top + plot + 46, tuple(marks))


def of_spots(bars: Sequence[Bar], title: str) -> Chart:
    """Draw the last score of each spot as a level bar on one scale."""
    width, left, row, top = _NARROW, 128.0, 19.0, 16.0
    plot, bottom = width - left - 14, top + row * len(bars)
    marks: list[Mark] = []
    for share in _TICKS:
        x = left + plot * share
        marks += [Stroke(((x, top - 2), (x, bottom)), 0.5, Ink.FAINT)]
        marks += [Lettering((x, top - 6), f"{100 * share:.0f}", 8.5, "middle")]
    for k, bar in enumerate(bars):
        marks += _level_bar(bar, left, plot, top + (k + 0.5) * row)
    marks.append(Lettering((width - 4, bottom + 13), "score (100 x bright share), bar: 95% interval", 8.5, "end"))
    return Chart(title, "; ".join(bar.words for bar in bars), width, bottom + 18, tuple(marks))


_NARROW, _WIDEST = 330.0, 430.0
"""Width of a chart in units: a phone's screen, and the most that passes are spread over."""
_TICKS = (0.0, 0.25, 0.5, 0.75, 1.0)


def _axis(count: int) -> str:
    left_out = f"; the oldest {count - MOST_SHOWN} passes are not drawn" if count > MOST_SHOWN else ""
    return f"score (100 x bright share) by grinding pass, bar: 95% interval{left_out}"


def _level(share: float, left: float, right: float, y: float) -> list[Mark]:
    return [
        Stroke(((left, y), (right, y)), 0.5, Ink.FAINT),
        Lettering((left - 7, y + 3), f"{100 * share:.0f}", 8.5, "end"),
    ]


def _upright(bar: Bar, x: float, top: float, plot: float, step: float) -> list[Mark]:
    foot: list[Mark] = [Lettering((x, top + plot + 13), bar.label, 8.5, "middle", bold=True)]
    if step >= 56 and bar.standing:
        foot.append(Lettering((x, top + plot + 24), bar.standing, 8.0, "middle"))
    if bar.share is None:
        return [*foot, Lettering((x, top + plot / 2 + 5), "?", 16.0, "middle", bold=True)]
    half = min(7.0, 0.25 * step)
    dot: list[Mark] = [Stroke(((x, top + plot * (1 - bar.share)),), 7.0, Ink.ACCENT)]
    if bar.interval is None:
        return foot + dot
    low, high = (top + plot * (1 - share) for share in bar.interval)
    ends: list[Mark] = [Stroke(((x - half, y), (x + half, y)), 1.4) for y in (low, high)]
    return [*foot, Stroke(((x, low), (x, high)), 1.4), *ends, *dot]


def _level_bar(bar: Bar, left: float, plot: float, y: float) -> list[Mark]:
    label: list[Mark] = [Lettering((left - 10, y + 3.2), _cut(bar.label), 9.0, "end")]
    if bar.share is None:
        return [*label, Lettering((left + plot / 2, y + 4), "?", 11.0, "middle", bold=True)]
    dot: list[Mark] = [Stroke(((left + plot * bar.share, y),), 7.0, Ink.ACCENT)]
    if bar.interval is None:
        return label + dot
    low, high = (left + plot * share for share in bar.interval)
    ends: list[Mark] = [Stroke(((x, y - 4), (x, y + 4)), 1.4) for x in (low, high)]
    return [*label, Stroke(((low, y), (high, y)), 1.4), *ends, *dot]


def _cut(label: str, most: int = 22) -> str:
    return label if len(label) <= most else f"{label[: most - 3]}..."
