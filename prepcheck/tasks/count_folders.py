"""What is erased from folders of counts: a name on forms, and the copies of a photo.

The log knows the counts that lie in the store's folder. Folders that `prepcheck count grid` made elsewhere it does not know.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from prepcheck.agreement.begun import BEGUN, begun_by, in_file_names
from prepcheck.agreement.fields import LIST, Field, read_fields, without_field
from prepcheck.agreement.folder import CROSSES, FORMS, IMAGES
from prepcheck.agreement.form import person_on, read_text_of, with_person
from prepcheck.archive.durable import make_folder, sync_folder, write_file
from prepcheck.errors import WrongUse
from prepcheck.store import os_fault
from prepcheck.store.words import folded

COUNTS = "counts"
"""In the store's folder, one folder each."""
TOLD = "told"
"""In the folder of a count: the tool's own answers, apart from the forms of people."""
SET_ASIDE = "erased"
"""In the folder of a count: forms of photos that were erased; no count reads them."""
NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")
"""Names of counts that lie in the store's folder."""


@dataclass(frozen=True)
class Treated:
    """What was done in the folder of a count.

    Parameters
    ----------
    folder : Path
        The folder.
    files : int
        How many files were changed, set aside or taken away.
    unread : tuple of str
        Why a file could not be looked into, one line each: a person has to.
    """

    folder: Path
    files: int = 0
    unread: tuple[str, ...] = ()


def list_counts(store: Path) -> list[str]:
    """Return the names of the counts in a store's folder, in order."""
    place = store / COUNTS
    if not place.is_dir():
        return []
    return sorted(one.name for one in place.iterdir() if NAME.fullmatch(one.name) and (one / LIST).is_file())


def folders_known(store: Path, more: Sequence[Path] = ()) -> list[Path]:
    """Return the folders of the counts in a store's folder, and `more` that a person names.

    Raises
    ------
    WrongUse
        One of `more` is no folder of a count.
    """
    for folder in more:
        if not (folder / LIST).is_file():
            raise WrongUse(
                "is no folder of a count", "Name one that has a grid", str(folder), command="prepcheck count grid"
            )
    known = [store / COUNTS / name for name in list_counts(store)]
    return list({folder.resolve(): folder for folder in (*known, *more)}.values())


def name_stands_in(folder: Path, name: str) -> bool:
    """Say whether a form, or a count that was begun, names a person; files that cannot be read are passed over."""
    for path in _by_people(folder):
        with suppress(WrongUse):
            if _names(path, name):
                return True
    return False


def take_name(folder: Path, name: str, alias: str) -> Treated:
    """Put `alias` in the place of a person's name on the forms of a count; what they had only begun is taken away."""

    def treat(path: Path) -> bool:
        if not _names(path, name):
            return False
        if path.parent.name == BEGUN:
            path.unlink()
        else:
            _rename(path, name, alias)
        return True

    return _each(folder, _by_people(folder), treat)


def photo_lies_in(folder: Path, sha256: str) -> bool:
    """Say whether a count has a photo."""
    try:
        return any(one.sha256 == sha256 for one in read_fields(folder)) or any(_copies(folder, sha256))
    except WrongUse:
        return False


def take_photo(folder: Path, sha256: str) -> Treated:
    """Take a photo out of a count with all that shows it; what people said of it is set aside."""
    try:
        gone = [one for one in read_fields(folder) if one.sha256 == sha256]
    except WrongUse as error:
        return Treated(folder, unread=(error.plain,))
    pictures = {path for one in gone for path in _pictures(folder, one)} | set(_copies(folder, sha256))

    def treat(path: Path) -> bool:
        if path not in pictures and sha256 not in read_text_of(path).casefold():
            return False
        _set_aside_or_remove(path)
        return True

    told = [path for place in (TOLD, BEGUN, FORMS) for path in (folder / place).glob("*") if path.is_file()]
    done = _each(folder, [*sorted(told), *sorted(pictures)], treat)
    if gone:  # last, so that asking again finishes what was cut short
        write_file(folder / LIST, without_field(folder, sha256), 0o644)
    return done


def _each(folder: Path, paths: Sequence[Path], treat: Callable[[Path], bool]) -> Treated:
    """Treat one file after the other; one that cannot be read stops nothing."""
    done, unread = 0, []
    for path in paths:
        try:
            done += treat(path)
        except OSError as error:
            raise os_fault(error, path) from error
        except WrongUse as error:
            unread.append(error.plain)
    for place in {path.parent for path in paths if path.parent.is_dir()}:
        sync_folder(place)
    return Treated(folder, done, tuple(unread))


def _by_people(folder: Path) -> list[Path]:
    """Return the files in which people are named, in the order in which they are read."""
    forms = [*(folder / FORMS).glob("*.[cC][sS][vV]"), *(folder / SET_ASIDE).glob("*.[cC][sS][vV]")]
    return [*sorted(forms), *sorted((folder / BEGUN).glob("*.json"))]


def _names(path: Path, name: str) -> bool:
    found = begun_by(path) if path.parent.name == BEGUN else person_on(read_text_of(path), path.name)
    return folded(" ".join(found.split())) == folded(name)


def _rename(path: Path, name: str, alias: str) -> None:
    """Write a form anew under another name of the person, in its file's name, too; the order of files stays."""
    data = with_person(read_text_of(path), path.name, alias)
    stem = path.stem.replace(in_file_names(name), in_file_names(alias))
    word = rf"(?<![^\W_]){re.escape(name)}(?![^\W_])"
    new = path.with_name(re.sub(word, in_file_names(alias), stem, flags=re.IGNORECASE) + path.suffix)
    if new != path and new.exists():
        raise WrongUse(f"would replace {new.name}", "Look into it yourself", str(path))
    write_file(new, data, 0o644)
    if new != path:
        path.unlink()


def _pictures(folder: Path, one: Field) -> Iterator[Path]:
    """Give the photo of a count and its picture with crosses, where they are there."""
    places = (folder / one.file, folder / CROSSES / f"{Path(one.name).stem}.jpg")
    return (path for path in places if path.is_file())


def _copies(folder: Path, sha256: str) -> Iterator[Path]:
    """Give the pictures of a count with these bytes, whatever their name."""
    for path in (folder / IMAGES).glob("*"):
        if path.is_file() and _sha256(path) == sha256:
            yield path


def _sha256(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise os_fault(error, path) from error


def _set_aside_or_remove(path: Path) -> None:
    if path.parent.name == FORMS:
        make_folder(path.parents[1] / SET_ASIDE)
        path.replace(path.parents[1] / SET_ASIDE / path.name)
    else:
        path.unlink()
