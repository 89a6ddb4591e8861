"""How jobs are told in a terminal, wide or narrow. Text of people is never read as markup."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from prepcheck.cli.steps_text import steps_text
from prepcheck.errors import printable
from prepcheck.record import FlagRecord
from prepcheck.report.entry_words import entry_words
from prepcheck.report.job.units import said_in
from prepcheck.report.words import score_words, since_words
from prepcheck.store import Disagreement, Job, JobLine, LoggedEvent, LoggedInspection, PassStory, SpotStory, Story
from prepcheck.terms import CAUTION_LINE, FLAGS, HOT_WORK_LINE, Standing
from prepcheck.trade.steps import JobState
from prepcheck.trade.units import Kind, System, shown

STYLES = {
    Standing.BRIGHT: "bold",
    Standing.RESIDUE_LEFT: "bold reverse",
    Standing.CANNOT_TELL: "bold underline",
    Standing.RETAKE: "bold reverse",
}
"""Without colour: green would say more than a photo can."""


def jobs_table(jobs: list[JobLine], of_some: bool = False) -> RenderableType:
    """Lay out the list of jobs; `of_some` says that not all were asked for."""
    if not jobs and of_some:
        return Text("No such job in this log.")
    if not jobs:
        return Text("No job in this log yet. Open one with prepcheck job new.")
    grid = Table.grid(padding=(0, 2, 0, 0))
    for line in jobs:
        grid.add_row(Text(line.job.number, no_wrap=True), Text(line.job.title, style="bold"))
        grid.add_row("", _logged_so_far(line))
    return grid


def story_text(story: Story, state: JobState | None = None, system: System = System.METRIC) -> RenderableType:
    """Lay out how a job stands and all that was logged in it, with the cautions."""
    told: list[RenderableType] = [
        Text(f"{story.job.number}  {story.job.title}", style="bold"),
        _facts(story.job, system),
    ]
    if state is not None:
        told += [Text(), steps_text(state)]
    for spot in story.spots:
        told += [Text(), *_spot(spot, system)]
    if story.events:
        told += [Text(), Text("Entries", style="bold"), Padding(_entries(story.events, system), (0, 0, 0, 2))]
    if not story.spots:
        told += [Text(), Text("No photo logged yet. Log one with prepcheck inspect PHOTO --job ...")]
    return Group(*told, Text(), Text(CAUTION_LINE, style="italic"), Text(HOT_WORK_LINE, style="italic"))


def standing_text(standing: Standing) -> Text:
    """Return a standing in bold; it reads the same without."""
    return Text(standing.value, style=STYLES[standing])


def _logged_so_far(line: JobLine) -> Text:
    if line.last_standing is None or line.last_at is None:
        return Text(f"nothing logged yet, opened {line.job.opened_at[:10]} by {line.job.opened_by}")
    count = f"{_count(line.inspections, 'inspection')} of {_count(line.spots, 'spot')}"
    return Text.assemble("last ", standing_text(line.last_standing), f" on {line.last_at[:10]}, {count}")


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("" if number == 1 else "s")


def _facts(job: Job, system: System) -> Table:
    facts = {
        "part": job.part,
        "alloy": job.alloy or "not told",
        "wall": "not told" if job.wall_mm is None else _wall(job.wall_mm, system),
        "held before": job.previous_contents or "not told",
        "customer": job.customer_reference,
        "opened": f"{_when(job.opened_at)} by {job.opened_by}",
    }
    grid = Table.grid(padding=(0, 2, 0, 0))
    for name, fact in facts.items():
        if fact:
            grid.add_row(Text(name, style="dim"), Text(fact))
    return grid


def _wall(mm: float, system: System) -> str:
    """Say a wall as it was told, without figures that nobody told; in inches to three."""
    return f"{mm:g} mm" if system is System.METRIC else shown(mm, Kind.LENGTH, system)


def _spot(spot: SpotStory, system: System) -> Iterator[RenderableType]:
    yield Text(f"Spot {spot.number}" + (f", {spot.name}" if spot.name else ""), style="bold")
    if len(spot.passes) > 1:
        yield Padding(_history(spot, system), (0, 0, 0, 2))
    for of_pass in spot.passes:
        for inspection in of_pass.inspections:
            head = Text(f"Pass {of_pass.pass_no}: ") + standing_text(inspection.standing)
            yield Padding(head.append(f", {_score(inspection)}"), (0, 0, 0, 2))
            yield Padding(Group(*map(Text, _lines(inspection, system))), (0, 0, 0, 4))


def _entries(events: tuple[LoggedEvent, ...], system: System) -> Table:
    grid = Table.grid(padding=(0, 2, 0, 0))
    for event in events:
        who = f"{event.person} ({event.role})" if event.role else event.person
        grid.add_row(
            Text(str(event.number)), Text(_when(event.at)), Text.assemble(f"{who}: ", entry_words(event, system))
        )
    return grid


def _history(spot: SpotStory, system: System) -> Table:
    """Lay out a line for each pass: its standing and score as last told, and what changed since the one before."""
    grid = Table.grid(padding=(0, 2, 0, 0))
    for of_pass in spot.passes:
        last = _standing_one(of_pass)
        told = Text.assemble(standing_text(last.standing), f", {_score(last)}")
        grid.add_row(Text(f"pass {of_pass.pass_no}", no_wrap=True), told)
        if last.since is not None:
            grid.add_row("", Text(said_in(since_words(last.since), system)))
    return grid


def _standing_one(of_pass: PassStory) -> LoggedInspection:
    """Return the last inspection of a pass that no later one corrects, the last one when all are corrected."""
    kept = [one for one in of_pass.inspections if not one.corrected_by] or of_pass.inspections
    return kept[-1]


def _score(inspection: LoggedInspection) -> str:
    if inspection.standing is Standing.RETAKE:
        return "photo not fit to judge"
    return score_words(inspection.bright_share, inspection.interval)


def _lines(inspection: LoggedInspection, system: System) -> Iterator[str]:
    names = inspection.photos or (inspection.photo_name,)
    photo = f"inspection {inspection.number}, {'photo' if len(names) == 1 else 'moved light'} {', '.join(names)}"
    yield f"{_when(inspection.at)}, {inspection.person}: {photo}"
    if inspection.reason:
        yield f"why: {inspection.reason}"
    if inspection.since is not None and inspection.since.shares is not None:  # a flag says why not
        yield said_in(since_words(inspection.since), system)
    if inspection.flags:
        yield f"flags: {'; '.join(said_in(_flag(one), system) for one in inspection.flags)}"
    yield from _outlines(inspection)
    if inspection.note:
        yield f"note: {inspection.note}"
    if inspection.corrects is not None:
        yield f"corrects inspection {inspection.corrects}"
    if inspection.corrected_by:
        yield f"corrected by inspection {', '.join(map(str, inspection.corrected_by))}"
    yield from map(_disagreement, inspection.disagreements)


def _outlines(inspection: LoggedInspection) -> Iterator[str]:
    if inspection.outline is None:
        yield "the photo shows no outline"
    elif inspection.outline in inspection.drawn:
        yield f"outline {inspection.outline} drawn by {inspection.person}"
        yield f"the tool's answer with its own outlines: {inspection.tool_standing}"
    if inspection.not_assigned:
        yield f"outlines in the photo not assigned to a spot: {', '.join(map(str, inspection.not_assigned))}"
    for number, reason in inspection.refused.items():
        yield f"outline {number} refused by {inspection.person}: {printable(reason)}"


def _flag(flag: FlagRecord) -> str:
    name = FLAGS[flag.code].name if flag.code in FLAGS else flag.code
    return f"{name} ({flag.measured})" if flag.measured else name


def _disagreement(told: Disagreement) -> str:
    return f"{told.person} disagrees: {told.standing}. {told.reason} ({_when(told.at)})"


def _when(at: str) -> str:
    return f"{datetime.fromisoformat(at):%Y-%m-%d %H:%M}"
