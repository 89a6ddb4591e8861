"""Two curves as SVG in plain style: are the said chances right, and what does it cost to tell more pixels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from prepcheck.evaluate.measures import Tally, balanced_accuracy, coverage, ratio, reliability, risk_coverage

_SIZE, _LEFT, _TOP, _SIDE = (620, 560), 84, 64, 420
_INK, _GREY, _LINE, _BAR = "#18191b", "#9aa0a6", "#0a5fb4", "#c9d6e4"
Points = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class _Axes:
    """The square between `low` and `high` of either axis."""

    low: tuple[float, float]
    high: tuple[float, float]

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return the place of (x, y) in the picture."""
        (x0, y0), (x1, y1) = self.low, self.high
        return _LEFT + _SIDE * (x - x0) / (x1 - x0), _TOP + _SIDE * (1 - (y - y0) / (y1 - y0))


def reliability_svg(t: Tally, title: str) -> str:
    """Draw the true share of residue against the said probability, with the number of pixels as bars."""
    of, residue, said = reliability(t)
    axes = _Axes((0, 0), (1, 1))
    said_mean, true_share, weight = ratio(said, of), ratio(residue, of), of / max(of.sum(), 1)
    told = of >= 0.0005 * max(of.sum(), 1)
    bars = [_bar(axes, k / len(of), (k + 1) / len(of), float(w)) for k, w in enumerate(weight)]
    dots = [(float(x), float(y)) for x, y, there in zip(said_mean, true_share, told, strict=True) if there]
    marks = [*bars, _line(axes, [(0, 0), (1, 1)], _GREY, dashed=True), _line(axes, dots, _LINE), *_dots(axes, dots)]
    note = "bars: share of the ground pixels; dashed: what is said comes true; bins with fewer than 1 in 2000 left out"
    return _picture(axes, marks, title, ("said probability of residue", "share that is residue in truth"), note)


def risk_coverage_svg(t: Tally, title: str) -> str:
    """Draw the risk (1 - balanced accuracy) against the share of pixels told, surest first, and where the tool works."""
    told, risk = risk_coverage(t)
    works = (float(coverage(t)), float(1 - balanced_accuracy(t)))
    top = max(0.1, np.ceil(10 * np.nanmax([*risk, works[1], 0.0])) / 10)
    axes = _Axes((0, 0), (1, float(top)))
    line = [(float(x), float(y)) for x, y in zip(told, risk, strict=True) if not np.isnan(x + y)]
    marks = [_line(axes, line, _LINE), *([] if np.isnan(sum(works)) else _dots(axes, [works], 7))]
    note = f"dot: the tool with its own cannot tell (coverage {works[0]:.3f}, balanced accuracy {1 - works[1]:.3f})"
    names = ("share of true bright and oxide pixels told, surest first", "risk: 1 - balanced accuracy")
    return _picture(axes, marks, title, names, note)


def _bar(axes: _Axes, low: float, high: float, value: float) -> str:
    (x0, y0), (x1, y1) = axes.at(low, value), axes.at(high, 0)
    return f'<rect x="{x0 + 1:.1f}" y="{y0:.1f}" width="{x1 - x0 - 2:.1f}" height="{y1 - y0:.1f}" fill="{_BAR}"/>'


def _line(axes: _Axes, points: Points, ink: str, *, dashed: bool = False) -> str:
    path = " ".join("{:.1f},{:.1f}".format(*axes.at(*point)) for point in points)
    dash = ' stroke-dasharray="5 5"' if dashed else ""
    return f'<polyline points="{path}" fill="none" stroke="{ink}" stroke-width="2"{dash}/>'


def _dots(axes: _Axes, points: Points, radius: float = 4) -> list[str]:
    places = [axes.at(*point) for point in points]
    return [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius}" fill="{_LINE}"/>' for x, y in places]


def _picture(axes: _Axes, marks: Sequence[str], title: str, names: tuple[str, str], note: str) -> str:
    middle = _LEFT + _SIDE / 2
    texts = [
        _text(_LEFT - 60, 30, title, 17, "start"),
        _text(middle, _TOP + _SIDE + 40, names[0], 14),
        f'<g transform="translate(26 {_TOP + _SIDE / 2}) rotate(-90)">{_text(0, 0, names[1], 14)}</g>',
        _text(_LEFT - 60, _SIZE[1] - 12, note, 11.5, "start"),
    ]
    frame = f'<rect x="{_LEFT}" y="{_TOP}" width="{_SIDE}" height="{_SIDE}" fill="none" stroke="{_INK}"/>'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_SIZE[0]} {_SIZE[1]}" font-family="sans-serif">'
    paper = f'<rect width="{_SIZE[0]}" height="{_SIZE[1]}" fill="#fff"/>'
    return "\n".join([head, paper, *marks, frame, *_ticks(axes), *texts, "</svg>\n"])


def _ticks(axes: _Axes) -> list[str]:
    ticks = []
    for share in np.linspace(0, 1, 6):
        x, y = (low + share * (high - low) for low, high in zip(axes.low, axes.high, strict=True))
        (across, floor), (wall, up) = axes.at(x, axes.low[1]), axes.at(axes.low[0], y)
        ticks += [_text(across, floor + 18, f"{x:.2g}", 12), _text(wall - 8, up + 4, f"{y:.2g}", 12, "end")]
        ticks += [f'<path d="M{across:.1f} {floor:.1f}v5M{wall:.1f} {up:.1f}h-5" stroke="{_INK}"/>']
    return ticks


def _text(x: float, y: float, text: str, size: float, anchor: str = "middle") -> str:
    safe = text.replace("&", "&amp;").replace("<", "&lt;")
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}" fill="{_INK}">{safe}</text>'
