"""Lays a report out as one HTML file that needs nothing else: no link, no script, pictures and charts within."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator
from html import escape
from pathlib import Path

from prepcheck.errors import printable
from prepcheck.report.job.content import (
    Block,
    Chart,
    Facts,
    Lettering,
    Picture,
    Points,
    Report,
    Section,
    Signatures,
    Strip,
    Stroke,
    Table,
    Tone,
    Words,
)

_LONG = 24
"""Characters of a word that may be broken in a table."""
_TIME = re.compile(r"(\d{4}-\d\d-\d\d) (\d\d:\d\d)")
_STYLE = Path(__file__).with_name("page.css")
_CLASSES = {Tone.PLAIN: "", Tone.SMALL: ' class="small"', Tone.CAUTION: ' class="caution"'}


def page_of(report: Report) -> str:
    """Return the report as HTML; every text is escaped, and its policy lets nothing be loaded or run."""
    style = _STYLE.read_text(encoding="utf-8") + _on_paper(report)
    return "\n".join((*_head(report, style), *_body(report), "</html>", ""))


def _head(report: Report, style: str) -> Iterator[str]:
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    yield '<!DOCTYPE html>\n<html lang="en-GB">\n<head>\n<meta charset="utf-8">'
    yield f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>{_text(f'{report.name}: {report.title}')}</title>\n<style>{style}</style>\n</head>"


def _on_paper(report: Report) -> str:
    """Put the job's number and the time at the head of each printed page, and the page's number at its foot."""
    head, foot = _css(f"{report.job or report.kind} · written {report.written}"), _css(report.origin)
    page = '"page " counter(page) " of " counter(pages)'
    return (
        "@page { margin: 20mm 16mm; font: 8pt sans-serif;\n"
        f"  @top-left {{ content: {head}; }} @bottom-left {{ content: {foot}; }} @bottom-right {{ content: {page}; }} }}\n"
    )


def _css(text: str) -> str:
    """Write a string of CSS, everything but plain letters and digits as an escape."""
    return '"' + "".join(c if c.isascii() and (c.isalnum() or c in " .,:-") else f"\\{ord(c):06x}" for c in text) + '"'


def _body(report: Report) -> Iterator[str]:
    yield f'<body>\n<header>\n<p class="kind">{_text(report.kind)}</p>\n<h1>{_text(report.title)}</h1>'
    if report.notice:
        yield f'<p class="notice">{_text(report.notice)}</p>'
    for block in report.cover:
        yield from _block(block)
    yield "</header>"
    if report.sections:
        yield from _contents(report)
    yield "<main>"
    for k, section in enumerate(report.sections):
        yield from _section(section, k)
    yield "</main>"
    foot = f"{report.name}, written {report.written}. {report.origin}"
    yield f'<footer class="foot"><p>{_text(foot)}</p></footer>\n</body>'


def _contents(report: Report) -> Iterator[str]:
    yield '<nav aria-label="Contents"><ol>'
    for k, section in enumerate(report.sections):
        if section.level == 1:
            yield f'<li><a href="#s{k}">{_text(_name(section))}</a></li>'
    yield "</ol></nav>"


def _name(section: Section) -> str:
    return f"{section.number} {section.title}".strip()


def _section(section: Section, k: int) -> Iterator[str]:
    level = section.level + 1
    yield f'<section id="s{k}">\n<h{level}>{_text(_name(section))}</h{level}>'
    for block in section.blocks:
        yield from _block(block)
    yield "</section>"


def _block(block: Block) -> Iterator[str]:
    match block:
        case Words():
            lead = f"<strong>{_text(block.lead)}</strong> " if block.lead else ""
            yield f"<p{_CLASSES[block.tone]}>{lead}{_text(block.text)}</p>"
        case Points():
            yield f"<ul>{''.join(f'<li>{_text(point)}</li>' for point in block.points)}</ul>"
        case Facts():
            yield from _facts(block)
        case Table():
            yield from _table(block)
        case Strip():
            yield f'<div class="strip">{"".join(map(_picture, block.pictures))}</div>'
        case Chart():
            yield from _chart(block)
        case Signatures():
            yield from _signatures(block)


def _facts(block: Facts) -> Iterator[str]:
    yield f'<table class="facts">\n<caption>{_text(block.title)}</caption>\n<tbody>'
    for label, value in block.rows:
        yield f'<tr><th scope="row">{_text(label)}</th><td>{_text(value)}</td></tr>'
    yield "</tbody>\n</table>"


def _table(block: Table) -> Iterator[str]:
    """Write a table with its roles, which keep their meaning where narrow screens set rows as blocks."""
    heads = "".join(f'<th scope="col" role="columnheader">{_text(head)}</th>' for head in block.heads)
    yield f'<table class="grid" role="table">\n<caption>{_text(block.title)}</caption>'
    yield f'<thead role="rowgroup"><tr role="row">{heads}</tr></thead>\n<tbody role="rowgroup">'
    for row in block.rows:
        cells = (_cell(k, head, cell) for k, (head, cell) in enumerate(zip(block.heads, row, strict=True)))
        yield f'<tr role="row">{"".join(cells)}</tr>'
    yield "</tbody>\n</table>"


def _cell(k: int, head: str, cell: str) -> str:
    tag, kind = ("td", 'role="cell"') if k else ("th", 'scope="row" role="rowheader"')
    long = any(len(word) > _LONG for word in cell.split())
    kind += ' class="long"' if long else ' class="none"' if cell == "-" else ""
    return f'<{tag} {kind} data-head="{_text(head)}">{_text(cell)}</{tag}>'


def _picture(picture: Picture) -> str:
    data = base64.b64encode(picture.jpeg).decode()
    size = f'width="{picture.width}" height="{picture.height}"'
    image = f'<img src="data:image/jpeg;base64,{data}" {size} alt="{_text(picture.alt)}">'
    return f"<figure>{image}<figcaption>{_text(picture.caption)}</figcaption></figure>\n"


def _chart(chart: Chart) -> Iterator[str]:
    yield f'<figure class="chart"><figcaption>{_text(chart.title)}</figcaption>'
    yield f"{svg_of(chart)}</figure>"


def svg_of(chart: Chart, style: str = "") -> str:
    """Return a chart as SVG. Its inks are classes, coloured by the page's style, or by `style` in a file of its own."""
    size = f'width="{1.3 * chart.width:.0f}" viewBox="0 0 {chart.width:g} {chart.height:g}"'
    space = 'xmlns="http://www.w3.org/2000/svg" ' if style else ""
    marks = (_stroke(mark) if isinstance(mark, Stroke) else _letters(mark) for mark in chart.marks)
    head = f'<svg {space}{size} role="img" aria-label="{_text(chart.alt)}">'
    return "\n".join((head, *([f"<style>{style}</style>"] if style else []), *marks, "</svg>"))


