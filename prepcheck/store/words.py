"""Text and numbers that people type, checked before they reach the log."""

from __future__ import annotations

import re
import unicodedata
from datetime import datetime

from prepcheck.errors import UnknownRecord, WrongUse

NAME = 80
"""Longest name of a person, spot, alloy or reference, in characters: fits one line of a report."""
TITLE = 200
"""Longest title, part or previous contents, in characters."""
NOTE = 2000
"""Longest reason or note, in characters: a page."""
MOST_PASS_NO = 99


def clean(text: str, what: str, most: int = NAME, *, needed: bool = True) -> str:
    """Return `text` in Unicode form NFC on one line, outer and doubled blanks removed.

    Raises
    ------
    WrongUse
        Longer than `most` characters, holds unprintable characters, or is empty though `needed`.
    """
    line = " ".join(unicodedata.normalize("NFC", text).split())
    if needed and not line:
        raise WrongUse(f"{what} is empty", "Give some text")
    if len(line) > most:
        raise WrongUse(f"{what} has {len(line)} characters, at most {most} fit", "Shorten it")
    if not line.isprintable():
        raise WrongUse(f"{what} holds characters that cannot be printed", "Type it again", line)
    return line


def folded(name: str) -> str:
    """Return the form under which two spellings of a cleaned name count as the same."""
    return unicodedata.normalize("NFC", name.casefold())


def job_number(text: str) -> str:
    """Return a job's number as printed: ``j-1``, ``1`` and ``J-0001`` all mean ``J-0001``.

    Raises
    ------
    UnknownRecord
        `text` is no job number.
    """
    found = re.fullmatch(r"\s*(?:[Jj]-?)?0*([0-9]{1,9})\s*", text)
    if not found:
        raise UnknownRecord(
            "no such job; numbers look like J-0001", "Choose one of the jobs", text, command="prepcheck job list"
        )
    return number_of(int(found[1]))


def number_of(count: int) -> str:
    """Return the number of the `count`-th job."""
    return f"J-{count:04d}"


def spot_label(text: str) -> int | str:
    """Read what a person calls a spot: a number from 1 to 999, or a name."""
    label = clean(text, "the spot")
    if not re.fullmatch("[0-9]+", label):
        return label
    if not 1 <= int(label[:9]) <= 999 or len(label) > 9:
        raise WrongUse("a spot's number goes from 1 to 999", "Give a smaller number, or a name", label)
    return int(label)


def checked_pass_no(pass_no: int) -> int:
    """Return `pass_no` if it is one of 1 to 99."""
    if not 1 <= pass_no <= MOST_PASS_NO:
        raise WrongUse(
            f"a pass number goes from 1 to {MOST_PASS_NO}", "Count the grinding passes on this spot", str(pass_no)
        )
    return pass_no


def stamp(at: datetime) -> str:
    """Return a time as logged: ISO 8601 to the second, with offset."""
    if at.tzinfo is None:
        raise ValueError("times in the log need a time zone")
    return at.isoformat(timespec="seconds")
