"""Pictures that show no work at all, and what the tool says of them: none may end in standing `bright`."""

from __future__ import annotations

import csv
import importlib.util
import io
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.errors import BrokenInput
from prepcheck.evaluate.outside_pictures import KINDS, SIZE, make_outsider
from prepcheck.evaluate.sheet import Cell, contact_sheet, map_panel, picture_panel
from prepcheck.inspection import Inspection, inspect, worst_standing
from prepcheck.photo import Photo, from_bytes, read
from prepcheck.score import score_spot
from prepcheck.settings import Settings
from prepcheck.surface import Model
from prepcheck.terms import Standing, State

SEEDS = range(4)
SHIPPED = "shipped with scikit-image"


@dataclass(frozen=True)
class Outsider:
    """What the tool says of one picture that shows no work.

    Parameters
    ----------
    kind, name : str
        What it shows, and the seed or file.
    standing : str
        Of the photo.
    by_spots : str
        The worst standing of the spots, blocking flags left aside; empty without a spot.
    by_map : str
        As `by_spots`, the map taken at its word: an interval of no width. What narrower intervals would make of it.
    flags : tuple of str
        Codes of the blocking flags.
    bright : float
        Share of the picture mapped as bright metal.
    spots : float
        Share of the picture inside spots.
    panels : tuple of bytes
        Picture and map as small JPEG pictures.
    """

    kind: str
    name: str
    standing: str
    by_spots: str
    by_map: str
    flags: tuple[str, ...]
    bright: float
    spots: float
    panels: tuple[bytes, ...] = field(repr=False)


def look_outside(
    model: Model,
    settings: Settings,
    *,
    seeds: Sequence[int] | None = None,
    shape: tuple[int, int] | None = None,
    shipped: bool = True,
) -> Iterator[Outsider]:
    """Inspect generated pictures of every kind, and those that scikit-image's wheel ships.

    Parameters
    ----------
    model, settings
        Of the inspection.
    seeds : sequence of int, optional
        Of the generated pictures, for each kind; `SEEDS` otherwise.
    shape : tuple of int, optional
        Their rows and columns; `SIZE` otherwise.
    shipped : bool
        Whether to look at scikit-image's pictures too.
    """
    for kind in KINDS:
        for seed in SEEDS if seeds is None else seeds:
            photo = _photo(make_outsider(kind, seed, shape or SIZE), f"{kind} {seed}.jpg", settings)
            yield _seen(kind, f"seed {seed}", inspect(photo, model, settings), settings)
    for path in shipped_pictures() if shipped else ():
        try:
            photo = read(path, settings)
        except BrokenInput:
            continue  # a format that the tool does not read is no answer
        yield _seen(SHIPPED, path.name, inspect(photo, model, settings), settings)


def shipped_pictures() -> list[Path]:
    """Return the pictures that lie in scikit-image's wheel; nothing is downloaded or imported."""
    spec = importlib.util.find_spec("skimage")
    places = [] if spec is None else list(spec.submodule_search_locations or ())
    return sorted(path for place in places for path in Path(place, "data").glob("*") if path.suffix in (".png", ".jpg"))


def write_outside(out: Path, seen: Sequence[Outsider], model: Model) -> list[Path]:
    """Write ``outside.json``, ``outside.csv`` and ``outside.jpg`` into the folder `out`; return the files."""
    rows = [{key: value for key, value in asdict(one).items() if key != "panels"} for one in seen]
    said = {"format": "prepcheck outside 1", "model_sha256": model.origin.sha256, "pictures": rows}
    text = io.StringIO()
    table = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    table.writeheader()
    table.writerows({**row, "flags": " ".join(row["flags"])} for row in rows)
    files = {
        "outside.json": (json.dumps(said, indent=1) + "\n").encode(),
        "outside.csv": text.getvalue().encode(),
        "outside.jpg": contact_sheet([_shown(one) for one in seen], f"pictures that show no work, {model.origin.name}"),
    }
    out.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        (out / name).write_bytes(data)
    return [out / name for name in files]


def _shown(one: Outsider) -> Cell:
    flags = ", ".join(flag.replace("_", " ") for flag in one.flags) or "none"
    numbers = (
        f"bright metal {one.bright:.1%}, spots {one.spots:.1%} of the picture; by its map {one.by_map or 'no spot'}"
    )
    return Cell((f"{one.kind}, {one.name}   {one.standing}", f"blocking flags: {flags}", numbers), one.panels)


def _photo(rgb: NDArray[np.uint8], name: str, settings: Settings) -> Photo:
    data = cv2.imencode(".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
    return from_bytes(data.tobytes(), name, settings)


def _seen(kind: str, name: str, inspection: Inspection, settings: Settings) -> Outsider:
    surface, spots = inspection.surface, inspection.answer.spots
    states = surface.states
    inside = np.logical_or.reduce([np.zeros(states.shape, bool), *(spot.mask for spot, _ in spots)])
    exact = replace(surface, model=replace(surface.model, error_scale=0.0))
    by_map = [score_spot(spot, exact, inspection.photo, settings.score).standing for spot, _ in spots]
    return Outsider(
        kind=kind,
        name=name,
        standing=str(inspection.standing),
        by_spots=_worst([score.standing for _, score in spots]),
        by_map=_worst(by_map),
        flags=tuple(flag.code for flag in inspection.flags if flag.blocking),
        bright=float(np.mean(states == State.BRIGHT)),
        spots=float(inside.mean()),
        panels=(picture_panel(inspection.photo.rgb), map_panel(states, inside)),
    )


def _worst(standings: list[Standing]) -> str:
    return str(worst_standing(standings)) if standings else ""
