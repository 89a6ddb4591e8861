"""Measures how photos of one place are laid on each other where the cameras are known: sets and sequences of passes.

Layout: as in :mod:`prepcheck.evaluate.cameras`. Every photo of a group is laid as the program does it: the passes before on
the last one, the photos of a moved-light set on the first. Then each group's photo is laid on that of the next group, which
shows another part, and has to be refused::

    python -m prepcheck.evaluate.registration FOLDER [--each]
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

from prepcheck.evaluate.bootstrap import Counts, Measure, by_group, figures
from prepcheck.evaluate.cameras import Align, KnownView, Matrix, found_align, read_groups, true_align
from prepcheck.photo.align import SIDE, NotAligned
from prepcheck.settings import Settings

MOST_MM = {True: 1.0, False: 2.0}
"""Error on the spot that is borne, with a scale card in view and without."""


@dataclass(frozen=True)
class Laid:
    """How one photo was laid on another of its group.

    Parameters
    ----------
    group, name : str
        The group, and the photo that was laid.
    card : bool
        A scale card lies in both.
    error_mm, error_px : float
        Mean error on the spot: in mm on the part, and in pixels at a long side of 1280; NaN when refused.
    said_px : float
        What the aligner says of its error.
    how : str
        What gave the start, or why it was refused.
    """

    group: str
    name: str
    card: bool
    error_mm: float = np.nan
    error_px: float = np.nan
    said_px: float = np.nan
    how: str = ""

    @property
    def refused(self) -> bool:
        """Whether it was not laid."""
        return bool(np.isnan(self.error_mm))

    @property
    def wrong(self) -> bool:
        """Whether it was laid, by more off than is borne."""
        return self.error_mm > MOST_MM[self.card]


@dataclass(frozen=True, eq=False)
class LaidTally(Counts):
    """Counts of pairs, of those laid, and of those laid wrongly."""

    pairs: float
    laid: float
    wrong: float


MEASURES: dict[str, Measure] = {
    "laid": lambda t: t.laid / t.pairs,
    "laid, but more than that off": lambda t: t.wrong / t.pairs,
}


def errors(way: Matrix, base: KnownView, other: KnownView) -> tuple[float, float]:
    """Return the mean error of an alignment on the spot, in mm on the part and in pixels of the base at a long side of 1280.

    Each pixel of a grid over the other photo's true ground area is carried to the base by `way` and by the truth.
    """
    rows, columns = np.nonzero(other.ground)
    step = max(1, len(rows) // 2000)
    points = np.column_stack([columns, rows]).astype(np.float64)[None, ::step]
    places = [cv2.perspectiveTransform(points, one) for one in (way, true_align(base, other).matrix)]
    on_part = [cv2.perspectiveTransform(one, base.plane.to_mm) for one in places]
    mm, px = (float(np.linalg.norm(one - two, axis=2).mean()) for one, two in (on_part, places))
    return mm, px * SIDE / max(base.states.shape)


def lay_groups(folder: Path, align: Align) -> Iterator[Laid]:
    """Lay the photos of every group on its base; photos without a spot are left out."""
    for group, views in read_groups(folder):
        base, *others = _from_base(views)
        for other in others:
            if other.ground.any():
                yield _laid(group, base, other, align)


def lay_wrong_pairs(folder: Path, align: Align) -> Iterator[tuple[str, bool]]:
    """Lay the base of every group on that of the next one; gives both names, and whether it was refused."""
    bases = [_from_base(views)[0] for _, views in read_groups(folder)]
    for one, two in pairwise(bases):
        yield f"{two.path.stem} on {one.path.stem}", isinstance(align(one, two), NotAligned)


def summary(laid: Sequence[Laid], most_mm: float) -> str:
    """Tell pairs in lines: shares with 95 % intervals by group, and errors of those that were laid."""
    tallies = by_group((one.group, LaidTally(1.0, float(not one.refused), float(one.wrong))) for one in laid)
    shares = figures(tallies, MEASURES)
    lines = [f"    {len(laid)} pairs of {len(tallies)} groups; at most {most_mm:g} mm off is borne"]
    lines += [f"    {name:30} {one.value:.3f} ({one.low:.3f} to {one.high:.3f})" for name, one in shares.items()]
    off = np.array([(one.error_mm, one.error_px) for one in laid if not one.refused])
    if not len(off):
        return "\n".join([*lines, "    none was laid"])
    for unit, values in zip(("mm", "px"), off.T, strict=True):
        median, most_of, most = np.quantile(values, (0.5, 0.9, 1.0))
        lines.append(f"    error in {unit}: median {median:.2f}, 90 % within {most_of:.2f}, most {most:.2f}")
    return "\n".join(lines)


def _line(one: Laid) -> str:
    said = "" if one.refused else f"{one.error_mm:.2f} mm, {one.error_px:.2f} px, said {one.said_px:.2f} px, "
    return f"{one.name}{' with a card' if one.card else ''}: {said}{one.how}"


def _from_base(views: Sequence[KnownView]) -> Sequence[KnownView]:
    return views if views[0].pass_no is None else views[::-1]


def _laid(group: str, base: KnownView, other: KnownView, align: Align) -> Laid:
    found, name, card = align(base, other), other.path.stem, base.card and other.card
    if isinstance(found, NotAligned):
        return Laid(group, name, card, how=found.reason)
    return Laid(group, name, card, *errors(found.matrix, base, other), found.error_px, f"by {found.by}")


def main(arguments: list[str] | None = None) -> int:
    """Measure a folder and print the figures; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m prepcheck.evaluate.registration", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--each", action="store_true", help="a line for each pair, too")
    options = parser.parse_args(arguments)
    align = found_align(Settings())
    laid = []
    for one in lay_groups(options.folder, align):
        laid.append(one)
        if options.each:
            sys.stdout.write(f"{_line(one)}\n")
            sys.stdout.flush()
    for name, card in (("with a card in view", True), ("without a card", False)):
        if those := [one for one in laid if one.card == card]:
            sys.stdout.write(f"{name}\n{summary(those, MOST_MM[card])}\n")
    wrong = dict(lay_wrong_pairs(options.folder, align))
    taken = "".join(f"; laid: {name}" for name, refused in wrong.items() if not refused)
    sys.stdout.write(f"different parts: {sum(wrong.values())} of {len(wrong)} pairs refused{taken}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
