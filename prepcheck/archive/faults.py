"""A fault found in a bag, and the limits beyond which a bag is not read."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from prepcheck.errors import printable


class Kind(StrEnum):
    """What kind of fault it is; the words are printed and stay as they are."""

    FORM = "form"
    """Not built as RFC 8493 asks."""
    NAME = "name"
    """A name that leads out of the bag, hides, or stands for two files."""
    LIMIT = "limit"
    """Too large, too many, too deep."""
    MISSING = "missing"
    ADDED = "added"
    CHANGED = "changed"
    SIGNATURE = "signature"
    """The signature does not hold, or something is not covered by it."""
    KEY = "key"
    """Signed with another key than the one expected."""
    LOG = "log"
    """An entry of the log is not where, or what, the sealed tree says; or the log does not go on from an earlier seal."""
    TIME = "time"
    """Times that contradict each other."""


@dataclass(frozen=True)
class Fault:
    """One fault.

    Parameters
    ----------
    kind : Kind
        What kind it is.
    where : str
        The file or entry; unprintable characters are shown escaped.
    what : str
        What is wrong, in words.
    """

    kind: Kind
    where: str
    what: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "where", printable(self.where)[:300])
        object.__setattr__(self, "what", printable(self.what))

    def __str__(self) -> str:
        return f"{self.where}: {self.what} ({self.kind})"


@dataclass(frozen=True)
class Limits:
    """What a bag may hold at most; far above what a job makes, and little enough not to fill a machine."""

    files: int = 50_000
    file_bytes: int = 8 * 2**30
    total_bytes: int = 64 * 2**30
    tag_bytes: int = 64 * 2**20
    """Of a manifest or another file that is read as a whole."""
    depth: int = 16
    """Folders above a file."""
    name: int = 1000
    ratio: int = 200
    """Unpacked over packed size of an entry of a zip file larger than `small`; DEFLATE reaches 1032 on nothing but zeros."""
    small: int = 2**20


LIMITS = Limits()
