"""The last pages: cautions, where every figure comes from, the log entry by entry, and the lines to sign."""

from __future__ import annotations

from prepcheck import __version__
from prepcheck.record import OriginRecord
from prepcheck.report.entry_words import entry_words
from prepcheck.report.job.content import Block, Facts, Points, Section, Signatures, Table, Words
from prepcheck.report.job.told import Told, by
from prepcheck.report.words import fit_words
from prepcheck.store.rows import LoggedEvent
from prepcheck.terms import CAUTIONS, HOT_WORK_LINE
from prepcheck.trade import entries as e

_FIGURES = (
    "told as they were logged: no score and no reading is computed again. This report only converts units, counts, and says "
    "what the checks say of readings and times against the limits named beside them, with the settings of its time"
)
_BEYOND = (
    "This report tells what was logged. What was not photographed, measured or entered is not in it.",
    "It takes no standing on the vessel, the weld or the part as a whole, and replaces no inspection by a competent person.",
)


def cautions() -> Section:
    """Say what no photo shows and what prepcheck never says."""
    return Section("Cautions", (Points((*CAUTIONS, HOT_WORK_LINE, *_BEYOND)),))


def origin(told: Told) -> Section:
    """Say where every figure comes from."""
    writing = (
        ("Report written by", f"prepcheck {__version__}, {told.when(told.now)} {told.offset}"),
        *_head(told),
        ("Figures", _FIGURES),
    )
    blocks: list[Block] = [Facts("This report", writing)]
    blocks += [Facts(*one) for one in _programs(told)]
    blocks += [_photos(told)] if told.inspections else []
    return Section("Origin of the figures", tuple(blocks + _seals(told)))


def entries(told: Told) -> Section:
    """List everything that people entered, in order; the whole of each stands in its own section."""
    rows = tuple(
        (str(event.number), told.when(event.at), by(event), entry_words(event, told.system, brief=True))
        for event in told.story.events
    )
    if not rows:
        return Section("Entries of the log", (Words("No entry besides photos is logged."),))
    table = Table("In the order in which they were logged", ("No", "Logged", "By", "Entry"), rows, (7, 20, 24, 60))
    return Section("Entries of the log", (table,))


def signatures(told: Told) -> Section:
    """Leave room to sign."""
    words = (
        f"Job {told.story.job.number}, report written {told.when(told.now)} {told.offset}. A signature says that the person "
        "named has read this report; what else it says is written beside it by hand."
    )
    return Section("Signatures", (Words(words), Signatures(("Welder", "Released by", "Customer"))))


def _head(told: Told) -> tuple[tuple[str, str], ...]:
    if told.head is None:
        return (("Head of the event log", "not known when this report was written"),)
    return (
        ("Event log at that time", f"{told.head.size} entries of the whole log (all jobs of the shop)"),
        ("Its tree head (RFC 6962, SHA-256)", told.head.root),
    )


def _programs(told: Told) -> list[tuple[str, tuple[tuple[str, str], ...]]]:
    """Return each origin of answers with the inspections that have it."""
    by_origin: dict[tuple[str, ...], list[int]] = {}
    for one in told.inspections:
        if one.number in told.records:
            by_origin.setdefault(_key(told.records[one.number].origin), []).append(one.number)
    rest = [one for one in told.inspections if one.number not in told.records]
    found = [(f"Answers of inspections {_listed(numbers)}", _rows(key)) for key, numbers in by_origin.items()]
    brief = [(f"Answer of inspection {one.number}", (("Program and model", one.origin),)) for one in rest]
    return found + brief


def _key(origin: OriginRecord) -> tuple[str, ...]:
    program = f"{origin.program} {origin.version}"
    fit = () if origin.shop_fit is None else (fit_words(origin), origin.shop_fit)
    return program, origin.model, origin.model_sha256, origin.settings_sha256, *fit


def _rows(key: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    names = ("Program", "Model", "Model's SHA-256", "Settings' SHA-256", "Fit", "Fit's SHA-256")
    return tuple(zip(names, key, strict=False))


def _listed(numbers: list[int]) -> str:
    return ", ".join(map(str, numbers))


def _photos(told: Told) -> Table:
    rows = tuple((str(one.number), one.photo_name, one.photo_sha256) for one in told.inspections)
    return Table("Photos as received", ("Inspection", "Name", "SHA-256"), rows, (13, 22, 77))


def _seals(told: Told) -> list[Block]:
    seals: list[Block] = [_seal(told, event, entry) for event, entry in told.of(e.Sealed)]
    gone = [_erasure(told, event, entry) for event, entry in told.of(e.Erased)]
    return [*(seals or [Words("No earlier seal of this job is logged.")]), *gone]


def _seal(told: Told, event: LoggedEvent, entry: e.Sealed) -> Facts:
    rows = (
        ("Bag", entry.bag),
        ("Tag manifest's SHA-256", entry.manifest_sha256),
        ("Log then", f"{entry.size} entries, tree head {entry.root}"),
        ("Sealed", f"{told.when(event.at)} by {by(event)}"),
    )
    return Facts("An earlier seal", rows)


def _erasure(told: Told, event: LoggedEvent, entry: e.Erased) -> Facts:
    rows = (
        ("What", entry.what),
        ("SHA-256 that stays", entry.sha256),
        ("Reason", entry.reason),
        ("Erased", f"{told.when(event.at)} by {by(event)}"),
    )
    return Facts("An erasure", rows)
