"""What ``prepcheck people`` prints: text for a terminal, and objects for JSON."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from prepcheck.errors import printable
from prepcheck.progress.blocks import Block
from prepcheck.progress.gather import Left, PersonWork
from prepcheck.progress.kept import Kept
from prepcheck.progress.log import PersonLine
from prepcheck.progress.reused import LoggedPhoto, Question, Why
from prepcheck.progress.tally import Tally
from prepcheck.report import feedback_words as say
from prepcheck.report.feedback_chart import AXES
from prepcheck.report.feedback_tool import ToolErrors
from prepcheck.settings import ProgressSettings

KEPT_WHERE = (
    "All of this lies in the store's folder, in the log and among the photos; bags that were sealed hold copies.",
    "Photos are kept as received, with what the camera wrote into them. Names that stand in notes, titles, forms of counted"
    " points and other files are not listed here.",
    "The PIN itself is not kept, only a hash of it, which is not printed. What you logged is evidence of a job and is added"
    " to, never changed.",
    "Nothing is deleted by itself. A keeper takes your name and PIN out with: prepcheck erase person NAME --reason ... --by"
    " KEEPER; what you logged then stays under a number.",
    "A pseudonym is as good as a name: nothing here asks for your real one.",
)
QUESTION_NOTE = (
    "Each of these may have a good reason: a photo of several spots, a wrong number typed, a camera's clock, photos of an"
    " archive.\nAsk who logged it; nothing here says that anybody did wrong."
)
_ASK = {
    Why.SAME: "the same photo, to the byte. Does it belong to both?",
    Why.ALIKE: "nearly the same picture ({}). Are these two photos of two passes?",
    Why.OLD: "taken {} it was logged. Does it show this pass?",
    Why.LATER: "taken {} it was logged. Is the camera's clock right?",
}


def people_table(lines: Sequence[PersonLine]) -> RenderableType:
    """Lay out everybody in the log."""
    if not lines:
        return Text("Nobody in this log yet.")
    grid = _grid()
    for one in lines:
        counted = f"{_number(one.inspections, 'photo')} in {_number(one.jobs, 'job')}"
        days = "" if one.first is None or one.last is None else f", {one.first:%Y-%m-%d} to {one.last:%Y-%m-%d}"
        grid.add_row(
            Text(printable(one.name), style="bold"), Text(f"{counted}{days}" if one.inspections else "no photo")
        )
    return grid


def work_text(
    work: PersonWork, errors: Sequence[ToolErrors], settings: ProgressSettings, by: str = "spots"
) -> RenderableType:
    """Lay out a person's work over time."""
    if not work.spots:
        return Text(f"{work.name}: no spot whose first pass was logged in this name, in these days.")
    head = Text(
        f"{work.name}: {_number(len(work.spots), 'spot')} in {_number(work.jobs, 'job')}, {_days(work)}", "bold"
    )
    parts: list[RenderableType] = [head, _rows(_facts(work, settings.least_spots))]
    if work.left:
        parts += [
            Text(),
            Text("What was left at the first pass: the largest patch of each spot", "bold"),
            _left(work, settings),
        ]
    blocks = work.months if by == "month" else work.blocks
    if blocks:
        parts += [
            Text(),
            Text(f"Bright at the first pass over time, by {AXES[by]}", "bold"),
            _over_time(blocks, settings),
        ]
    return Group(*parts, Text(), *_notes(errors, work.fitted))


def compared(works: Sequence[PersonWork], errors: Sequence[ToolErrors], settings: ProgressSettings) -> RenderableType:
    """Lay out people side by side, in the order given."""
    parts: list[RenderableType] = []
    for work in works:
        parts += [Text(f"{work.name}: {_number(len(work.spots), 'spot')} in {_number(work.jobs, 'job')}", "bold")]
        parts += [_rows([*_facts(work, settings.least_spots), _most_left(work, settings.least_spots)]), Text()]
    note = Text(
        "In the order in which they were named; the spots were not the same, so this is no order of people.", "bold"
    )
    return Group(*parts, note, *_notes(errors, sum(work.fitted for work in works)))


def _facts(work: PersonWork, least: int) -> list[tuple[str, str]]:
    return [
        ("bright at the first pass", say.tally_words(work.firsts.tally, least, "spots")),
        ("counted apart, no misses", say.apart_words(work.firsts) or "none"),
        ("passes until bright", say.needed_words(work.needed)),
        ("own standing against the tool's", say.beside_words(work.beside)),
    ]


def _most_left(work: PersonWork, least: int) -> tuple[str, str]:
    return "left most often", say.usual_words(say.misses_of(work), least)


def _left(work: PersonWork, settings: ProgressSettings) -> RenderableType:
    rows: list[tuple[str, Tally]] = [(state.label, tally) for state, tally in say.by_state(work).items()]
    rows += [(place.value, tally) for place, tally in say.by_place(work).items()]
    told = [(label, say.tally_words(tally, settings.least_spots)) for label, tally in rows]
    return _rows([*told, ("most often together", say.usual_words(say.misses_of(work), settings.least_spots))])


def _over_time(blocks: Sequence[Block], settings: ProgressSettings) -> RenderableType:
    rows = [(block.label, say.tally_words(block.tally, settings.least_spots)) for block in blocks]
    return Group(_rows(rows), Padding(Text(say.change_words(blocks, settings.least_spots)), (0, 0, 0, 2)))


def _notes(errors: Sequence[ToolErrors], fitted: int) -> list[RenderableType]:
    told = (say.SPOTS_DIFFER, " ".join((say.RESTS_ON_TOOL, *say.tool_words(errors, fitted))), say.INTERVALS)
    return [Text(one, "italic") for one in told]


