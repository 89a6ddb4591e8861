"""The form on which a person labels the points of one photo: a CSV file that a spreadsheet opens."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from prepcheck.agreement.fields import Field
from prepcheck.agreement.labels import HELP, Label, parse_label, write_label
from prepcheck.errors import WrongUse, printable
from prepcheck.own_file import read_text
from prepcheck.store.words import clean

_MOST_BYTES = 1_000_000
_HEAD = ("photo", "sha256", "grid", "points", "person")
_FORMULA = ("=", "+", "-", "@")
"""What a spreadsheet would compute instead of showing."""
_FIRST_CELL = 20
"""Within so many letters the first cell of a form has ended."""
_NAMED = 8
"""How many points a complaint names at most."""


@dataclass(frozen=True)
class Counted:
    """What one person says lies under the points of one photo.

    Parameters
    ----------
    photo, sha256 : str
        Name and SHA-256 (hex) of the photo.
    grid : str
        Which points: see `prepcheck.agreement.fields.Field.grid`.
    person : str
        Who counted; a pseudonym will do.
    labels : tuple of Label
        One for each point, in order.
    source : str
        Name of the file.
    """

    photo: str
    sha256: str
    grid: str
    person: str
    labels: tuple[Label, ...] = field(repr=False)
    source: str = ""


def write_form(photo: Field, person: str = "", labels: Sequence[Label] = ()) -> bytes:
    """Return a form for the points of a photo, UTF-8 with the mark by which spreadsheets know it.

    It is empty without `labels`; with them there is one for each point, in order.
    """
    said = [write_label(label) for label in labels] or [""] * len(photo.points)
    text = io.StringIO()
    rows = csv.writer(text)
    name = f"'{photo.name}" if photo.name.startswith(_FORMULA) else photo.name
    rows.writerows(zip(_HEAD, (name, photo.sha256, photo.grid, len(photo.points), person), strict=True))
    rows.writerow(("labels", HELP))
    rows.writerow(("number", "label"))
    rows.writerows(enumerate(said, 1))
    return text.getvalue().encode("utf-8-sig")


def read_form(path: Path) -> Counted | None:
    """Read a form; None when nobody has written a label on it yet.

    Raises
    ------
    WrongUse
        It cannot be read, is no such form, names no person, or a label is missing, doubled or unknown.
    """
    return parse_form(read_text_of(path), path.name)


def parse_form(text: str, source: str) -> Counted | None:
    """Read the text of a form; `source` names it in complaints. As `read_form`."""
    rows = _rows(text, source)
    start = next((at for at, row in enumerate(rows) if row[0].casefold() == "number"), len(rows))
    head = {row[0].casefold(): row[1] for row in rows[:start]}
    if missing := [name for name in _HEAD if name not in head]:
        what = f"is no form of counted points (no line {', '.join(missing)})"
        raise WrongUse(what, "Fill in a form that prepcheck count grid wrote", source)
    body = rows[start + 1 :]
    if not any(label for _, label in body):
        return None
    return Counted(
        head["photo"].removeprefix("'"),
        head["sha256"].casefold(),
        head["grid"].casefold(),
        _person(head["person"], source),
        _labels(body, _points(head["points"], source), source),
        source,
    )


def person_on(text: str, source: str) -> str:
    """Return who is named on the text of a form, whatever else is on it; empty for nobody. `WrongUse`: it is no CSV."""
    return next((value for name, value in _rows(text, source) if name.casefold() == "person"), "")


def with_person(text: str, source: str, person: str) -> bytes:
    """Return the text of a form with another person on it; of each line the first two cells stay."""
    said = io.StringIO()
    rows = ((name, person if name.casefold() == "person" else value) for name, value in _rows(text, source))
    csv.writer(said).writerows(rows)
    return said.getvalue().encode("utf-8-sig")


def read_text_of(path: Path) -> str:
    """Return the text of a form; `WrongUse` when it cannot be read."""
    return read_text(path, _MOST_BYTES, WrongUse)


def _rows(text: str, source: str) -> list[tuple[str, str]]:
    """Return the first two cells of each line that holds something; commas, semicolons or tabs between them."""
    text = text.removeprefix("\ufeff")
    between = next((letter for letter in text[:_FIRST_CELL] if letter in ",;\t"), ",")
    try:
        rows = [[cell.strip() for cell in row] for row in csv.reader(io.StringIO(text), delimiter=between)]
    except csv.Error as error:
        raise WrongUse(f"is no CSV ({error})", "Save it as CSV again", source) from error
    return [(row[0], row[1] if len(row) > 1 else "") for row in rows if any(row)]


def _person(name: str, source: str) -> str:
    if not name:
        raise WrongUse("names no person", "Write a name or pseudonym behind person", source)
    return clean(name, f"the person in {printable(source)}")


def _points(text: str, source: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= 1_000_000):
        raise WrongUse(f"says {text[:20]!r} where the number of points stands", "Take the form anew", source)
    return int(text)


def _labels(body: Sequence[tuple[str, str]], points: int, source: str) -> tuple[Label, ...]:
    said: dict[str, str] = {}
    for number, label in body:
        if number in said:
            raise WrongUse(f"has point {number[:20]} twice", "Strike one of them out", source)
        said[number] = label
    numbers = [str(number) for number in range(1, points + 1)]
    if strange := [number or "without number" for number in said if number not in set(numbers)]:
        raise WrongUse(f"has points that the grid has not: {_some(strange)}", f"There are 1 to {points}", source)
    if missing := [number for number in numbers if not said.get(number)]:
        raise WrongUse(f"has no label for {_some(missing)} of {points} points", "Label each; 9 is cannot tell", source)
    return tuple(_label(number, said[number], source) for number in numbers)


def _label(number: str, text: str, source: str) -> Label:
    try:
        return parse_label(text)
    except ValueError as error:
        raise WrongUse(f"point {number}: {error}", f"Labels are {HELP}", source) from error


def _some(numbers: Sequence[str]) -> str:
    more = f" and {len(numbers) - _NAMED} more" if len(numbers) > _NAMED else ""
    return ", ".join(number[:20] for number in numbers[:_NAMED]) + more
