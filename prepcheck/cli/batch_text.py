"""What ``prepcheck batch`` says: how far it is, and what came of it."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from prepcheck.errors import printable
from prepcheck.terms import CAUTION_LINE

if TYPE_CHECKING:
    from prepcheck.batch.batch import Plan
    from prepcheck.batch.ledger import Ledger

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
    if sys.stderr.isatty():
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


def summary_json(plan: Plan, counts: dict[str, int], files: list[Path]) -> dict[str, Any]:
    """Return what came of a batch as plain data."""
    return {
        "photos": plan.survey.photos,
        "looked_at": plan.to_do,
        "left_out": plan.survey.left_out,
        "standings": {word: count for word, count in counts.items() if word != "error"},
        "errors": counts["error"],
        "files": [str(path) for path in files],
    }


def summary(counts: dict[str, int], files: list[Path]) -> str:
    """Say what came of a batch: how many of which standing, and where it is written."""
    named = [f"{'not read' if word == 'error' else word} {count:,}" for word, count in counts.items() if count]
    return "\n".join([", ".join(named), CAUTION_LINE, *(f"Written: {printable(str(path))}" for path in files)])


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
