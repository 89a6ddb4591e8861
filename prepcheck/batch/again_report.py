"""What came of looking at a log again: a page and its figures."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any

from prepcheck.batch.again import Change, Logged, changes
from prepcheck.batch.ledger import Ledger
from prepcheck.batch.work import LookSpec
from prepcheck.report.contact import NOT_READ
from prepcheck.report.contact_change import Changed, ChangeSheet, change_page
from prepcheck.report.files import write_whole
from prepcheck.report.words import answer_words
from prepcheck.terms import WORST_FIRST

PAGE, FIGURES = "again.html", "again.json"
MOST = 60
"""Changes that are shown; the figures have those of all."""


def write_report(logged: Logged, ledger: Ledger, folder: Path, spec: LookSpec) -> tuple[ChangeSheet, list[Path]]:
    """Write the page and the figures of all inspections looked at again; return what they say and the files."""
    jobs = logged.jobs[0] if len(logged.jobs) == 1 else f"{len(logged.jobs):,} jobs"
    title, origin = f"{jobs}: looked at again with {spec.origin.name}", spec.told
    counts: Counter[tuple[str, str]] = Counter()
    largest: list[Change] = []
    rows: list[dict[str, Any]] = []
    for change in changes(logged, ledger):
        counts[str(change.before.standing), _after(change)] += 1
        rows.append(_plain(change))
        if change.is_other or change.by:
            largest = sorted([*largest, change], key=_size, reverse=True)[:MOST]
    sheet = ChangeSheet(title, origin, dict(sorted(counts.items())))
    write_whole(folder / PAGE, change_page(sheet, [_shown(change, ledger) for change in largest]).encode())
    write_whole(folder / FIGURES, _figures(sheet, rows).encode())
    return sheet, [folder / PAGE, folder / FIGURES]


def _after(change: Change) -> str:
    return NOT_READ if change.after is None else str(change.after.standing)


def _size(change: Change) -> tuple[bool, int, float]:
    """Return what changes are sorted by: another standing first, by how far they are apart, then by bright share."""
    if change.after is None:
        return False, 0, 0.0
    apart = abs(WORST_FIRST.index(change.after.standing) - WORST_FIRST.index(change.before.standing))
    return change.is_other, apart, abs(change.by)


def _shown(change: Change, ledger: Ledger) -> Changed:
    assert change.after is not None
    said = f"Before: {answer_words(change.before)}", f"Now: {answer_words(change.after)}"
    return Changed(change.row.name, str(change.before.standing), _after(change), said, ledger.thumbnail(change.row))


def _plain(change: Change) -> dict[str, Any]:
    line = change.row.record
    after = change.after
    return {
        "inspection": change.one.number,
        "name": change.row.name,
        "before": str(change.before.standing),
        "bright_share_before": change.before.bright_share,
        "now": None if after is None else str(after.standing),
        "bright_share_now": None if after is None else after.bright_share,
        "error": None if after is not None else line.error.message,  # type: ignore[union-attr]
        "model_before": change.before.origin.model,
    }


def _figures(sheet: ChangeSheet, rows: list[dict[str, Any]]) -> str:
    standings = [{"before": before, "now": after, "count": count} for (before, after), count in sheet.counts.items()]
    told = {
        "inspections": sheet.all_of,
        "other_standing": sheet.other,
        "not_looked_at": sheet.not_read,
        "standings": standings,
        "origin": sheet.origin,
        "rows": rows,
    }
    return json.dumps(told, indent=1) + "\n"
