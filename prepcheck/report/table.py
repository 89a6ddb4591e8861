"""The terminal's answer: standing, score, spots, flags, next step; reads records only."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from prepcheck.errors import printable
from prepcheck.record import FlagRecord, JointRecord, MovedLightRecord, PersonRecord, Record, SpotRecord
from prepcheck.report.words import (
    answer_words,
    area_words,
    fit_words,
    flag_action,
    flag_name,
    interval_words,
    joint_words,
    judged,
    patch_words,
    patches_words,
    person_spots,
    set_words,
    share_words,
    shares_words,
    since_words,
)
from prepcheck.terms import Standing

_STYLES = {
    Standing.RESIDUE_LEFT: "bold reverse",
    Standing.CANNOT_TELL: "bold underline",
    Standing.RETAKE: "bold reverse",
    Standing.BRIGHT: "bold",
}
_WIDE = 72


def print_record(console: Console, record: Record) -> None:
    """Print the answer for one photo.

    Parameters
    ----------
    console : rich.console.Console
        Where to; lines keep within its width, and nothing depends on colour.
    record : Record
        The answer. Names are printed as they are, never read as markup.
    """
    more = len(record.photos) - 1
    _say(console, record.photo.name + (f" and {more} more under a moved light" if more > 0 else ""), "bold")
    _headline(console, record.standing, answer_words(record))
    _say(console, f"Next: {record.next_step}", "bold")
    _spots(console, judged(record.spots))
    _joint(console, record.joint)
    if record.moved_light is not None:
        _moved_light(console, record.moved_light)
    if record.since_last_pass is not None and record.since_last_pass.shares is not None:  # a flag says why not
        words = since_words(record.since_last_pass)
        _say(console, f"{words[0].upper()}{words[1:]}.")
    if record.by_person is not None:
        _person(console, record.by_person, person_spots(record))
    for flag in record.flags:
        _flag(console, flag)
    if fit := fit_words(record.origin):
        _say(console, f"{fit.capitalize()}.")
    _say(console, " ".join(record.cautions), "dim")
    console.print()


def _plain(console: Console, text: str, style: str = "") -> Text:
    """Return `text`, never read as markup, with what the console cannot show as escapes."""
    encoding = console.encoding
    return Text(printable(text).encode(encoding, "backslashreplace").decode(encoding), style, overflow="fold")


def _say(console: Console, text: str, style: str = "", indent: int = 0) -> None:
    """Print a paragraph, wrapped at the console's width."""
    for line in _plain(console, text, style).wrap(console, max(console.width - indent, 8)):
        line.rstrip()
        console.print(Text(" " * indent) + line)


def _headline(console: Console, standing: Standing, score: str) -> None:
    console.print(Text.assemble((f" {str(standing).upper()} ", _STYLES[standing]), "  ", (score, "bold")))


def _spots(console: Console, spots: list[SpotRecord]) -> None:
    if not spots:
        return
    if console.width >= _WIDE:
        _table(console, spots)
    for spot in spots:
        if console.width < _WIDE:
            _block(console, spot)
        else:
            _say(console, f"Spot {spot.number}: {spot.reason or spot.standing}. Not bright: {shares_words(spot)}.")
            _patches(console, spot)


def _table(console: Console, spots: list[SpotRecord]) -> None:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for heading in ("spot", "standing", "area", "bright", "interval", "worst area", "longest patch"):
        table.add_column(heading, justify="right" if heading == "spot" else "left", overflow="fold")
    for spot in spots:
        table.add_row(*(_plain(console, cell) for cell in _cells(spot)))
    console.print(table)


def _cells(spot: SpotRecord) -> tuple[str, ...]:
    interval = "-" if spot.interval is None else f"{interval_words(spot.interval)}%"
    return (
        str(spot.number),
        str(spot.standing),
        area_words(spot),
        share_words(spot.bright_share),
        interval,
        share_words(spot.worst_unit_area),
        patch_words(spot.largest_patch),
    )


def _block(console: Console, spot: SpotRecord) -> None:
    """Say a spot in lines, for a narrow console."""
    _, standing, area, bright, interval, worst, patch = _cells(spot)
    _say(console, f"Spot {spot.number}: {standing}", "bold")
    _say(console, spot.reason, indent=2)
    _say(console, f"bright {bright} (interval {interval}), area {area}", indent=2)
    _say(console, f"worst unit area {worst} bright, longest patch {patch}", indent=2)
    _say(console, f"not bright: {shares_words(spot)}", indent=2)
    _patches(console, spot)


def _patches(console: Console, spot: SpotRecord) -> None:
    if listed := patches_words(spot):
        _say(console, f"Patches, longest first: {listed}.", indent=2)


def _joint(console: Console, joint: JointRecord | None) -> None:
    for number, words in enumerate([] if joint is None else joint_words(joint)):
        _say(console, words, indent=2 if number else 0)


def _moved_light(console: Console, behind: MovedLightRecord) -> None:
    _say(console, set_words(behind))
    if behind.advice:
        _say(console, f"Torch: {behind.advice}", "bold")


def _person(console: Console, person: PersonRecord, drawn: list[SpotRecord]) -> None:
    _say(console, "With the outlines changed by a person, beside the tool's answer above:")
    _headline(console, person.standing, answer_words(person))
    _say(console, f"Next: {person.standing.next_step}")
    for number, why in person.refused.items():
        _say(console, f"Spot {number} refused: {why}", indent=2)
    _spots(console, judged(drawn))
    _joint(console, person.joint)


def _flag(console: Console, flag: FlagRecord) -> None:
    measured = f" ({flag.measured})" if flag.measured else ""
    _say(console, f"Flag: {flag_name(flag)}{measured}", "bold")
    _say(console, flag_action(flag, with_command=True), indent=2)
