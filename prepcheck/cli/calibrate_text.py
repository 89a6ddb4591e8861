"""What ``prepcheck calibrate`` prints."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from prepcheck.errors import printable
from prepcheck.report.entry_words import entry_words

if TYPE_CHECKING:
    from prepcheck.archive.shop_fit_file import FigureLine, FitStatement, RowLine
    from prepcheck.evaluate.fit_shop_drift import Check
    from prepcheck.tasks.shop_fit import InUse, Kept

_BACK = "One command takes it back: prepcheck calibrate back --person NAME --reason WHY"
_MOST_NAMED = 5
_HEADS = ("", "without", "with the fit", "by its own sure")


def kept_text(kept: Kept, limit: float) -> Iterator[str]:
    """Say what a fit rests on, what its proof shows, and whether it was taken into use or refused.

    `limit` is the share of residue up to which a spot is `bright`.
    """
    told = kept.statement
    yield from _statement(told, limit)
    if told.refused:
        yield "Refused, nothing changes:"
        yield from (f"  {reason}" for reason in told.refused)
    else:
        yield f"Taken into use: answers in this log are read with this shop's own fit of {told.at:%Y-%m-%d} from now on."
        yield _BACK
    yield f"Kept as entry {kept.event.number} of the log, with the evidence in shop-fits/{kept.sha256}.json"


def used_text(used: InUse, limit: float) -> Iterator[str]:
    """Say which fit is in use, or why it is not."""
    if used.event is None:
        yield "No fit is in use: the tool reads by its own calibration."
        yield from _history(used)
        return
    yield f"The fit of entry {used.event.number}, taken into use {used.event.at[:16].replace('T', ' ')} by {used.event.person}"
    if used.statement is not None:
        yield from _statement(used.statement, limit)
    if used.unused:
        yield f"NOT USED: {used.unused}. Each answer says so, until a new fit is taken or this one is taken back."
    else:
        yield "File, key and signature are those that were logged; it belongs to this model and these settings."
    yield from _history(used)
    yield _BACK


def _history(used: InUse) -> Iterator[str]:
    if used.history:
        yield "Logged so far:"
    for event in used.history:
        yield f"  entry {event.number}, {event.at[:16].replace('T', ' ')}, {event.person}: {entry_words(event)}"


def drift_text(told: FitStatement, checks: Sequence[Check], limit: float) -> Iterator[str]:
    """Say what each check saw, and whether something speaks against the fit."""
    yield f"This shop's own fit of {told.at:%Y-%m-%d}, held against what came after it:"
    for one in checks:
        chance = "not checked" if one.chance is None else f"by chance alone {_chance(one.chance)}"
        yield f"  {one.name}: {one.seen} ({chance})"
    if any(one.speaks_against(limit) for one in checks):
        yield f"This speaks against the fit, beyond chance (limit {limit:.1%} each). Label recent photos and fit again."
        yield _BACK
    elif all(one.chance is None for one in checks):
        yield "Nothing could be checked: give folders with labels of photos that were taken since."
    else:
        yield f"Nothing here speaks against it beyond chance (limit {limit:.1%} each). With few photos little can be seen."


def drift_json(checks: Sequence[Check], limit: float) -> list[dict[str, object]]:
    """Return the checks as plain data."""
    return [{**vars(one), "limit": limit, "speaks_against": one.speaks_against(limit)} for one in checks]


def _statement(told: FitStatement, limit: float) -> Iterator[str]:
    same = "" if told.groups == len(told.photos) else f" ({told.groups} that do not show the same)"
    yield f"{len(told.photos)} photos{same}: {told.bright} labelled places of bright metal, {told.residue} of residue."
    if told.contradicted:
        yield f"Left out: {told.contradicted} points on which people contradict each other."
    if told.left_out:
        yield f"Left out: {len(told.left_out)} photos. {_some(told.left_out)}"
    if told.rows:
        yield "On each photo by a fit that has not seen it (95 % intervals over photos):"
        yield from _table(told.rows)
        yield "  'with the fit' tells as many places as 'without'; 'by its own sure' is what answers will tell."
        yield from _reach(told.rows[-1], limit)
    if told.gain is not None:
        yield f"Log loss changes by {_loss(told.gain, sign='+')}; below 0 is better."
    slope, shift = f"{told.slope:g} (below 1 the tool is less sure)", f"{told.shift:+g} ({_towards(told.shift)})"
    yield f"Slope {slope}, shift {shift}; slope 1 with shift 0 changes nothing."
    if told.tries:
        yield f"Fits tried in this log before: {told.tries}. Who tries often enough finds one that seems to help."


def _reach(row: RowLine, limit: float) -> Iterator[str]:
    """Say what the width of intervals leaves to be called bright."""
    before, after = row.before.value, row.after.value
    if before is not None and after is not None and after > limit:
        yield f"  Intervals as wide as here ({after:.0%} either way, {before:.0%} without) leave few spots or none to be called"
        yield f"  bright: with more than {limit:.0%} none can be. No fit makes them narrower."


def _towards(shift: float) -> str:
    return "none" if shift == 0 else "towards bright metal" if shift > 0 else "towards residue"


def _table(rows: Sequence[RowLine]) -> Iterator[str]:
    cells = [_HEADS] + [
        (row.name, *(_cell(row.name, one) for one in (row.before, row.after, row.as_told))) for row in rows
    ]
    widths = [max(len(row[at]) for row in cells) for at in range(len(_HEADS))]
    for row in cells:
        yield "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()


def _cell(name: str, figure: FigureLine) -> str:
    return _loss(figure) if name == "log loss" else _share(figure)


def _share(figure: FigureLine) -> str:
    if figure.value is None or figure.low is None or figure.high is None:
        return "-"
    return f"{figure.value:.1%} ({100 * figure.low:.1f} to {100 * figure.high:.1f})"


def _loss(figure: FigureLine, sign: str = "") -> str:
    if figure.value is None or figure.low is None or figure.high is None:
        return "-"
    return f"{figure.value:{sign}.3f} ({figure.low:{sign}.3f} to {figure.high:{sign}.3f})"


def _chance(chance: float) -> str:
    return "under 0.1 %" if chance < 0.001 else f"{100 * chance:.1f} %"


def _some(left_out: Sequence[tuple[str, str]]) -> str:
    named = "; ".join(printable(f"{name}: {why}") for name, why in left_out[:_MOST_NAMED])
    return named + (f"; and {len(left_out) - _MOST_NAMED} more" if len(left_out) > _MOST_NAMED else "")
