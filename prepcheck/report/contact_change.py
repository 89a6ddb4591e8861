"""A page that shows what is different when photos are looked at again: before, after, and the largest changes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from prepcheck.report.contact import NOT_READ, escaped, head_html, picture_html, signs_html, standing_html
from prepcheck.terms import CAUTION_LINE, HOT_WORK_LINE, WORST_FIRST

WORDS = tuple(map(str, WORST_FIRST))
"""Standings, worst first."""


@dataclass(frozen=True)
class Changed:
    """One photo before and after: words and lines for each, and a JPEG of both beside each other."""

    name: str
    before: str
    after: str
    said: tuple[str, ...]
    picture: bytes = field(default=b"", repr=False)


@dataclass(frozen=True)
class ChangeSheet:
    """What the page says of all photos.

    Parameters
    ----------
    title, origin : str
        Of the page, and what the new answers were made with.
    counts : mapping of (str, str) to int
        How many photos stood as the first word and stand as the second now; `NOT_READ` where there is no new answer.
    """

    title: str
    origin: str
    counts: Mapping[tuple[str, str], int]

    @property
    def all_of(self) -> int:
        """How many photos there are."""
        return sum(self.counts.values())

    @property
    def other(self) -> int:
        """How many have another standing now."""
        return sum(count for (before, after), count in self.counts.items() if after not in (before, NOT_READ))

    @property
    def not_read(self) -> int:
        """How many have no new answer."""
        return sum(count for (_, after), count in self.counts.items() if after == NOT_READ)


def change_page(sheet: ChangeSheet, shown: Sequence[Changed]) -> str:
    """Lay the page out as HTML that needs nothing else; `shown` are the largest changes, the largest first."""
    return "\n".join((*head_html(sheet.title), *_body(sheet, shown), "</html>", ""))


def _body(sheet: ChangeSheet, shown: Sequence[Changed]) -> Iterator[str]:
    yield f"<body>\n{signs_html()}\n<header>\n<p>Looked at again</p>\n<h1>{escaped(sheet.title)}</h1>"
    yield f"<p>{escaped(shares_words(sheet))}</p>"
    yield f'<p class="caution">{escaped(CAUTION_LINE)}</p>\n</header>\n<main>{_table(sheet)}'
    if shown:
        yield f"<h2>The {len(shown)} largest changes</h2>"
        yield "<p>Before on the left, now on the right. No map of before is kept, so only outlines are drawn there.</p>"
        yield '<ol class="wide">'
        yield from (_photo(one) for one in shown)
        yield "</ol>"
    yield f"</main>\n<footer><p>{escaped(HOT_WORK_LINE)}</p><p>{escaped(sheet.origin)}</p></footer>\n</body>"


def shares_words(sheet: ChangeSheet) -> str:
    """Say how many photos have another standing now."""
    answered = sheet.all_of - sheet.not_read
    share = f" ({100 * sheet.other / answered:.1f} %)" if answered else ""
    missing = f" {sheet.not_read:,} could not be looked at." if sheet.not_read else ""
    return f"{sheet.all_of:,} inspections; {sheet.other:,}{share} have another standing now.{missing}"


def _table(sheet: ChangeSheet) -> str:
    after = [*WORDS, *([NOT_READ] if sheet.not_read else [])]
    heads = "".join(f'<th scope="col">{standing_html(word)}</th>' for word in after)
    rows = "".join(_row(sheet, word, after) for word in WORDS)
    head = f'<tr><th scope="col">before, by row; now, by column</th>{heads}</tr>'
    return f'<div class="scroll"><table><caption>Standings before and now</caption>{head}{rows}</table></div>'


def _row(sheet: ChangeSheet, before: str, after: Sequence[str]) -> str:
    cells = "".join(f"<td{_same(before, word)}>{sheet.counts.get((before, word), 0):,}</td>" for word in after)
    return f'<tr><th scope="row">{standing_html(before)}</th>{cells}</tr>'


def _same(before: str, after: str) -> str:
    return ' class="same"' if before == after else ""


def _photo(one: Changed) -> str:
    picture = picture_html(one.picture, "Marked photo before and now") if one.picture else ""
    said = "".join(f"<p>{escaped(line)}</p>" for line in one.said)
    words = f"<p>{standing_html(one.before)} then {standing_html(one.after)}</p>"
    return f"<li>{picture}<div>{words}<h3>{escaped(one.name)}</h3>{said}</div></li>"
