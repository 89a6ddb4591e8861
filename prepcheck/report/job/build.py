"""Builds the report from what was told: all sections, in order, numbered."""

from __future__ import annotations

from dataclasses import replace

from prepcheck import __version__
from prepcheck.report.job import ending, glance, spots, steps, vessel, work
from prepcheck.report.job.content import Report, Section
from prepcheck.report.job.told import Told

INVENTED = "Invented demo: no vessel, person, place or reading in this report is real."


def report_of(told: Told) -> Report:
    """Build the report of a job; nothing in it is computed again."""
    sections = [
        glance.glance(told),
        glance.people(told),
        steps.steps(told),
        *spots.spots(told),
        vessel.clearing(told),
        work.wall(told),
        work.weld(told),
        work.leak(told),
        work.notes(told),
        glance.open_points(told),
        ending.cautions(),
        ending.origin(told),
        ending.entries(told),
        ending.signatures(told),
    ]
    return Report(
        job=told.story.job.number,
        title=told.story.job.title,
        written=f"{told.when(told.now)} {told.offset}",
        written_at=told.now.isoformat(timespec="seconds"),
        origin=_origin(told),
        notice=INVENTED if told.invented else "",
        cover=glance.cover(told),
        sections=tuple(_numbered(sections)),
    )


def _origin(told: Told) -> str:
    if told.head is None:
        return f"prepcheck {__version__}"
    return f"prepcheck {__version__} · log of {told.head.size} entries, head {told.head.root[:16]}"


def _numbered(sections: list[Section]) -> list[Section]:
    numbered, count = [], 0
    for section in sections:
        count += section.level == 1
        numbered.append(replace(section, number=str(count)) if section.level == 1 else section)
    return numbered
