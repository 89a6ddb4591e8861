"""What a job report says, as plain frozen data: sections of blocks. The PDF and the page only lay this out."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum


class Tone(StrEnum):
    """How a paragraph is set."""

    PLAIN = "plain"
    SMALL = "small"
    CAUTION = "caution"


@dataclass(frozen=True)
class Words:
    """A paragraph; a `lead` in bold may go before it."""

    text: str
    lead: str = ""
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True)
class Points:
    """A list of short paragraphs."""

    points: tuple[str, ...]


@dataclass(frozen=True)
class Facts:
    """Labels, each with what is known; for long texts too. `title` names the whole for who only hears it."""

    title: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Table:
    """Rows under heads.

    Parameters
    ----------
    title : str
        Said above it.
    heads : tuple of str
        One for each column.
    rows : tuple of tuple of str
        Cells, as many as heads; the first of each row names it.
    widths : tuple of float
        Shares of the width; they need not sum to 1.
    """

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]

    def __post_init__(self) -> None:
        if any(len(row) != len(self.heads) for row in self.rows) or len(self.widths) != len(self.heads):
            raise ValueError(f"table {self.title!r} has rows or widths of another length than its heads")


@dataclass(frozen=True)
class Picture:
    """A photo for the report: JPEG bytes without any of the original's data, drawn `width` x `height` pixels."""

    jpeg: bytes = field(repr=False)
    width: int
    height: int
    caption: str
    alt: str


@dataclass(frozen=True)
class Strip:
    """Pictures side by side, in order; a single one is set large."""

    pictures: tuple[Picture, ...]


CHART_WIDTH, LETTERS = 330.0, 12.5
"""Width of a chart and size of its letters in its units, which on a phone of 360 px are its pixels."""


class Ink(StrEnum):
    """Inks of a chart."""

    INK = "ink"
    FAINT = "faint"
    ACCENT = "accent"


@dataclass(frozen=True)
class Stroke:
    """A line through points in the chart's units; one point, or two equal ones, is a dot."""

    points: tuple[tuple[float, float], ...]
    thick: float = 1.0
    ink: Ink = Ink.INK


@dataclass(frozen=True)
class Lettering:
    """A line of text in a chart: `at` is its anchor on the base line; `anchor` is ``start``, ``middle`` or ``end``."""

    at: tuple[float, float]
    text: str
    anchor: str = "start"
    size: float = LETTERS
    bold: bool = False
    ink: Ink = Ink.INK


@dataclass(frozen=True)
class Chart:
    """A drawing of strokes and letters, `width` x `height` units; `alt` says in words what it shows."""

    title: str
    alt: str
    width: float
    height: float
    marks: tuple[Stroke | Lettering, ...]


@dataclass(frozen=True)
class Signatures:
    """Blank lines to sign, one for each role."""

    roles: tuple[str, ...]


Block = Words | Points | Facts | Table | Strip | Chart | Signatures


@dataclass(frozen=True)
class Section:
    """A numbered section (`level` 1), or an unnumbered one within it (`level` 2)."""

    title: str
    blocks: tuple[Block, ...]
    level: int = 1
    number: str = ""


@dataclass(frozen=True)
class Report:
    """A whole report.

    Parameters
    ----------
    job : str
        Number of the job; empty for a sheet about a person.
    title : str
        Of the job, or of the sheet.
    written : str
        When it was written, as shown on every page.
    written_at : str
        The same, ISO 8601 with offset.
    origin : str
        Program version and head of the log, as shown on every page.
    notice : str
        Said in a frame at the top, such as that all of it is invented; empty for nothing.
    cover : tuple of Block
        Below the title.
    sections : tuple of Section
        In order.
    kind : str
        What it is, said above the title.
    """

    job: str
    title: str
    written: str
    written_at: str
    origin: str
    notice: str
    cover: tuple[Block, ...]
    sections: tuple[Section, ...]
    kind: str = "Job report"

    @property
    def name(self) -> str:
        """The report's name."""
        return f"{self.kind} {self.job}".strip()

    @property
    def head(self) -> str:
        """What stands at the head of each page."""
        return " · ".join(part for part in (self.job, self.title) if part)
