"""What ``prepcheck practice`` prints, as lines and as objects for JSON, and the pictures it writes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from prepcheck.errors import printable
from prepcheck.practice import Difference
from prepcheck.practice.own_error import own_error
from prepcheck.practice.words import ORIGIN, WHO, area_rows, ground_words, patch_lines, unfit_words
from prepcheck.tasks.practice import Session, Shown
from prepcheck.tasks.practice_progress import NOTES, Outcome, outcome_words, outcomes, since_then


def started(one: Session) -> list[str]:
    """Say what began, and what comes next."""
    rows = [f"  {at}  {printable(photo.name)}" for at, photo in enumerate(one.photos, 1)]
    return [
        f"Practice session {one.number} of {one.person}: {_photos(len(one.photos))}",
        *rows,
        f"Mark where you see residue: prepcheck practice mark {one.number} 1 MARK.png, or on the page under /practice.",
        "Do not look at the tool's answer before: it would lead your eye.",
    ]


def marked(one: Session, position: int) -> list[str]:
    """Say that a mark is fixed, and what comes next."""
    photo = one.photo(position)
    fixed = f"Fixed: {printable(photo.name)}, mark {one.marks[photo.sha256].mark_sha256[:12]}. It stays as it is."
    if one.next is None:
        return [fixed, f"All are marked. See the difference: prepcheck practice show {one.number}"]
    return [
        fixed,
        f"Next: photo {one.next}, {printable(one.photo(one.next).name)}; or prepcheck practice show {one.number}",
    ]


def photo(position: int, name: str, shown: Shown) -> list[str]:
    """Say how the mark of one photo compares: with the known truth first, where there is one."""
    told = [one for one in (shown.truth, shown.tool) if one is not None]
    unfit = [f"  {line}" for line in (unfit_words(shown.inspection),) if line]
    lines = (line for one in told for line in _difference(one))
    return [f"Photo {position}, {printable(name)}", *lines, *unfit, *_own(shown)]


def session(one: Session, model_sha256: str) -> list[str]:
    """Say how a session came out so far."""
    waiting = len(one.photos) - len(one.marks)
    return [
        f"Session {one.number} of {one.person}, {one.at[:10]}",
        *(f"  {line}" for each in outcomes(one) for line in outcome_words(each)),
        *([f"  {_photos(waiting)} not marked yet; their answers stay hidden."] if waiting else []),
        *NOTES,
        own_error(model_sha256),
    ]


def in_one_line(one: Session) -> str:
    """Say whose session it is, and how far it is."""
    return f"Session {one.number}, {one.at[:10]}, {one.person}: {len(one.marks)} of {_photos(len(one.photos))} marked"


def progress(sessions: Sequence[Session]) -> list[str]:
    """Say how sessions came out one after the other."""
    lines: list[str] = []
    first: dict[str, Outcome] = {}
    for one in sessions:
        lines.append(f"Session {one.number}, {one.at[:10]}: {len(one.marks)} of {_photos(len(one.photos))} marked")
        for each in outcomes(one):
            before = first.setdefault(each.against, each)
            lines += [f"  {line}" for line in outcome_words(each)]
            lines += [f"  {since_then(before, each)}"] * (before is not each)
    return [*lines, *NOTES]


def session_json(one: Session) -> dict[str, Any]:
    """Tell a session as an object."""
    return {
        "session": one.number,
        "person": one.person,
        "at": one.at,
        "photos": [
            {
                "name": photo.name,
                "sha256": photo.sha256,
                "mark_sha256": one.marks[photo.sha256].mark_sha256 if photo.sha256 in one.marks else None,
                "compared": [
                    each.model_dump(mode="json", exclude={"kind", "session", "photo_sha256", "mark_sha256"})
                    for (sha256, _), each in one.compared.items()
                    if sha256 == photo.sha256
                ],
            }
            for photo in one.photos
        ],
        "outcomes": [_outcome_json(each) for each in outcomes(one)],
    }


def write_pictures(folder: Path, position: int, name: str, shown: Shown) -> None:
    """Write the photo with the difference over it, beside the tool and beside the truth."""
    import cv2
    import numpy as np

    from prepcheck.practice import Layer, draw
    from prepcheck.report.files import write_whole

    for difference in (shown.tool, shown.truth):
        if difference is None:
            continue
        over = draw(difference, Layer.DIFFERENCE)
        photo = cv2.resize(shown.inspection.photo.rgb, over.shape[1::-1], interpolation=cv2.INTER_AREA)
        laid = np.where(over[..., 3:] > 0, over[..., :3], photo)
        done, data = cv2.imencode(".png", np.ascontiguousarray(laid[..., ::-1]))
        assert done
        write_whole(folder / f"{position}-{Path(name).stem}.{difference.against}.png", data.tobytes())


def _difference(d: Difference) -> list[str]:
    rows = [f"    {name:<32}{words}" for name, words in area_rows(d)]
    return [f"  Beside {WHO[d.against]}. {ORIGIN[d.against]}", f"    {ground_words(d)}", *rows, *_lines(patch_lines(d))]


def _own(shown: Shown) -> list[str]:
    """Say the tool's own error on this photo, where the truth is known."""
    if shown.tool_beside_truth is None:
        return []
    other, marked = shown.tool_beside_truth.of("other"), shown.tool_beside_truth.of("marked")
    found, off = sum(not one.missed for one in other), sum(one.missed for one in marked)
    return [
        f"  The tool itself found {found} of {len(other)} patches of the known truth here; {off} of its {len(marked)} are off."
    ]


def _lines(lines: Sequence[str]) -> list[str]:
    return [f"    {line}" for line in lines]


def _outcome_json(one: Outcome) -> dict[str, Any]:
    return {
        "against": one.against,
        "photos": one.photos,
        "patches": {"found": one.found.hits, "of": one.found.of, "interval": (one.found.low, one.found.high)},
        "marked_off": {"off": one.off.hits, "of": one.off.of, "interval": (one.off.low, one.off.high)},
        "kappa": one.kappa,
        "kappa_interval_by_photo": one.interval,
    }


def _photos(count: int) -> str:
    return f"{count} photo{'s' * (count != 1)}"
