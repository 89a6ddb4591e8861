"""``/count/{name}/results``: shares, agreement, and how often the tool was wrong; shown to who has finished counting."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from prepcheck.agreement import kappa as k
from prepcheck.agreement.acceptance import Acceptance, accept
from prepcheck.agreement.compare import TOOL, Agreement, Comparison, compare, pairs, repeat, reproduce, side_by_side
from prepcheck.agreement.fields import Field
from prepcheck.agreement.folder import Count, read_count
from prepcheck.agreement.form import Counted
from prepcheck.agreement.point_count import FEWEST_FIELDS, SOURCE, AreaFraction, fractions
from prepcheck.agreement.proportion import SOURCE as EXACT
from prepcheck.agreement.proportion import Proportion
from prepcheck.errors import NotAllowed
from prepcheck.tasks.practice import Room
from prepcheck.web.pages import count_folder as f
from prepcheck.web.pages.desk import AtDesk
from prepcheck.web.pages.practice_room import room_of
from prepcheck.web.pages.render import show
from prepcheck.web.shop import TheShop

router = APIRouter()
_SECONDS = 4.0
"""After so long the page comes back and says how far the tool is, so that nobody waits without a word."""
_WAYS = {
    "every answer": "every answer",
    "all could tell": "where all could tell",
    "bright or residue": "bright or residue",
}
NOTES = (
    f"Shares: {SOURCE}; {FEWEST_FIELDS} photos are a usual least number (ASTM E562; from memory, check it).",
    f"How often: {EXACT}, points taken as independent; points of one photo resemble each other, so these intervals are "
    "rather too narrow. The shares of photos stand for themselves.",
    f"Agreement: {k.COHEN}; of several {k.FLEISS}; by photo {k.BY_PHOTO}. Words of the scale of {k.SCALE}, for both ends of "
    "both intervals; other scales use other words.",
    "This is how often the tool was wrong on these photos, as these people see them. Other metal, light or cameras need "
    "their own count.",
)
Row = tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """A table: its name, the heads of its columns, its rows."""

    name: str
    heads: Row
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Wrong:
    """How often the tool was wrong for one person: both ways in one sentence each, then the table."""

    person: str
    lines: tuple[str, ...]
    table: Table
    agreement: Table


@dataclass(frozen=True)
class ResultsPage:
    """All that came out; `waiting` photos are still to be looked at by the tool."""

    name: str
    shares: tuple[Table, ...]
    agreement: tuple[Table, ...]
    wrong: tuple[Wrong, ...]
    waiting: int
    of: int
    notes: tuple[str, ...] = NOTES

    @property
    def title(self) -> str:
        """Its name."""
        return f"Count {self.name}: results"


@router.get("/count/{name}/results")
def results(request: Request, shop: TheShop, desk: AtDesk, name: str) -> HTMLResponse:
    """Show what came out."""
    folder, known = _opened(shop.folder, name, desk.person)
    told = {one.sha256: f.told_by_tool(folder, one, room_of(shop)) for one in known.fields}
    whole = {sha256: one for sha256, one in told.items() if one is not None}
    waiting = len(known.fields) - len(whole)
    page = ResultsPage(
        name=name,
        shares=tuple(_shares(person, [one for _, one in both]) for person, both in known.by_person().items()),
        agreement=tuple(_between(known)),
        wrong=() if waiting else tuple(_wrong(known, whole)),
        waiting=waiting,
        of=len(known.fields),
    )
    return show(request, "count_results.html", page, desk.person)


@router.post("/count/{name}/tool")
def ask_tool(shop: TheShop, desk: AtDesk, name: str) -> RedirectResponse:
    """Let the tool look at photos for a few seconds, and come back to say how far it is."""
    folder, known = _opened(shop.folder, name, desk.person)
    end = time.monotonic() + _SECONDS
    for one in _unasked(folder, known, room_of(shop)):
        f.ask_tool(folder, one, room_of(shop))
        if time.monotonic() > end:
            break
    return RedirectResponse(f"/count/{name}/results#tool", 303)


def _opened(store: Path, name: str, person: str) -> tuple[Path, Count]:
    """Return a count; `NotAllowed` for who has not finished it: the answers of others would lead their eye."""
    folder = f.folder_of(store, name)
    known = read_count(folder)
    if len(f.finished_by(known, person)) < len(known.fields):
        raise NotAllowed("results are shown once you have counted all photos", "Finish counting first", name)
    return folder, known


def _unasked(folder: Path, known: Count, room: Room) -> Iterator[Field]:
    return (one for one in known.fields if f.told_by_tool(folder, one, room) is None)


def _shares(person: str, counts: list[Counted]) -> Table:
    photos, points = len(counts), sum(len(one.labels) for one in counts)
    rows = [(state.label, *_share(one)) for state, one in fractions(counts).items() if one.mean]
    name = f"{person}: {_number(photos, 'photo')}, {points:,} points"
    return Table(name, ("state", "share of points", "95 % interval", "relative accuracy"), tuple(rows))


def _share(one: AreaFraction) -> Row:
    interval = "-" if one.interval is None else "{:.1f} to {:.1f} %".format(*one.interval)
    accuracy = "-" if one.relative_accuracy is None else f"{one.relative_accuracy:.0f} %"
    return f"{one.mean:.1f} %", interval, accuracy


def _between(known: Count) -> Iterator[Table]:
    for person, answers in repeat(known.counts).items():
        yield _compared(f"{person} twice", compare(answers))
    several = reproduce(known.counts)
    if several is None:
        return
    for one in pairs(several):
        yield _compared(" and ".join(one.who), one)
    if len(several.who) > 2:
        yield _compared("All of them", compare(several))


def _compared(name: str, one: Comparison) -> Table:
    heads = ("way of looking", "points", "equal", "kappa", "95 % interval", "by photo", "words")
    left_out = f"; {one.boundary} more on a boundary left out" if one.boundary else ""
    rows = tuple(_agreement(each) for each in one.agreements)
    return Table(f"{name}: {_number(one.photos, 'photo')}{left_out}", heads, rows)


def _agreement(one: Agreement) -> Row:
    found = one.kappa
    ends = [end for interval in (found.interval, one.by_photo) if interval for end in interval]
    words = k.words((min(ends), max(ends))) if found.interval else "no kappa: all gave one answer, or no such point"
    equal = "-" if found.observed is None else f"{100 * found.observed:.0f} %"
    value = "-" if found.value is None else f"{found.value:.2f}"
    return _WAYS[one.way], f"{one.points:,}", equal, value, _range(found.interval), _range(one.by_photo), words


def _wrong(known: Count, told: dict[str, Counted]) -> Iterator[Wrong]:
    for person, both in known.by_person().items():
        made = [one for _, one in both]
        one = accept(side_by_side((person, TOOL), [made, [told[each.sha256] for each in made]]))
        yield Wrong(person, _both_ways(one), _by_state(one), _compared(f"{person} and the tool", one.agreement))


def _both_ways(one: Acceptance) -> Row:
    return (
        f"Residue that the tool called bright: {_often(one.wrongly_bright)}.",
        f"Photos with such a point: {_often(one.photos_wrongly_bright)}.",
        f"Bright metal that it called otherwise: {_often(one.wrongly_residue)}.",
        f"Photos with such a point: {_often(one.photos_wrongly_residue)}.",
        f"Oxide, pits and foreign matter that it found: {_often(one.residue_found)}.",
        f"Points for which it told a state: {_often(one.coverage)}.",
    )


def _by_state(one: Acceptance) -> Table:
    rows = tuple((each.state.label, *map(_often, (each.coverage, each.same, each.wrong))) for each in one.by_state)
    return Table(f"By state, as {one.person} says", ("state", "told", "same state", "wrong side"), rows)


def _often(one: Proportion) -> str:
    if not one.of:
        return "no such point"
    return f"{one.hits:,} of {one.of:,} ({100 * one.low:.0f} to {100 * one.high:.0f} %)"


def _range(interval: tuple[float, float] | None) -> str:
    return "-" if interval is None else "{:.2f} to {:.2f}".format(*interval)


def _number(count: int, what: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'}"
