"""A count of one photo that somebody has begun: one label after the other, until all points have one and it is a form."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints, ValidationError
from pydantic import Field as Limit

from prepcheck.agreement.fields import Field
from prepcheck.agreement.form import write_form
from prepcheck.agreement.grid import MOST
from prepcheck.agreement.labels import Label, parse_label, write_label
from prepcheck.errors import WrongUse
from prepcheck.own_file import first_fault, read_text
from prepcheck.store.words import folded

BEGUN = "begun"
"""In the folder of a count; forms are read from another place, so what is half done disturbs nobody."""
_MOST_BYTES = 1_000_000

_Said = Annotated[str, StringConstraints(max_length=80)]


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid")

    sha256: str
    grid: str
    person: _Said
    labels: Annotated[list[tuple[int, _Said]], Limit(max_length=4 * MOST)]


@dataclass(frozen=True)
class Begun:
    """What somebody has said so far about the points of one photo.

    Parameters
    ----------
    photo : Field
        The photo with its points.
    person : str
        Who counts; a pseudonym will do.
    labels : dict of int to Label
        By number of the point, from 1, in the order in which they were said.
    turn : int
        1, or 2 when the person counts the photo a second time, to see how well they agree with themselves.
    """

    photo: Field
    person: str
    labels: dict[int, Label] = field(default_factory=dict, repr=False)
    turn: int = 1

    @property
    def stem(self) -> str:
        """Stem of its files: of the photo's name, of a hash of the person's, and of the turn; turns sort in order."""
        return file_stem(self.photo, self.person, self.turn)

    @property
    def next(self) -> int | None:
        """Number of the first point without a label; None when all have one."""
        return next((number for number in range(1, len(self.photo.points) + 1) if number not in self.labels), None)

    @property
    def last(self) -> int | None:
        """Number of the point that was labelled last; None when none was."""
        return next(reversed(self.labels), None)

    def said(self, number: int, text: str) -> Begun:
        """Return it with a label for a point; said again, the same point has the later one.

        Raises
        ------
        WrongUse
            No such point, or no label.
        """
        self._check(number)
        try:
            label = parse_label(text)
        except ValueError as error:
            raise WrongUse(str(error), "Press one of the buttons", f"point {number}") from error
        kept = {other: said for other, said in self.labels.items() if other != number}
        return replace(self, labels={**kept, number: label})

    def without(self, number: int) -> Begun:
        """Return it without the label of a point; one that has none is fine."""
        self._check(number)
        return replace(self, labels={other: said for other, said in self.labels.items() if other != number})

    def to_json(self) -> bytes:
        """Return it as a file."""
        told = [(number, write_label(label)) for number, label in self.labels.items()]
        file = _File(sha256=self.photo.sha256, grid=self.photo.grid, person=self.person, labels=told)
        return file.model_dump_json().encode()

    def to_form(self) -> bytes:
        """Return it as a filled form; `WrongUse` while a point has no label."""
        if self.next is not None:
            raise WrongUse(f"point {self.next} has no label yet", "Label each point", self.photo.name)
        labels = [self.labels[number] for number in range(1, len(self.photo.points) + 1)]
        return write_form(self.photo, self.person, labels)

    def _check(self, number: int) -> None:
        if not 1 <= number <= len(self.photo.points):
            raise WrongUse(f"there is no point {number}", f"There are 1 to {len(self.photo.points)}", self.photo.name)


def file_stem(photo: Field, person: str, turn: int = 1) -> str:
    """Return the stem of a person's files for a photo; see `Begun.stem`."""
    return f"{Path(photo.name).stem}.{in_file_names(person)}" + (f"_{turn}" if turn > 1 else "")


def in_file_names(person: str) -> str:
    """Return what stands for a person in the names of their files."""
    return hashlib.sha256(folded(person).encode()).hexdigest()[:8]


def begun_by(path: Path) -> str:
    """Return who began the count in a file; `WrongUse` when it is none."""
    return _read(path).person


def read_begun(folder: Path, photo: Field, person: str, turn: int = 1) -> Begun:
    """Read what a person has said so far about a photo of the count in `folder`; nothing when there is no file.

    Raises
    ------
    WrongUse
        The file says something else, or is of other points.
    """
    begun = Begun(photo, person, turn=turn)
    path = folder / BEGUN / f"{begun.stem}.json"
    if not path.exists():
        return begun
    told = _read(path)
    if (told.sha256, told.grid) != (photo.sha256, photo.grid):
        raise WrongUse("is of other points", "Delete it, and count the points of this folder", str(path))
    for number, text in told.labels:
        begun = begun.said(number, text)
    return begun


def _read(path: Path) -> _File:
    try:
        return _File.model_validate_json(read_text(path, _MOST_BYTES, WrongUse))
    except ValidationError as error:
        raise WrongUse(f"is no count that was begun ({first_fault(error)})", "Delete it", str(path)) from error
