"""Measure one photo against two and three of the same view under a moved torch, on a folder of sets.

    python -m tests.bench.bench_sets FOLDER [--align] [--json FILE]

Prints every way (first photo, each photo, two, three; mean, net) with group-wise 95 % intervals, and how
often a set counts as taken under a moved light by the case that its meta names.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from prepcheck.evaluate.sets import Align, fused, judge_sets, read_sets, table
from prepcheck.photo import Photo
from prepcheck.photo.align import Alignment, align
from prepcheck.settings import Settings
from prepcheck.surface import load_model
from prepcheck.surface.moved_light import load_weighing


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--json", type=Path, default=None)
    parser.add_argument("--align", action="store_true", help="find the homographies instead of taking the true ones")
    options = parser.parse_args()
    model, settings = load_model(), Settings()
    net = load_weighing(model.origin.sha256)
    ways = {"mean": None} if net is None else {"mean": None, "net": net}
    tallies = judge_sets(options.folder, model, settings, ways, _finder(settings) if options.align else None)
    measured = table(tallies)
    for way, figures in measured.items():
        print(f"{way} ({len(tallies[way])} groups)")
        for name, one in figures.items():
            print(f"    {name:32s} {one.value:.3f}  {one.low:.3f} to {one.high:.3f}")
    for case, answers in _movement(options.folder, model, settings).items():
        print(f"{case or 'no case named'}: light moved enough in {sum(answers)} of {len(answers)} pairs")
    if options.json:
        plain = {way: {name: asdict(one) for name, one in figures.items()} for way, figures in measured.items()}
        options.json.write_text(json.dumps(plain, indent=1), encoding="utf-8")


def _finder(settings: Settings) -> Align:
    def find(first: Photo, other: Photo) -> NDArray[np.float64] | None:
        found = align(first, other, settings)
        return found.matrix if isinstance(found, Alignment) else None

    return find


def _movement(folder: Path, model, settings: Settings) -> dict[str, list[bool]]:
    told: dict[str, list[bool]] = {}
    for _group, views in read_sets(folder, model, settings):
        for other in views[1:]:
            result = fused([views[0], other], settings, None)
            told.setdefault(views[0].truth.split.get("case", ""), []).append(result.enough)
    return told


if __name__ == "__main__":
    main()
