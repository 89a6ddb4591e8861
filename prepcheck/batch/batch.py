"""A batch as a whole: an output folder with its ledger, rounds of work, the tables and sheets that come of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from prepcheck.batch.crew import Crew
from prepcheck.batch.ledger import FILE, Ledger
from prepcheck.batch.log import Log, LogCount, log_all
from prepcheck.batch.run import Round, Way, always
from prepcheck.batch.sheets import PICTURE, write_sheets
from prepcheck.batch.sources import Item, Source, Survey, survey
from prepcheck.batch.tables import CSV, EARLIER, LINES, PARQUET, has_parquet, need_parquet, write_tables
from prepcheck.errors import WrongUse, printable
from prepcheck.report.files import make_folder

_OUTPUTS = (CSV, LINES, PARQUET, EARLIER, "sheet.html", PICTURE)


@dataclass(frozen=True)
class Plan:
    """What lies before a batch: what its source has, and how many photos have no answer yet."""

    survey: Survey
    to_do: int


@dataclass(frozen=True)
class Batch:
    """A source, how to look at it, and the folder that takes the answers.

    Parameters
    ----------
    source : Source
        Where the photos are.
    way : Way
        How to look at them.
    folder : Path
        Takes ledger, tables and sheets.
    ledger : Ledger
        Of that folder.
    parquet : bool
        Whether to write Parquet too.
    log : Log or None
        Where the answers are logged too.
    """

    source: Source
    way: Way
    folder: Path
    ledger: Ledger = field(repr=False)
    parquet: bool
    log: Log | None = None

    def plan(self) -> Plan:
        """Count what there is and what is left to do.

        Raises
        ------
        Unreadable, WrongUse
            The source cannot be listed.
        """
        return Plan(survey(self.source), sum(1 for _ in Round(self.source, self.way, self.ledger).to_do()))

    def look(self, crew: Crew, told: Callable[[], None] = lambda: None, ready: Callable[[Item], bool] = always) -> int:
        """Look at what is left to do and `ready`, and return how many that were; `told` hears of each that is done."""
        return Round(self.source, self.way, self.ledger, ready).work(crew, told)

    def to_log(self) -> int:
        """Return how many answers have a place in the log."""
        return 0 if self.log is None else self.log.count(self.ledger)

    def add_to_log(self, at: datetime, told: Callable[[], None] = lambda: None) -> LogCount:
        """Log what has a place in the log; see `prepcheck.batch.log.log_all`."""
        return LogCount() if self.log is None else log_all(self.source, self.way, self.ledger, self.log, at, told)

    def write(self) -> list[Path]:
        """Write tables and sheets anew from the ledger and return their files."""
        title = f"Photos of {printable(Path(self.source.name).name or self.source.name)}"
        tables = write_tables(self.ledger, self.folder, parquet=self.parquet)
        return [*tables, *write_sheets(self.ledger, self.folder, title, self.way.spec.told)]

    @property
    def exit_code(self) -> int:
        """0 every photo bright, 1 a person is needed, 3 a photo could not be looked at."""
        counts = self.ledger.counts()
        if counts["error"]:
            return 3
        return 0 if counts["bright"] == sum(counts.values()) else 1


def open_batch(source: Source, way: Way, folder: Path, log: Log | None = None, *, parquet: bool | None = None) -> Batch:
    """Open the output folder of a batch, made when missing; close its ledger at the end.

    Parameters
    ----------
    source, way, folder, log
        See `Batch`.
    parquet : bool, optional
        Whether to write Parquet; None where that can be.

    Raises
    ------
    WrongUse
        The folder has outputs that no batch of this folder wrote.
    MissingDecoder
        Parquet is wanted and cannot be written.
    CannotWrite, StoreFault
        The folder or its ledger cannot be used.
    """
    if parquet:
        need_parquet()
    return Batch(source, way, folder, open_ledger(folder), has_parquet() if parquet is None else parquet, log)


def open_ledger(folder: Path) -> Ledger:
    """Open the ledger of an output folder, made when missing; raises as `open_batch`."""
    make_folder(folder)
    if not (folder / FILE).exists() and (there := [name for name in _OUTPUTS if (folder / name).exists()]):
        raise WrongUse(f"has a {there[0]} that is none of a batch here", "Choose another folder", str(folder))
    return Ledger(folder / FILE)


def check_apart(source: Path, folder: Path) -> None:
    """Raise `WrongUse` where the outputs would lie among the photos, and be taken for photos themselves."""
    inside = folder.resolve()
    if source.is_dir() and (inside == source.resolve() or source.resolve() in inside.parents):
        raise WrongUse("lies among the photos", "Choose a folder beside theirs with --out", str(folder))