def _stroke(mark: Stroke) -> str:
    points = mark.points if len(mark.points) > 1 else mark.points * 2
    places = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return f'<polyline class="{mark.ink}" points="{places}" fill="none" stroke-width="{mark.thick:g}" stroke-linecap="round"/>'


def _letters(mark: Lettering) -> str:
    at = f'x="{mark.at[0]:.1f}" y="{mark.at[1]:.1f}" font-size="{mark.size:g}" text-anchor="{mark.anchor}"'
    weight = ' font-weight="700"' if mark.bold else ""
    return f"<text {at}{weight}>{_text(mark.text)}</text>"


def _signatures(block: Signatures) -> Iterator[str]:
    heads = "".join(f'<th scope="col">{head}</th>' for head in ("", "Name", "Date", "Signature"))
    yield f'<table class="signatures">\n<caption>To sign</caption>\n<thead><tr>{heads}</tr></thead>\n<tbody>'
    for role in block.roles:
        yield f'<tr><th scope="row">{_text(role)}</th><td></td><td></td><td></td></tr>'
    yield "</tbody>\n</table>"


def _text(text: str) -> str:
    """Escape a text; characters that cannot stand in HTML show as escapes, and times stay on one line."""
    line = escape(printable(" ".join(text.split())))
    return _TIME.sub(r"\1&nbsp;\2", line)