def _days(work: PersonWork) -> str:
    assert work.days is not None  # of work with spots
    first, last = work.days
    return f"{first}" if first == last else f"{first} to {last}"


def work_json(work: PersonWork, errors: Sequence[ToolErrors]) -> dict[str, Any]:
    """Tell a person's work as an object; every share is its counts with the exact interval."""
    first = work.firsts
    return {
        "person": work.name,
        "since": work.since,
        "until": work.until,
        "spots": len(work.spots),
        "jobs": work.jobs,
        "first_pass": {
            "bright": _share(first.tally),
            "cannot_tell": first.cannot_tell,
            "retake": first.retake,
            "not_logged": first.unlogged,
        },
        "passes": {"bright": work.needed.bright, "not_bright_yet": work.needed.open, "with_others": work.needed.shared},
        "left": {
            "by_state": {state.key: _share(tally) for state, tally in say.by_state(work).items()},
            "by_place": {place.name.lower(): _share(tally) for place, tally in say.by_place(work).items()},
            "spots": [_left_json(one) for one in work.left],
        },
        "over_time": {"by_spots": _blocks(work.blocks), "by_month": _blocks(work.months)},
        "against_tool": [{"tool": tool, "person": own, "cases": n} for (tool, own), n in work.beside.pairs.items()],
        "with_shop_fit": work.fitted,
        "tool_errors": [asdict(one) for one in errors],
        "cautions": [say.SPOTS_DIFFER, say.RESTS_ON_TOOL, say.INTERVALS],
    }


def _share(tally: Tally) -> dict[str, Any]:
    found = say.exact(tally)
    return {"hits": tally.hits, "of": tally.of, "interval": [found.low, found.high]}


def _blocks(blocks: Sequence[Block]) -> list[dict[str, Any]]:
    return [{"label": block.label, **_share(block.tally)} for block in blocks]


def _left_json(one: Left) -> dict[str, Any]:
    miss, shot = one.miss, one.shot
    where = {"job": shot.job, "spot": shot.spot, "inspection": shot.number, "state": miss.state.key}
    return {**where, "place": miss.place.name.lower(), "length_mm": miss.length_mm, "side": miss.side}


def kept_text(kept: Kept, months: int) -> RenderableType:
    """Lay out what is kept about a person."""
    rows = [("name", kept.name), *([("role", kept.role)] if kept.role else [])]
    for kind in kept.kinds:
        first, last = kind.items[0].at, kind.items[-1].at
        rows.append((kind.what, f"{len(kind.items)}, {first:%Y-%m-%d} to {last:%Y-%m-%d}"))
    return Group(
        Text(f"What this log keeps about {kept.name} (person {kept.number})", "bold"),
        _rows(rows),
        Text(),
        Text(_how_long(kept, months)),
        *(Text(line) for line in KEPT_WHERE),
    )


def _how_long(kept: Kept, months: int) -> str:
    day = kept.look_again(months)
    if day is None:
        return "Only the name is kept."
    until = f"For how long: {months} months after the last entry (a setting of the shop), so until {day};"
    return f"{until} then a keeper is to ask whether the name is still needed."


def kept_json(kept: Kept, months: int) -> dict[str, Any]:
    """Tell what is kept as an object, with the number and the time of every row."""
    rows = {kind.what: [{"number": item.number, "at": item.at} for item in kind.items] for kind in kept.kinds}
    return {
        "person": kept.name,
        "number": kept.number,
        "role": kept.role,
        "kept": rows,
        "keep_months": months,
        "look_again": kept.look_again(months),
        "notes": list(KEPT_WHERE),
    }


def questions_text(asked: Sequence[Question], photos: int) -> Iterator[str]:
    """Say what there is to ask about photos."""
    looked = f"{_number(photos, 'photo')} looked at by bytes, picture hash and time"
    if not asked:
        yield f"Nothing to ask about: {looked}."
        return
    yield f"{_number(len(asked), 'question')}; {looked}."
    for one in asked:
        yield f"{_place(one.photo)}"
        if one.earlier is not None:
            yield f"  and {_place(one.earlier)}"
        yield f"  {_ASK[one.why].format(one.measured)}"
    yield QUESTION_NOTE


def question_json(one: Question) -> dict[str, Any]:
    """Tell a question as an object."""
    earlier = None if one.earlier is None else _place_json(one.earlier)
    asked = _ASK[one.why].format(one.measured)
    return {"why": one.why.name.lower(), "question": asked, "photo": _place_json(one.photo), "earlier": earlier}


def _place(photo: LoggedPhoto) -> str:
    where = f"{photo.job}, spot {photo.spot}, pass {photo.pass_no} (inspection {photo.inspection})"
    return f"{printable(photo.name)}: {where}, by {printable(photo.person)} on {photo.at:%Y-%m-%d %H:%M}"


def _place_json(photo: LoggedPhoto) -> Mapping[str, Any]:
    told = ("inspection", "job", "spot", "pass_no", "person", "at", "sha256", "name", "taken")
    return {name: getattr(photo, name) for name in told}


def _rows(rows: Sequence[tuple[str, str]]) -> RenderableType:
    grid = _grid()
    for label, value in rows:
        grid.add_row(Text(label), Text(value))
    return Padding(grid, (0, 0, 0, 2), expand=False)


def _grid() -> Table:
    return Table.grid(padding=(0, 2, 0, 0))


def _number(count: int, word: str) -> str:
    return f"{count:,} {word}" + ("" if count == 1 else "s")
