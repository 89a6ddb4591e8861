"""What ``prepcheck batch`` says: how far it is, and what came of it."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from prepcheck.errors import printable
from prepcheck.terms import CAUTION_LINE

if TYPE_CHECKING:
    from prepcheck.batch.batch import Plan
    from prepcheck.batch.ledger import Ledger
    from prepcheck.batch.log import LogCount
    from prepcheck.batch.sources import Survey

_MOST_TOLD = 10
_EVERY_S = 10.0
"""Between two lines where there is no terminal."""


def plan_text(plan: Plan) -> str:
    """Say what there is and what is left to do."""
    photos = _count(plan.survey.photos, "photo")
    done = plan.survey.photos - plan.to_do
    said = f"{photos}, {plan.to_do:,} to look at" + (f", {done:,} done before" if done else "")
    left_out = ", ".join(f"{count:,} {why}" for why, count in plan.survey.left_out.items())
    return said + (f"; left out: {left_out}" if left_out else "")


@contextmanager
def progress(total: int) -> Iterator[Callable[[], None]]:
    """Show a bar with the time left on a terminal, else a line now and then; yields what to call for each photo done."""
    if sys.stderr.isatty() and total:
        with _bar(total) as step:
            yield step
    else:
        yield _lines(total)


@contextmanager
def _bar(total: int) -> Iterator[Callable[[], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (BarColumn(), MofNCompleteColumn(), TextColumn("time left"), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True)) as bar:
        task = bar.add_task("photos", total=total)
        yield lambda: bar.advance(task)


def _lines(total: int) -> Callable[[], None]:
    start = said = time.monotonic()
    done = 0

    def step() -> None:
        nonlocal done, said
        done += 1
        now = time.monotonic()
        if now - said >= _EVERY_S:
            said = now
            typer.echo(f"{done:,} of {total:,}, {left_words((now - start) / done * (total - done))} left", err=True)

    return step


def left_words(seconds: float) -> str:
    """Say a time roughly: ``40 s``, ``7 min``, ``3 h 20 min``."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60} min"


@dataclass(frozen=True)
class Made:
    """What came of a batch: its source, photos looked at now, counts by standing, what was logged, the files written."""

    survey: Survey
    looked_at: int
    counts: dict[str, int]
    logged: LogCount
    files: list[Path]

    def plain(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "photos": self.survey.photos,
            "looked_at": self.looked_at,
            "left_out": self.survey.left_out,
            "standings": {word: count for word, count in self.counts.items() if word != "error"},
            "errors": self.counts["error"],
            "logged": self.logged.logged,
            "logged_before": self.logged.before,
            "not_logged": self.logged.faults,
            "files": [str(path) for path in self.files],
        }

    def words(self) -> str:
        """Say how many of which standing, what was logged, and where it is written."""
        written = [f"Written: {printable(str(path))}" for path in self.files]
        return "\n".join([_counts_words(self.counts), *log_words(self.logged), CAUTION_LINE, *written])


def done_words(new: int, counts: dict[str, int]) -> str:
    """Say in one line what a round did, and how all photos stand now."""
    return f"{_count(new, 'photo')} looked at; now {_counts_words(counts)}"


def _counts_words(counts: dict[str, int]) -> str:
    named = [f"{'not read' if word == 'error' else word} {count:,}" for word, count in counts.items() if count]
    return ", ".join(named) or "no photo"


def log_words(logged: LogCount) -> list[str]:
    """Say what was logged, in no line where nothing was to be."""
    if not (logged.logged or logged.before or logged.faults):
        return []
    said = f"Logged {logged.logged:,}" + (f", {logged.before:,} were logged before" if logged.before else "")
    return [said + (f"; {logged.faults:,} could not be logged, see the table" if logged.faults else "")]


def tell_errors(ledger: Ledger) -> None:
    """Say on standard error what could not be looked at, the first few of many."""
    from prepcheck.record import BrokenRecord

    count = ledger.counts()["error"]
    for row, _ in islice(ledger.worst_first(), min(count, _MOST_TOLD)):
        line = row.record
        typer.echo(f"prepcheck: {line.error.message if isinstance(line, BrokenRecord) else ''}", err=True)
    if count > _MOST_TOLD:
        typer.echo(f"prepcheck: {count - _MOST_TOLD:,} more could not be looked at; the table says why", err=True)


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}" + ("" if number == 1 else "s")
