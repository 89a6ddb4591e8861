"""All that a report says, as a flat list: what both renderings have to hold."""

from __future__ import annotations

from collections.abc import Iterator

from prepcheck.report.job.content import (
    Block,
    Chart,
    Facts,
    Lettering,
    Points,
    Report,
    Section,
    Signatures,
    Strip,
    Table,
    Words,
)


def texts(report: Report) -> list[str]:
    """Return every text that a reader sees, without the empty ones."""
    found = [report.title, report.notice, report.written, report.origin]
    for block in report.cover:
        found += of_block(block)
    for section in report.sections:
        found += of_section(section)
    return [text for text in found if text]


def of_section(section: Section) -> list[str]:
    """Return every text of a section."""
    return [section.title, *(text for block in section.blocks for text in of_block(block))]


def of_block(block: Block) -> Iterator[str]:
    """Yield every text of a block; the title of facts is left out where a heading says the same."""
    match block:
        case Words():
            yield from (block.lead, block.text)
        case Points():
            yield from block.points
        case Facts():
            yield from (cell for row in block.rows for cell in row)
        case Table():
            yield from (block.title, *block.heads, *(cell for row in block.rows for cell in row))
        case Strip():
            yield from (one.caption for one in block.pictures)
        case Chart():
            yield from (block.title, *(mark.text for mark in block.marks if isinstance(mark, Lettering)))
        case Signatures():
            yield from block.roles


def section(report: Report, title: str) -> Section:
    """Return the section with this title."""
    return next(one for one in report.sections if one.title == title)


def said(report: Report, title: str) -> str:
    """Return all that the section with this title says, in one line."""
    return " | ".join(of_section(section(report, title)))
