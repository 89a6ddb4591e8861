"""A table beside the photos that says of each where it belongs: CSV with a line for each file."""

from __future__ import annotations

import csv
import math
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from prepcheck.batch.sources import Item
from prepcheck.errors import PrepcheckError, WrongUse
from prepcheck.light_set import MOST_PHOTOS
from prepcheck.own_file import read_text
from prepcheck.store.words import NOTE, checked_pass_no, clean, job_number, spot_label

_MOST_BYTES = 256_000_000
"""A million lines of 256 letters."""
LEAST_SCALE, MOST_SCALE = 1e-4, 100.0
_MOST_TOLD = 8


@dataclass(frozen=True)
class Line:
    """What the table says of one file; what it does not say is missing in `told`."""

    number: int
    file: str
    told: dict[str, str]


@dataclass
class Faults:
    """What is wrong with a table, line by line, told all together; line 0 is what no line says."""

    path: str
    found: list[tuple[int, str]] = field(default_factory=list)

    def add(self, number: int, what: str) -> None:
        """Add a fault of a line."""
        self.found.append((number, what))

    def raise_any(self) -> None:
        """Raise `WrongUse` with the first faults, if there are any."""
        if self.found:
            told = [(f"line {number}: " if number else "") + what for number, what in sorted(self.found)]
            more = len(told) - _MOST_TOLD
            all_of = "; ".join(told[:_MOST_TOLD]) + (f"; and {more} more" if more > 0 else "")
            raise WrongUse(all_of, "Nothing was done. Mend it and call again", self.path)


def _scale(text: str) -> str:
    value = float(text)
    if not (math.isfinite(value) and LEAST_SCALE <= value <= MOST_SCALE):
        raise WrongUse(f"mm_per_px must lie between {LEAST_SCALE} and {MOST_SCALE:g}", "Mend it", text)
    return text


def _outline(text: str) -> str:
    if not 1 <= int(text) <= 999:
        raise WrongUse("an outline's number goes from 1 to 999", "Mend it", text)
    return str(int(text))


_CHECKS: dict[str, Callable[[str], str]] = {
    "job": job_number,
    "spot": lambda text: str(spot_label(text)),
    "pass_no": lambda text: str(checked_pass_no(int(text))),
    "person": lambda text: clean(text, "the person's name"),
    "mm_per_px": _scale,
    "outline": _outline,
    "note": lambda text: clean(text, "the note", NOTE),
    "set": lambda text: clean(text, "the set"),
}
COLUMNS = ("file", *_CHECKS)
"""Columns that the table may have; only ``file`` is needed."""


def read_sidecar(path: Path, faults: Faults) -> dict[str, Line]:
    """Read the table; lines by file name in Unicode form NFC. What is wrong with single lines goes to `faults`.

    Raises
    ------
    WrongUse
        It cannot be read at all, or its columns are others.
    """
    lines: dict[str, Line] = {}
    for number, cells in _rows(path):
        line = Line(number, cells.pop("file"), _checked(number, cells, faults))
        key = unicodedata.normalize("NFC", line.file)
        if not line.file:
            faults.add(number, "names no file")
        elif key in lines:
            faults.add(number, f"{line.file} is named again, first in line {lines[key].number}")
        lines.setdefault(key, line)
    for of_set in sets_of(lines).values():
        _check_set([lines[name] for name in of_set], faults)
    return lines


def sets_of(lines: Mapping[str, Line]) -> dict[str, tuple[str, ...]]:
    """Return the names of the photos of each moved-light set, by its word, in the order of the table."""
    found: dict[str, tuple[str, ...]] = {}
    for name, line in lines.items():
        if word := line.told.get("set"):
            found[word] = (*found.get(word, ()), name)
    return found


def _check_set(lines: list[Line], faults: Faults) -> None:
    """Hold the lines of a set against each other: 2 to 6 photos, of which the table says the same."""
    first, word = lines[0], lines[0].told["set"]
    if not 2 <= len(lines) <= MOST_PHOTOS:
        faults.add(first.number, f"set {word} has {len(lines)} photos; a moved-light set has 2 to {MOST_PHOTOS}")
    for line in lines:
        if Item(line.file).is_clip:
            faults.add(line.number, f"{line.file} is a clip, a set of its own")
        if line.told != first.told:
            faults.add(line.number, f"says something else than line {first.number} of its set {word}")


def _rows(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield line number and cells; commas or, as in some countries, semicolons between them."""
    text = read_text(path, _MOST_BYTES, WrongUse).removeprefix("\ufeff")
    head = text.partition("\n")[0]
    reader = csv.DictReader(text.splitlines(), delimiter=";" if head.count(";") > head.count(",") else ",", strict=True)
    try:
        names = [name.strip().lower() for name in reader.fieldnames or ()]
        if "file" not in names or set(names) - set(COLUMNS) or len(set(names)) < len(names):
            raise WrongUse("has other columns", f"Known: {', '.join(COLUMNS)}; file is needed", str(path))
        reader.fieldnames = names
        for cells in reader:
            yield reader.line_num, {name: (cells.get(name) or "").strip() for name in names}
    except csv.Error as error:
        raise WrongUse(f"line {reader.line_num}: is no CSV ({error})", "Save it again as CSV", str(path)) from error


def _checked(number: int, cells: dict[str, str], faults: Faults) -> dict[str, str]:
    told = {}
    for name, text in cells.items():
        try:
            told.update({name: _CHECKS[name](text)} if text else {})
        except PrepcheckError as error:
            faults.add(number, error.message.rstrip("."))
        except ValueError:
            faults.add(number, f"{name} is no number: {text[:40]}")
    return told
