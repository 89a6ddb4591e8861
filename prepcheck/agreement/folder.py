"""The folder of a count: photos, their points, pictures with crosses, and the forms that people fill in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from prepcheck.agreement.compare import TOOL
from prepcheck.agreement.crosses import draw_crosses
from prepcheck.agreement.fields import Field, read_fields
from prepcheck.agreement.form import Counted, read_form, write_form
from prepcheck.errors import NameClash, WrongUse
from prepcheck.photo import Photo

IMAGES, CROSSES, FORMS = "images", "crosses", "forms"
_MOST_FORMS = 5000


@dataclass(frozen=True)
class Count:
    """What a folder of a count holds.

    Parameters
    ----------
    fields : tuple of Field
        Its photos with their points.
    counts : tuple of Counted
        The forms that people filled in, in the order of their names.
    blank : tuple of str
        Names of the forms that nobody wrote on yet.
    """

    fields: tuple[Field, ...]
    counts: tuple[Counted, ...]
    blank: tuple[str, ...]

    @property
    def uncounted(self) -> tuple[str, ...]:
        """Names of the photos that nobody has counted."""
        done = {one.sha256 for one in self.counts}
        return tuple(one.name for one in self.fields if one.sha256 not in done)

    def by_person(self) -> dict[str, list[tuple[Field, Counted]]]:
        """Return each person's first count of each photo with its field."""
        field_of = {one.sha256: one for one in self.fields}
        first: dict[tuple[str, str], Counted] = {}
        for one in self.counts:
            first.setdefault((one.person, one.sha256), one)
        made: dict[str, list[tuple[Field, Counted]]] = {}
        for (person, sha256), one in first.items():
            made.setdefault(person, []).append((field_of[sha256], one))
        return made


def files_of(one: Field, photo: Photo, data: bytes, person: str = "") -> dict[str, bytes]:
    """Return the files that a photo, `data` as it was received, has in the folder of a count, by their places in it."""
    stem = Path(one.name).stem
    return {
        f"{IMAGES}/{one.name}": data,
        f"{CROSSES}/{stem}.jpg": draw_crosses(photo.rgb, photo.reduction, one.laid),
        f"{FORMS}/{stem}.csv": write_form(one, person),
    }


def check_form(folder: Path, one: Field) -> None:
    """Raise `NameClash` where the form of a new photo would replace one that somebody filled in."""
    path = folder / FORMS / f"{Path(one.name).stem}.csv"
    if path.exists() and read_form(path) is not None:
        raise NameClash(f"would replace the filled form {path.name}", "Rename the photo", one.name)


def read_count(folder: Path) -> Count:
    """Read the points and all forms in ``forms/`` of a folder of a count.

    Raises
    ------
    WrongUse
        There is no such folder, or a form is no form, incomplete, or of other points or another photo.
    """
    fields = read_fields(folder)
    paths = sorted((folder / FORMS).glob("*.[cC][sS][vV]"))
    if len(paths) > _MOST_FORMS:
        raise WrongUse(f"holds more than {_MOST_FORMS:,} forms", "Choose another folder", str(folder / FORMS))
    read = [(path.name, read_form(path)) for path in paths]
    counts = tuple(one for _, one in read if one is not None)
    for one in counts:
        check_of(one, fields)
    return Count(tuple(fields), counts, tuple(name for name, one in read if one is None))


def check_of(one: Counted, fields: Sequence[Field]) -> None:
    """Raise `WrongUse` unless a count is of one of these photos, and of the points that were laid on it."""
    field = next((each for each in fields if each.sha256 == one.sha256), None)
    if field is None:
        raise WrongUse(f"is of another photo, {one.photo}", "Put it into the folder of its own count", one.source)
    if (field.grid, len(field.points)) != (one.grid, len(one.labels)):
        raise WrongUse(f"is of other points on {one.photo}", "Count the points of this folder", one.source)
    if one.person.casefold() == TOOL:
        raise WrongUse(f"names {TOOL!r} as the person", "Write who counted", one.source)
