"""Measures a labelled folder (layout in the design, section 5): runs the inspection on each photo and compares."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.errors import Unreadable
from prepcheck.evaluate.baselines import by_brightness
from prepcheck.evaluate.measures import (
    MEASURES,
    POINT_MEASURES,
    PointTally,
    Tally,
    bootstrap,
    point_tally,
    tally,
    total,
)
from prepcheck.inspection import Inspection, inspect
from prepcheck.photo import read
from prepcheck.score import stand
from prepcheck.score.patch import find_patches
from prepcheck.score.share import BrightShare
from prepcheck.settings import Settings
from prepcheck.surface import Model
from prepcheck.terms import Standing, State


@dataclass(frozen=True)
class Judged:
    """One labelled photo: its group, what to split by, its counts, its standings by the tool and by the truth.

    `by_brightness` holds the counts of the simplest rule, to which the true ground area is given.
    """

    name: str
    group: str
    split: dict[str, str]
    tally: Tally
    by_brightness: Tally
    said: Standing
    truly_clean: bool


@dataclass(frozen=True)
class Figure:
    """A measure with its 95 % bootstrap interval over groups."""

    value: float
    low: float
    high: float


def judge_folder(folder: Path, model: Model, settings: Settings) -> list[Judged]:
    """Inspect every photo of a folder with ``states/`` and compare.

    A scale in ``meta/NAME.json`` is used for patch sizes only; the tool itself is told nothing.

    Raises
    ------
    Unreadable
        There is no photo with truth.
    """
    photos = sorted(path for path in (folder / "images").glob("*") if (folder / f"states/{path.stem}.png").is_file())
    if not photos:
        raise Unreadable("holds no images/NAME with states/NAME.png", "See the layout in the docs", str(folder))
    return [_judged(path, folder, model, settings) for path in photos]


def judge_points(folder: Path, model: Model, settings: Settings) -> list[tuple[str, PointTally]]:
    """Inspect every photo named in ``points.json`` and compare at its points; photos that are missing are left out.

    Raises
    ------
    Unreadable
        The list says something else, or names no photo that is there.
    """
    judged = []
    for file, points, labels in _pointed(folder / "points.json"):
        path = _inside(folder, file)
        if path is not None:
            inspection = inspect(read(path, settings), model, settings)
            judged.append((file, point_tally(_at(inspection, points), labels)))
    if not judged:
        raise Unreadable("names no photo that is there", "See the layout in the docs", str(folder / "points.json"))
    return judged


def _pointed(path: Path) -> list[tuple[str, NDArray[np.float64], NDArray[np.uint8]]]:
    """Read files, points (n, 2) and labels (n,) from a list of labelled points."""
    try:
        entries = [
            (
                str(entry["file"]),
                np.array(entry["points"], np.float64).reshape(-1, 2),
                np.array(entry["labels"], np.uint8),
            )
            for entry in json.loads(path.read_text(encoding="utf-8"))
        ]
    except (OSError, ValueError, TypeError, KeyError, OverflowError) as error:
        raise Unreadable(f"is no list of labelled points ({error})", "See the layout in the docs", str(path)) from error
    if odd := [file for file, points, labels in entries if labels.shape != (len(points),)]:
        raise Unreadable(f"has not one label for each point of {odd[0]}", "Mend the list", str(path))
    return entries


def figures(judged: Sequence[Judged], *, draws: int = 1000) -> dict[str, Figure]:
    """Return every measure over all photos, with intervals by groups."""
    summed = _by_group([(one.group, one.tally) for one in judged])
    return {name: _figure(summed, measure, draws) for name, measure in MEASURES.items()}


def baseline(judged: Sequence[Judged], *, draws: int = 1000) -> Figure:
    """Return the balanced accuracy of the brightness rule, the true ground area given."""
    summed = _by_group([(one.group, one.by_brightness) for one in judged])
    return _figure(summed, MEASURES["balanced accuracy"], draws)


def _by_group(tallies: Sequence[tuple[str, Tally]]) -> list[Tally]:
    groups: dict[str, list[Tally]] = {}
    for group, one in tallies:
        groups.setdefault(group, []).append(one)
    return [total(members) for members in groups.values()]


def point_figures(judged: Sequence[tuple[str, PointTally]], *, draws: int = 1000) -> dict[str, Figure]:
    """Return every point measure over all photos, with intervals by photo."""
    tallies = [tally for _, tally in judged]
    return {name: _figure(tallies, measure, draws) for name, measure in POINT_MEASURES.items()}


def splits(judged: Sequence[Judged]) -> Iterator[tuple[str, str, list[Judged]]]:
    """Give the photos by each value of each key of their meta that splits them into two to twelve groups."""
    keys = sorted({key for one in judged for key in one.split})
    for key in keys:
        values = sorted({one.split.get(key, "") for one in judged})
        if 2 <= len(values) <= 12:
            for value in values:
                yield key, value, [one for one in judged if one.split.get(key, "") == value]


def standings(judged: Sequence[Judged]) -> dict[tuple[str, Standing], int]:
    """Count photos by what they truly are (``clean`` or ``dirty``, the rule applied to the truth) and their standing."""
    counts: dict[tuple[str, Standing], int] = {}
    for one in judged:
        key = ("clean" if one.truly_clean else "dirty", one.said)
        counts[key] = counts.get(key, 0) + 1
    return counts


def _figure(tallies: Sequence[Any], measure: Any, draws: int) -> Figure:
    low, high = bootstrap(tallies, measure, draws=draws)
    return Figure(measure(total(tallies)), low, high)


def _judged(path: Path, folder: Path, model: Model, settings: Settings) -> Judged:
    meta_file = folder / f"meta/{path.stem}.json"
    meta = json.loads(meta_file.read_text(encoding="utf-8")) if meta_file.is_file() else {}
    truth = _plane(folder / f"states/{path.stem}.png")
    ground_file = folder / f"ground/{path.stem}.png"
    ground = _plane(ground_file) > 0 if ground_file.is_file() else truth != State.CANNOT_TELL
    inspection = inspect(read(path, settings), model, settings)
    states, residue, spots, burnt = _full_size(inspection, truth.shape)
    scale = meta.get("mm_per_px")
    share = inspection.answer.share
    compared = tally(
        states,
        residue,
        spots,
        truth,
        ground,
        burnt,
        mm_per_px=scale,
        interval=None if share is None else (share.low, share.high),
    )
    bare = _by_brightness(inspection, truth, ground, burnt, scale)
    split = {key: str(value) for key, value in meta.items() if isinstance(value, str | bool)}
    clean = _truly_clean(truth, ground, scale, settings)
    return Judged(path.stem, str(meta.get("group") or path.stem), split, compared, bare, inspection.standing, clean)


def _by_brightness(
    inspection: Inspection,
    truth: NDArray[np.uint8],
    ground: NDArray[np.bool_],
    burnt: NDArray[np.bool_],
    scale: float | None,
) -> Tally:
    if not ground.any():
        return Tally(photos=1)
    rgb = cv2.resize(inspection.photo.rgb, truth.shape[::-1], interpolation=cv2.INTER_AREA)
    states = by_brightness(np.asarray(rgb, np.uint8), ground)
    residue = np.asarray(states != State.BRIGHT, np.float32)
    return tally(states, residue, ground, truth, ground, burnt, mm_per_px=scale)


def _truly_clean(truth: NDArray[np.uint8], ground: NDArray[np.bool_], scale: float | None, settings: Settings) -> bool:
    """Apply the standing rule to the truth itself: exact share, sure patches."""
    from prepcheck.photo import Plane
    from prepcheck.surface import ModelOrigin, SurfaceMap

    exact = (truth == State.BRIGHT).astype(np.float32)
    nothing = np.zeros(truth.shape, bool)
    surface = SurfaceMap(truth, exact, exact, nothing, (1.0, 1.0), ModelOrigin("truth", "", 0.0, 0.0, 0.0))
    inside = ground & (truth != State.CANNOT_TELL) & (truth != State.BACKGROUND)
    if not inside.any():
        return False
    share = float(exact[inside].mean())
    plane = None if scale is None else Plane(np.diag([scale, scale, 1.0]), 0.0, "stated")
    patches = find_patches(surface, inside, plane, settings.score)
    standing, _ = stand(BrightShare(share, share, share, 1.0), patches, settings.score)
    return standing is Standing.BRIGHT


def _full_size(inspection: Inspection, shape: tuple[int, ...]) -> tuple[Any, Any, Any, Any]:
    size = (shape[1], shape[0])
    surface = inspection.surface
    spots = np.zeros(surface.states.shape, np.uint8)
    for spot, _ in inspection.answer.spots:
        spots[spot.mask] = 1
    return (
        cv2.resize(surface.states, size, interpolation=cv2.INTER_NEAREST_EXACT),
        cv2.resize(surface.residue, size, interpolation=cv2.INTER_LINEAR),
        cv2.resize(spots, size, interpolation=cv2.INTER_NEAREST_EXACT) > 0,
        cv2.resize(surface.burnt.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST_EXACT) > 0,
    )


def _plane(path: Path) -> NDArray[np.uint8]:
    data = np.fromfile(path, np.uint8)
    plane = cv2.imdecode(data, cv2.IMREAD_GRAYSCALE) if data.size else None
    if plane is None:
        raise Unreadable("is no readable picture", "Mend the labelled folder", path.name)
    return np.asarray(plane, np.uint8)


def _at(inspection: Inspection, points: NDArray[np.float64]) -> NDArray[np.uint8]:
    surface = inspection.surface
    places = np.round(surface.from_full(points)).astype(int)
    height, width = surface.states.shape
    inside = (places[:, 1].clip(0, height - 1), places[:, 0].clip(0, width - 1))
    return np.asarray(surface.states[inside], np.uint8)


def _inside(folder: Path, name: str) -> Path | None:
    path = (folder / name).resolve()
    return path if path.is_relative_to(folder.resolve()) and path.is_file() else None
