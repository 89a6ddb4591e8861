"""Runs the inspection on each photo of a labelled folder (layout in the design, section 5) and compares."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.evaluate import causes
from prepcheck.evaluate.baselines import Rule, at_full_size
from prepcheck.evaluate.clean import what_it_is
from prepcheck.evaluate.edges import by_distance
from prepcheck.evaluate.judged import Judged
from prepcheck.evaluate.measures import MEASURES, Tally, labelled, tally, told_share, true_share
from prepcheck.evaluate.sheet import map_panel, picture_panel, points_panel
from prepcheck.evaluate.sparse import pit_tally, point_tally
from prepcheck.evaluate.truth import Points, Truth, read_points, read_truths
from prepcheck.inspection import Inspection, inspect
from prepcheck.photo import read
from prepcheck.settings import Settings
from prepcheck.surface import Model
from prepcheck.terms import State

P = TypeVar("P", bound=np.generic)
Codes = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Look = Callable[[Path], tuple[Inspection, float]]


def looking(model: Model, settings: Settings) -> Look:
    """Return a function that reads and inspects a photo, hinting nothing, and says how many seconds that took."""

    def look(path: Path) -> tuple[Inspection, float]:
        start = time.perf_counter()
        inspection = inspect(read(path, settings), model, settings)
        return inspection, time.perf_counter() - start

    return look


def judge_folder(
    folder: Path, model: Model, settings: Settings, rules: Mapping[str, Rule] | None = None
) -> list[Judged]:
    """Inspect every photo of a folder with ``states/`` and compare; by pits alone where nothing else is labelled.

    A scale in ``meta/NAME.json`` is used for patch sizes only; the tool itself is told nothing.

    Parameters
    ----------
    folder : Path
        Folder in the layout of the design, section 5.
    model, settings
        Of the inspection.
    rules : dict of str to Rule, optional
        Baselines to measure beside it.

    Raises
    ------
    Unreadable
        There is no photo with truth, or a file says something else.
    """
    look = looking(model, settings)
    truths = read_truths(folder)
    first = next(truths)
    judge = _pits if first.pits_only else _maps
    return [judge(truth, look, settings, rules or {}) for truth in _chain(first, truths)]


def judge_points(folder: Path, model: Model, settings: Settings) -> list[Judged]:
    """Inspect every photo named in ``points.json`` and compare at its points; photos that are missing are left out.

    Raises
    ------
    Unreadable
        The list says something else, or names no photo that is there.
    """
    look = looking(model, settings)
    return [_pointed(one, look, settings) for one in read_points(folder)]


def _chain(first: Truth, rest: Iterator[Truth]) -> Iterator[Truth]:
    yield first
    yield from rest


def _maps(truth: Truth, look: Look, settings: Settings, rules: Mapping[str, Rule]) -> Judged:
    inspection, seconds = look(truth.path)
    rgb, burnt = _raster(inspection, truth.states.shape, settings)
    states, residue, spots = _full_size(inspection, truth.states.shape)
    share = inspection.answer.share
    compared = tally(
        states, residue, spots, truth.states, truth.ground, burnt,
        mm_per_px=truth.mm_per_px, interval=None if share is None else (share.low, share.high),
    )  # fmt: skip
    edge = by_distance(residue, truth.states, labelled(truth.states, truth.ground, burnt))
    compared = replace(compared, edge=edge)
    judged = _judged(inspection, seconds, truth.path.stem, truth.group, truth.split, compared)
    return replace(
        judged,
        truly=what_it_is(truth, settings),
        badness=causes.map_badness(compared),
        causes=causes.map_causes(compared),
        numbers=_map_numbers(compared, inspection),
        panels=(picture_panel(rgb), map_panel(truth.states, truth.ground, rgb), map_panel(states, spots)),
        rules={name: _by_rule(rule, rgb, truth, burnt) for name, rule in rules.items()},
    )


def _pits(truth: Truth, look: Look, settings: Settings, rules: Mapping[str, Rule]) -> Judged:
    inspection, seconds = look(truth.path)
    rgb, burnt = _raster(inspection, truth.states.shape, settings)
    states, _residue, spots = _full_size(inspection, truth.states.shape)
    pits = truth.states == State.PIT
    compared = pit_tally(states, pits, burnt)
    return replace(
        _judged(inspection, seconds, truth.path.stem, truth.group, truth.split, compared),
        badness=causes.pit_badness(compared),
        causes=causes.pit_causes(compared),
        numbers=f"pits {compared.pits:.0f}, found {compared.pits_found:.0f}, called residue {compared.pits_as_residue:.0f}",
        panels=(picture_panel(rgb), map_panel(truth.states, pits, rgb), map_panel(states, spots)),
    )


def _pointed(truth: Points, look: Look, settings: Settings) -> Judged:
    inspection, seconds = look(truth.path)
    rgb = inspection.photo.rgb
    places = (truth.points + 0.5) * rgb.shape[1] / inspection.photo.width
    told = _pick(inspection.surface.states, inspection.surface.from_full(truth.points))
    seen = ~_pick(_burnt(rgb, settings), places - 0.5)
    compared = point_tally(told[seen], truth.labels[seen])
    labels = np.where(truth.labels <= 5, truth.labels, np.uint8(State.CANNOT_TELL))
    spots = _spots(inspection)
    return replace(
        _judged(inspection, seconds, truth.name, truth.name, {"source": truth.source}, compared),
        badness=causes.point_badness(compared),
        causes=causes.point_causes(compared),
        numbers=f"{compared.confusion[1:].sum():.0f} scored points",
        panels=(picture_panel(rgb), points_panel(rgb, places, labels), map_panel(inspection.surface.states, spots)),
    )


def _judged(
    inspection: Inspection, seconds: float, name: str, group: str, split: Mapping[str, str], compared: Any
) -> Judged:
    return Judged(
        name=name,
        photo_sha256=inspection.photo.sha256,
        group=group,
        split=split,
        tally=compared,
        standing=inspection.standing,
        truly="",
        flags=tuple(flag.code for flag in inspection.flags if flag.blocking),
        seconds=seconds,
        badness=0.0,
        causes=(),
        numbers="",
        panels=(b"", b"", b""),
    )


def _map_numbers(t: Tally, inspection: Inspection) -> str:
    told = {name: float(MEASURES[name](t)) for name in ("spot IoU", "coverage")}
    share = inspection.answer.share
    said = "no answer" if share is None else f"{share.low:.2f} to {share.high:.2f}"
    patches = f"patches {t.patches_found:.0f} of {t.patches:.0f}, false {t.patches_false:.0f}"
    shares = f"bright share {told_share(t.confusion):.2f}, truly {true_share(t.confusion):.2f} (said {said})"
    figures = ", ".join(f"{name} {value:.2f}" for name, value in told.items())
    return f"accuracy {causes.map_accuracy(t):.2f}, {figures}, {patches}, {shares}"


def _by_rule(rule: Rule, rgb: Codes, truth: Truth, burnt: Mask) -> tuple[Tally, float]:
    if not truth.ground.any():
        return Tally(photos=1), 0.0
    start = time.perf_counter()
    states = at_full_size(rule, rgb, truth.ground)
    seconds = time.perf_counter() - start
    residue = np.asarray(states != State.BRIGHT, np.float32)
    return tally(states, residue, truth.ground, truth.states, truth.ground, burnt, mm_per_px=truth.mm_per_px), seconds


def _raster(inspection: Inspection, shape: tuple[int, ...], settings: Settings) -> tuple[Codes, Mask]:
    """Return the photo at the size of the truth, shape (h, w, 3), and where it is burnt out, shape (h, w)."""
    rgb = inspection.photo.rgb
    if rgb.shape[:2] != shape:
        rgb = np.asarray(cv2.resize(rgb, (shape[1], shape[0]), interpolation=cv2.INTER_AREA), np.uint8)
    return rgb, _burnt(rgb, settings)


def _burnt(rgb: Codes, settings: Settings) -> Mask:
    return np.asarray(cv2.inRange(rgb, np.full(3, settings.score.burnt_level), np.full(3, 255)) > 0)


def _full_size(inspection: Inspection, shape: tuple[int, ...]) -> tuple[Codes, NDArray[np.float32], Mask]:
    """Return states, residue probability and the union of spots at the size of the truth."""
    size = (shape[1], shape[0])
    surface = inspection.surface
    spots = _spots(inspection).astype(np.uint8)
    return (
        np.asarray(cv2.resize(surface.states, size, interpolation=cv2.INTER_NEAREST_EXACT), np.uint8),
        np.asarray(cv2.resize(surface.residue, size, interpolation=cv2.INTER_LINEAR), np.float32),
        cv2.resize(spots, size, interpolation=cv2.INTER_NEAREST_EXACT) > 0,
    )


def _spots(inspection: Inspection) -> Mask:
    masks = [spot.mask for spot, _ in inspection.answer.spots]
    return np.logical_or.reduce(masks) if masks else np.zeros(inspection.surface.states.shape, bool)


def _pick(plane: NDArray[P], points: NDArray[np.float64]) -> NDArray[P]:
    """Return the values of a plane (h, w) at points (n, 2) as (x, y), pixel centres at whole numbers."""
    x, y = np.round(points).astype(int).T
    return np.asarray(plane[y.clip(0, plane.shape[0] - 1), x.clip(0, plane.shape[1] - 1)])
