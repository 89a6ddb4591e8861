"""The result of an evaluation: figures with intervals, counts, splits and origin, as data and as files."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from prepcheck import __version__
from prepcheck.evaluate.bootstrap import Counts, Figure, Measure, by_group, figures, total
from prepcheck.evaluate.curves import reliability_svg, risk_coverage_svg
from prepcheck.evaluate.judged import Judged
from prepcheck.evaluate.measures import MEASURES, Tally
from prepcheck.evaluate.sheet import Cell, contact_sheet
from prepcheck.evaluate.sparse import PIT_MEASURES, POINT_MEASURES, PitTally, PointTally
from prepcheck.evaluate.statistics import wilson
from prepcheck.inspection import settings_sha256
from prepcheck.settings import Settings
from prepcheck.surface import Model
from prepcheck.terms import WORST_FIRST, Standing

FORMAT = "prepcheck evaluation 1"
MOST_PARTS = 12
"""A key that splits the photos into more parts than this tells nothing."""

_KINDS: dict[type[Counts], tuple[str, Mapping[str, Measure]]] = {
    Tally: ("maps", MEASURES),
    PointTally: ("points", POINT_MEASURES),
    PitTally: ("pits", PIT_MEASURES),
}
ALL = "photos"
"""Where it is not known what they truly are."""

RULE_MEASURES = ("balanced accuracy", "patch recall", "false patches a photo", "bright-share error")


@dataclass(frozen=True)
class Part:
    """Figures of all photos, or of those of one light, tool, coating ...; standings by what they truly are.

    `bright` holds the Wilson interval of the share called `bright`, of the photos that are truly clean, dirty, without a spot.
    """

    photos: int
    groups: int
    figures: Mapping[str, Figure]
    standings: Mapping[str, Mapping[str, int]]
    bright: Mapping[str, tuple[float, float]]


@dataclass(frozen=True)
class Evaluation:
    """What one run measured.

    Parameters
    ----------
    kind : {"maps", "points", "pits"}
        What the labels are.
    folder : str
        Name of the folder.
    origin : dict
        Version, model with SHA-256, settings, and the SHA-256 over those of the photos.
    overall : Part
        All photos.
    parts : dict
        Key, then value, to `Part`.
    rules : dict
        Baseline to its figures and mean seconds a photo; the true ground area is given to each.
    counts : Counts
        What the figures of all photos are made of.
    causes : dict
        What went wrong, with the mean share over photos, largest first.
    main_causes : dict
        How many of the worst photos have it as their first cause.
    seconds : float
        Mean time of reading and inspecting a photo.
    """

    kind: str
    folder: str
    origin: Mapping[str, str]
    overall: Part
    parts: Mapping[str, Mapping[str, Part]]
    rules: Mapping[str, tuple[Mapping[str, Figure], float]]
    counts: Counts = field(repr=False)
    causes: Mapping[str, float]
    main_causes: Mapping[str, int]
    seconds: float


def evaluation(
    judged: Sequence[Judged], folder: Path, model: Model, settings: Settings, *, worst: int = 30
) -> Evaluation:
    """Sum up photos, of which there is at least one.

    Parameters
    ----------
    judged : sequence of Judged
        As `prepcheck.evaluate.folder` gives them.
    folder : Path
        Where they lie; its name is noted.
    model, settings
        With which they were inspected.
    worst : int
        How many count as the worst.
    """
    kind, measures = _KINDS[type(judged[0].tally)]
    return Evaluation(
        kind=kind,
        folder=folder.resolve().name,
        origin=_origin(judged, model, settings),
        overall=_part(judged, measures),
        parts={key: {v: _part(p, measures) for v, p in parts.items()} for key, parts in _splits(judged).items()},
        rules=_rules(judged),
        counts=total([one.tally for one in judged]),
        causes=_causes(judged),
        main_causes=dict(Counter(one.causes[0][0] for one in worst_first(judged)[:worst] if one.causes).most_common()),
        seconds=sum(one.seconds for one in judged) / len(judged),
    )


def worst_first(judged: Sequence[Judged]) -> list[Judged]:
    """Sort photos by how bad they came out."""
    return sorted(judged, key=lambda one: (-one.badness, one.name))


def write_evaluation(out: Path, made: Evaluation, judged: Sequence[Judged], *, worst: int = 30) -> list[Path]:
    """Write ``figures.json``, ``worst.csv``, ``worst.jpg`` and, for maps, the two curves into the folder `out`.

    Returns
    -------
    list of Path
        The files written.
    """
    ordered = worst_first(judged)
    shown = ordered[:worst]
    title = f"{made.folder}: the {len(shown)} worst of {len(ordered)} photos, model {made.origin['model']}"
    files: dict[str, bytes] = {
        "figures.json": (json.dumps(as_json(made), indent=1) + "\n").encode(),
        "worst.csv": _table(ordered, made).encode(),
        "worst.jpg": contact_sheet([_shown(number, one) for number, one in enumerate(shown, 1)], title),
    }
    if isinstance(made.counts, Tally):
        files["reliability.svg"] = reliability_svg(made.counts, f"{made.folder}: are the said chances right?").encode()
        files["risk_coverage.svg"] = risk_coverage_svg(made.counts, f"{made.folder}: risk against coverage").encode()
    out.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        (out / name).write_bytes(data)
    return [out / name for name in files]


def as_json(made: Evaluation) -> dict[str, Any]:
    """Give an evaluation as plain data; what cannot be measured is null."""
    said = asdict(made) | {"counts": made.counts.as_dict()}
    plain: dict[str, Any] = _without_nan({"format": FORMAT, **said})
    return plain


def _origin(judged: Sequence[Judged], model: Model, settings: Settings) -> dict[str, str]:
    photos = hashlib.sha256("".join(sorted(one.photo_sha256 for one in judged)).encode()).hexdigest()
    return {
        "version": __version__,
        "model": model.origin.name,
        "model_sha256": model.origin.sha256,
        "settings_sha256": settings_sha256(settings, model),
        "photos_sha256": photos,
    }


def _part(judged: Sequence[Judged], measures: Mapping[str, Measure]) -> Part:
    groups = by_group((one.group, one.tally) for one in judged)
    standings = _standings(judged)
    bright = {truly: _share_bright(said) for truly, said in standings.items() if truly != ALL}
    return Part(len(judged), len(groups), figures(groups, measures), standings, bright)


def _standings(judged: Sequence[Judged]) -> dict[str, dict[str, int]]:
    counts: dict[str, dict[str, int]] = {}
    for one in judged:
        said = counts.setdefault(one.truly or ALL, {str(standing): 0 for standing in WORST_FIRST})
        said[str(one.standing)] += 1
    return counts


def _share_bright(said: Mapping[str, int]) -> tuple[float, float]:
    return wilson(said[str(Standing.BRIGHT)], sum(said.values()))


def _splits(judged: Sequence[Judged]) -> dict[str, dict[str, list[Judged]]]:
    keys = sorted({key for one in judged for key in one.split})
    found = {
        key: {value: [o for o in judged if o.split.get(key) == value] for value in _values(judged, key)} for key in keys
    }
    return {key: parts for key, parts in found.items() if 2 <= len(parts) <= MOST_PARTS}


def _values(judged: Sequence[Judged], key: str) -> list[str]:
    values = {one.split[key] for one in judged if key in one.split}
    return sorted(values, key=lambda value: (_leading_number(value), value))


def _leading_number(value: str) -> float:
    try:
        return float(value.split()[0])
    except (ValueError, IndexError):
        return math.inf


def _rules(judged: Sequence[Judged]) -> dict[str, tuple[dict[str, Figure], float]]:
    measures = {name: MEASURES[name] for name in RULE_MEASURES}
    made = {}
    for rule in judged[0].rules:
        groups = by_group((one.group, one.rules[rule][0]) for one in judged)
        made[rule] = (figures(groups, measures), sum(one.rules[rule][1] for one in judged) / len(judged))
    return made


def _causes(judged: Sequence[Judged]) -> dict[str, float]:
    summed: Counter[str] = Counter()
    for one in judged:
        summed.update(dict(one.causes))
    return {what: share / len(judged) for what, share in summed.most_common()}


def _shown(number: int, one: Judged) -> Cell:
    return Cell((f"{number}  {one.name}   {one.standing}", one.caption, one.numbers), one.panels)


def _table(ordered: Sequence[Judged], made: Evaluation) -> str:
    measures = _KINDS[type(made.counts)][1]
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(["photo", "group", "badness", "standing", "truly", *measures, "what went wrong", "flags"])
    for one in ordered:
        values = [_cell(float(measure(one.tally))) for measure in measures.values()]
        wrong = "; ".join(f"{what} {share:.3f}" for what, share in one.causes)
        table.writerow(
            [one.name, one.group, f"{one.badness:.4f}", one.standing, one.truly, *values, wrong, " ".join(one.flags)]
        )
    return text.getvalue()


def _cell(value: float) -> str:
    return "" if math.isnan(value) else f"{value:.4f}"


def _without_nan(value: Any) -> Any:
    if isinstance(value, float):
        return None if math.isnan(value) else round(value, 6)
    if isinstance(value, Mapping):
        return {str(key): _without_nan(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(inner) for inner in value]
    return value
