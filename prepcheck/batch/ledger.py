"""What a batch has done so far, in its output folder: one file of SQLite.

SQLite and not lines of text, for three reasons: an answer, its picture and what it is the answer for go in together or not
at all, so there is no torn line to repair; tables of a million rows come out sorted without holding them in memory; and
the lock of the file keeps a second batch out of the folder, and is gone with the process, however that ends. Each answer is
committed as it comes. A killed process loses none of them; a power cut may lose the last seconds, which are done again.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from prepcheck.batch.sources import Item
from prepcheck.batch.work import Done
from prepcheck.errors import StoreBusy, StoreFault, StoreNewer
from prepcheck.record import LINE, BrokenRecord, Record
from prepcheck.terms import WORST_FIRST

FILE = "batch.sqlite"
_FORM = 1
"""Version of the tables below."""
_TABLES = """
CREATE TABLE files (name BLOB PRIMARY KEY, stamp TEXT NOT NULL, sha256 TEXT NOT NULL, look TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE answers (
  name BLOB NOT NULL, sha256 TEXT NOT NULL, look TEXT NOT NULL,
  rank INTEGER NOT NULL, score REAL, error TEXT NOT NULL, line TEXT NOT NULL, outline INTEGER,
  thumbnail BLOB NOT NULL,
  PRIMARY KEY (name, sha256, look)
);
CREATE TABLE places (
  name BLOB NOT NULL, sha256 TEXT NOT NULL, look TEXT NOT NULL,
  job TEXT NOT NULL, spot TEXT NOT NULL, pass_no INTEGER, person TEXT NOT NULL, inspection INTEGER, fault TEXT NOT NULL,
  PRIMARY KEY (name, sha256, look)
) WITHOUT ROWID;
"""
_ROW = (
    "SELECT a.name, a.sha256, a.look, a.line, a.outline, p.job, p.spot, p.pass_no, p.person, p.inspection, p.fault"
    " FROM answers a {join} JOIN files f ON f.name = a.name AND f.sha256 = a.sha256 AND f.look = a.look"
    " LEFT JOIN places p ON p.name = a.name AND p.sha256 = a.sha256 AND p.look = a.look"
)


@dataclass(frozen=True)
class Placed:
    """Where a photo went in the log: inspection number, or why it was not logged."""

    job: str
    spot: str
    pass_no: int | None
    person: str
    inspection: int | None = None
    fault: str = ""


@dataclass(frozen=True)
class Row:
    """An answer of the ledger, and where it went in the log.

    Parameters
    ----------
    name : str
        Of the item, as in the source.
    sha256 : str
        Of its bytes; empty when they could not be had.
    look : str
        Key of the look.
    line : str
        The contract's line.
    outline : int or None
        Of a photo looked at again: the outline that is the spot of before.
    placed : Placed or None
        None when it has no place in the log.
    """

    name: str
    sha256: str
    look: str
    line: str = field(repr=False)
    outline: int | None = None
    placed: Placed | None = None

    @property
    def record(self) -> Record | BrokenRecord:
        """The line, read."""
        return LINE.validate_json(self.line)


class Ledger:
    """The ledger of one output folder, locked until closed.

    Parameters
    ----------
    path : Path
        The file, made when missing.

    Raises
    ------
    StoreBusy
        Another batch works in this folder.
    StoreNewer, StoreFault
        The file is of a newer version, or no ledger.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        with self._faults():
            self._base = sqlite3.connect(self.path, timeout=1.0, isolation_level=None)
            self._base.executescript(
                "PRAGMA locking_mode=EXCLUSIVE; PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;"
            )
            self._prepare()

    def _prepare(self) -> None:
        with self._writing():
            form = self._base.execute("PRAGMA user_version").fetchone()[0]
            if form > _FORM:
                raise StoreNewer("was written by a newer prepcheck", "Use that one, or another folder", str(self.path))
            if form == 0:
                for statement in _TABLES.split(";"):
                    self._base.execute(statement)
                self._base.execute(f"PRAGMA user_version={_FORM}")

    def close(self) -> None:
        """Let others in."""
        self._base.close()

    def is_done(self, item: Item, look: str) -> bool:
        """Whether this very state of a file was answered under this look."""
        query = "SELECT stamp, look FROM files WHERE name = ? AND sha256 != ''"
        found = self._base.execute(query, (_key(item.name),)).fetchone()
        return found is not None and item.stamp != "" and found == (item.stamp, look)

    def known(self, name: str, look: str) -> frozenset[str]:
        """Return the SHA-256 of all bytes of this name that were answered under this look."""
        query = "SELECT sha256 FROM answers WHERE name = ? AND look = ? AND sha256 != ''"
        return frozenset(sha256 for (sha256,) in self._base.execute(query, (_key(name), look)))

    def add(self, item: Item, look: str, done: Done) -> None:
        """Add what came of an item: its answer, unless it is known, and that this is how the file is now."""
        name = _key(item.name)
        with self._faults(), self._writing():
            self._base.execute("DELETE FROM answers WHERE name = ? AND sha256 = ''", (name,))
            if done.line:
                self._base.execute(
                    "INSERT OR IGNORE INTO answers VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    (name, done.sha256, look, *_order(done), done.error, done.line, done.outline, done.thumbnail),
                )
            self._base.execute("REPLACE INTO files VALUES (?, ?, ?, ?)", (name, item.stamp, done.sha256, look))

    def place(self, row: Row, placed: Placed) -> None:
        """Add where an answer went in the log, or why it did not."""
        told = (placed.job, placed.spot, placed.pass_no, placed.person, placed.inspection, placed.fault)
        with self._faults(), self._writing():
            self._base.execute(
                "REPLACE INTO places VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (_key(row.name), row.sha256, row.look, *told),
            )

    def rows(self) -> Iterator[Row]:
        """Yield how each file stands now, by name."""
        return self._rows(_ROW.format(join="") + " ORDER BY a.name")

    def row(self, name: str) -> Iterator[Row]:
        """Yield how one file stands now, if it has an answer."""
        return self._rows(_ROW.format(join="") + " WHERE a.name = ?", _key(name))

    def earlier(self) -> Iterator[Row]:
        """Yield answers for bytes that a file had before, or under another look, by name."""
        return self._rows(_ROW.format(join="LEFT") + " WHERE f.name IS NULL ORDER BY a.name, a.sha256, a.look")

    def worst_first(self) -> Iterator[tuple[Row, bytes]]:
        """Yield how each file stands now with its thumbnail, worst first."""
        for row in self._rows(_ROW.format(join="") + " ORDER BY a.rank, a.score, a.name"):
            yield row, self.thumbnail(row)

    def thumbnail(self, row: Row) -> bytes:
        """Return the picture of an answer; empty for an error."""
        query = "SELECT thumbnail FROM answers WHERE name = ? AND sha256 = ? AND look = ?"
        (small,) = self._base.execute(query, (_key(row.name), row.sha256, row.look)).fetchone()
        return bytes(small)

    def counts(self) -> dict[str, int]:
        """Return how many files have which standing, worst first; ``error`` for those without an answer."""
        join = " JOIN files f ON f.name = a.name AND f.sha256 = a.sha256 AND f.look = a.look"
        query = f"SELECT rank, count(*) FROM answers a {join} GROUP BY rank"
        found = dict(self._base.execute(query).fetchall())
        return {word: found.get(rank, 0) for rank, word in enumerate(("error", *map(str, WORST_FIRST)))}

    def _rows(self, query: str, *given: bytes) -> Iterator[Row]:
        with self._faults():
            for name, sha256, look, line, outline, job, *place in self._base.execute(query, given):
                placed = None if job is None else Placed(job, *place)
                yield Row(_name(name), sha256, look, line, outline, placed)

    @contextmanager
    def _writing(self) -> Iterator[None]:
        self._base.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self._base.execute("ROLLBACK")
            raise
        self._base.execute("COMMIT")

    @contextmanager
    def _faults(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.OperationalError as error:
            if "locked" in str(error):
                raise StoreBusy("another batch works in this folder", "Wait for it", str(self.path.parent)) from error
            raise StoreFault(f"cannot be used ({error})", "Check the disk and the folder", str(self.path)) from error
        except sqlite3.DatabaseError as error:
            raise StoreFault(f"is no ledger of a batch ({error})", "Use another folder", str(self.path)) from error


def _order(done: Done) -> tuple[int, float | None]:
    """Return what a contact sheet sorts by: 0 for an error, else the place of the standing from 1; and the score."""
    if done.error:
        return 0, None
    record = Record.model_validate_json(done.line)
    return 1 + WORST_FIRST.index(record.standing), record.score


def _key(name: str) -> bytes:
    """Return a name as it is kept: byte by byte, so that two that differ in anything are two."""
    return name.encode("utf-8", "surrogatepass")


def _name(key: bytes) -> str:
    return key.decode("utf-8", "surrogatepass")
