"""The tables of a batch, written from its ledger: the same bytes for the same rows, whatever the order of work was."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from pathlib import Path

from prepcheck.batch.ledger import Ledger, Row
from prepcheck.errors import MissingDecoder, printable
from prepcheck.record import Record
from prepcheck.report.files import written_whole
from prepcheck.report.words import flag_name
from prepcheck.terms import Standing

Cell = str | float | int | None
CSV, LINES, PARQUET, EARLIER = "photos.csv", "photos.jsonl", "photos.parquet", "earlier.jsonl"
"""Names of the files; `EARLIER` has the lines for bytes that a file had before, or under another model or settings."""
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""First letters by which a spreadsheet takes a text for a formula (common practice, no source)."""
_AT_ONCE = 10_000
"""Rows of a group in Parquet."""

_PLACE: dict[str, type] = {
    "job": str, "spot": str, "pass_no": int, "person": str, "inspection": int, "not_logged": str
}  # fmt: skip
_ANSWER: dict[str, type] = {
    "standing": str, "score": float, "score_low": float, "score_high": float, "spots": int, "largest_patch_mm": float,
    "flags": str, "error": str
}  # fmt: skip
_PHOTO: dict[str, type] = {
    "taken": str, "camera": str, "width": int, "height": int, "mm_per_px": float, "sha256": str, "model": str,
    "model_sha256": str, "settings_sha256": str, "version": str
}  # fmt: skip
COLUMNS: dict[str, type] = {"file": str, **_ANSWER, **_PLACE, **_PHOTO}
"""Columns of the table and what is in them."""


def cells(row: Row) -> dict[str, Cell]:
    """Return the cells of a row; None for what is not known. A photo to retake has no score."""
    line = row.record
    if not isinstance(line, Record):
        return _all({"file": printable(row.name), "error": line.error.message, "sha256": row.sha256 or None}, row)
    return _all({"file": printable(row.name), **_answer(line), **_photo(line)}, row)


def _all(known: dict[str, Cell], row: Row) -> dict[str, Cell]:
    return {**dict.fromkeys(COLUMNS), **known, **_place(row)}


def _answer(record: Record) -> dict[str, Cell]:
    score, interval = (None, None) if record.standing is Standing.RETAKE else (record.score, record.interval)
    low, high = (None, None) if interval is None else (round(100 * end, 4) for end in interval)
    patches = [spot.largest_patch_mm for spot in record.spots if spot.largest_patch_mm is not None]
    return {
        "standing": str(record.standing),
        "score": score,
        "score_low": low,
        "score_high": high,
        "spots": len(record.spots),
        "largest_patch_mm": max(patches, default=None),
        "flags": "; ".join(flag_name(flag) for flag in record.flags),
    }


def _photo(record: Record) -> dict[str, Cell]:
    photo, origin = record.photo, record.origin
    return {
        **{name: getattr(photo, name) for name in ("taken", "camera", "width", "height", "mm_per_px", "sha256")},
        **{name: getattr(origin, name) for name in ("model", "model_sha256", "settings_sha256", "version")},
    }


def _place(row: Row) -> dict[str, Cell]:
    if row.placed is None:
        return {}
    place = row.placed
    named: dict[str, Cell] = {name: getattr(place, name) for name in ("job", "spot", "pass_no", "person", "inspection")}
    return {**named, "not_logged": place.fault or None}


def write_tables(ledger: Ledger, folder: Path, *, parquet: bool) -> list[Path]:
    """Write all tables and return the files; the one of earlier answers only if there are any."""
    written = [_write_csv(ledger.rows(), folder / CSV), _write_lines(ledger.rows(), folder / LINES)]
    if parquet:
        written.append(_write_parquet(ledger.rows(), folder / PARQUET))
    first = next(ledger.earlier(), None)
    return written if first is None else [*written, _write_lines(ledger.earlier(), folder / EARLIER)]


def _write_csv(rows: Iterable[Row], path: Path) -> Path:
    with written_whole(path) as file, io.TextIOWrapper(file, "utf-8-sig", newline="") as text:
        writer = csv.writer(text)
        writer.writerow(COLUMNS)
        writer.writerows([disarmed(cell) for cell in cells(row).values()] for row in rows)
    return path


def disarmed(cell: Cell) -> Cell:
    """Return a cell that no spreadsheet takes for a formula: such a text gets an apostrophe before it."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA) else cell


def _write_lines(rows: Iterable[Row], path: Path) -> Path:
    with written_whole(path) as file:
        file.writelines(row.line.encode() + b"\n" for row in rows)
    return path


def has_parquet() -> bool:
    """Whether tables can be written as Parquet."""
    try:
        import pyarrow  # noqa: F401
    except ImportError:
        return False
    return True


def need_parquet() -> None:
    """Raise `MissingDecoder` where Parquet cannot be written."""
    if not has_parquet():
        raise MissingDecoder("needs an optional part", 'Install it with: pip install "prepcheck[tables]"', PARQUET)


def _write_parquet(rows: Iterator[Row], path: Path) -> Path:
    import pyarrow as pa
    from pyarrow import parquet

    kinds: dict[type, Callable[[], object]] = {str: pa.string, int: pa.int64, float: pa.float64}
    schema = pa.schema([(name, kinds[kind]()) for name, kind in COLUMNS.items()])
    with written_whole(path) as file, parquet.ParquetWriter(file, schema) as writer:
        while some := [cells(row) for row in islice(rows, _AT_ONCE)]:
            writer.write_table(pa.Table.from_pylist(some, schema=schema))
    return path
