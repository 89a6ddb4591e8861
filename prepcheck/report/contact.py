"""A contact sheet: many photos at a glance, as one page that needs nothing else, or as one picture. Computes no score."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

from prepcheck.errors import printable
from prepcheck.record import BrokenRecord, Record
from prepcheck.report.words import answer_words, flag_name
from prepcheck.terms import CAUTION_LINE, HOT_WORK_LINE, Standing

NOT_READ = "not read"
"""Said in place of a standing of what could not be looked at."""
_STYLE = Path(__file__).with_name("contact.css")
_SIGNS: dict[str, str] = {
    Standing.BRIGHT: '<path d="M2 16q7-9 14-9t14 9q-7 9-14 9T2 16z"/><circle cx="16" cy="16" r="4.2" fill="currentColor"/>',
    Standing.RESIDUE_LEFT: '<circle cx="16" cy="16" r="13"/><path d="M6.5 18 18 6.5M7.5 24.5 24.5 7.5M14 25.5 25.5 14"/>',
    Standing.CANNOT_TELL: '<path d="M16 2 30 16 16 30 2 16z"/><path d="M12.3 12.8q.3-3.6 3.8-3.6t3.7 3.3c0 3-3.7 2.9-3.7 6"/>'
    '<circle cx="16.1" cy="22.4" r=".6" fill="currentColor"/>',
    Standing.RETAKE: '<path d="M3 10h6l2.5-4h9L23 10h6v16H3z"/><circle cx="16" cy="17.500" r="5.2"/>',
    NOT_READ: '<path d="M6 3h14l6 6v20H6z"/><path d="m11 14 10 10m0-10L11 24"/>',
}
"""Each standing's own shape beside its word and colour; the page on the phone has the same."""


@dataclass(frozen=True)
class Shown:
    """One photo on the sheet.

    Parameters
    ----------
    name : str
        Of the file.
    word : str
        Its standing, or `NOT_READ`.
    said : tuple of str
        Lines below: score, flags, where it was logged, an error.
    picture : bytes
        JPEG; empty where there is none.
    """

    name: str
    word: str
    said: tuple[str, ...] = ()
    picture: bytes = field(default=b"", repr=False)


@dataclass(frozen=True)
class Sheet:
    """One of the pages of a contact sheet.

    Parameters
    ----------
    title : str
        Of all pages.
    counts : mapping of str to int
        How many photos there are on all pages, by word.
    number, pages : int
        Of this page, from 1, and how many there are.
    first : int
        Place of its first photo among all, from 1.
    origin : str
        What the answers were made with.
    """

    title: str
    counts: Mapping[str, int]
    number: int
    pages: int
    first: int
    origin: str


def shown(name: str, line: Record | BrokenRecord, picture: bytes, *more: str) -> Shown:
    """Say a photo's answer as the sheet shows it, with `more` lines below."""
    if isinstance(line, BrokenRecord):
        return Shown(name, NOT_READ, (_without(line.error.message, name), *more), picture)
    flags = ", ".join(flag_name(flag) for flag in line.flags)
    return Shown(name, str(line.standing), (answer_words(line), *filter(None, [flags]), *more), picture)


def _without(message: str, name: str) -> str:
    return message.removeprefix(f"{printable(name)}: ")


def page_name(number: int) -> str:
    """Return the file name of a page: ``sheet.html``, ``sheet-2.html`` ..."""
    return "sheet.html" if number == 1 else f"sheet-{number}.html"


def contact_page(sheet: Sheet, photos: Sequence[Shown]) -> str:
    """Lay a page out as HTML; every text is escaped, and its policy lets nothing be loaded or run."""
    return "\n".join((*head_html(sheet.title), *_body(sheet, photos), "</html>", ""))


def head_html(title: str) -> Iterator[str]:
    """Yield the head of a page, with the style within and a policy that lets nothing be loaded or run."""
    style = _STYLE.read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    yield '<!DOCTYPE html>\n<html lang="en-GB">\n<head>\n<meta charset="utf-8">'
    yield f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>{escaped(title)}</title>\n<style>{style}</style>\n</head>"


def _body(sheet: Sheet, photos: Sequence[Shown]) -> Iterator[str]:
    yield f"<body>\n{signs_html()}\n<header>\n<p>Contact sheet, worst first</p>\n<h1>{escaped(sheet.title)}</h1>"
    yield f'<ul class="counts">{"".join(_count(word, count) for word, count in sheet.counts.items() if count)}</ul>'
    yield f'<p class="caution">{escaped(CAUTION_LINE)}</p>\n{_pages(sheet, "top")}</header>\n<main>'
    yield f'<ol start="{sheet.first}">'
    for photo in photos:
        yield _photo(photo)
    yield f"</ol></main>\n{_pages(sheet, 'bottom')}"
    yield f"<footer><p>{escaped(HOT_WORK_LINE)}</p><p>{escaped(sheet.origin)}</p></footer>\n</body>"


def signs_html() -> str:
    """Return the shapes of the standings, hidden, for `standing_html` to use."""
    symbols = "".join(
        f'<symbol id="{_class(word)}" viewBox="0 0 32 32">{drawn}</symbol>' for word, drawn in _SIGNS.items()
    )
    return f'<svg class="signs" aria-hidden="true">{symbols}</svg>'


def _count(word: str, count: int) -> str:
    return f"<li>{standing_html(word)} {count:,}</li>"


def standing_html(word: str) -> str:
    """Return a standing as word, shape and colour."""
    sign = f'<svg aria-hidden="true"><use href="#{_class(word)}"></use></svg>'
    return f'<span class="standing {_class(word)}">{sign}{escaped(word)}</span>'


def _pages(sheet: Sheet, where: str) -> str:
    if sheet.pages == 1:
        return ""
    links = [(sheet.number - 1, "Worse"), (sheet.number + 1, "Less bad")]
    shown = "".join(f'<a href="{page_name(n)}">{word}</a>' for n, word in links if 1 <= n <= sheet.pages)
    return f'<nav aria-label="Pages, {where}"><span>Page {sheet.number} of {sheet.pages}</span>{shown}</nav>'


def _photo(photo: Shown) -> str:
    picture = picture_html(photo.picture, "Marked photo") if photo.picture else '<span class="none"></span>'
    said = "".join(f"<p>{escaped(line)}</p>" for line in photo.said)
    return f"<li>{picture}<div>{standing_html(photo.word)}<h2>{escaped(photo.name)}</h2>{said}</div></li>"


def picture_html(jpeg: bytes, alt: str) -> str:
    """Return a picture within the page."""
    data = base64.b64encode(jpeg).decode()
    return f'<img src="data:image/jpeg;base64,{data}" alt="{escaped(alt)}" loading="lazy">'


def _class(word: str) -> str:
    return word.replace(" ", "-")


def escaped(text: str) -> str:
    """Return a text for a page, on one line."""
    return escape(printable(text))
