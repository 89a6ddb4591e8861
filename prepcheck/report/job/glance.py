"""The first pages of a report: the job, everything at a glance, and the people."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from prepcheck.report.job.charts import Bar, of_spots
from prepcheck.report.job.content import Block, Facts, Points, Section, Table, Tone, Words
from prepcheck.report.job.steps import held_up, open_steps, overrides
from prepcheck.report.job.told import NOT_TOLD, Told, last_of
from prepcheck.report.words import score_words
from prepcheck.store.rows import LoggedInspection, SpotStory
from prepcheck.terms import CAUTION_LINE, HOT_WORK_LINE, NEXT_STEPS, Standing
from prepcheck.trade.steps import JobState, Progress
from prepcheck.trade.units import Kind, System

SYSTEM_WORDS = {System.METRIC: "metric", System.US: "US customary"}


def cover(told: Told) -> tuple[Block, ...]:
    """Say what the job is about."""
    job = told.story.job
    wall = NOT_TOLD if job.wall_mm is None else f"{told.say(job.wall_mm, Kind.LENGTH)}, as told when the job was opened"
    rows = (
        ("Job", job.number),
        ("Part", job.part or NOT_TOLD),
        ("Alloy", f"{job.alloy} (as told; no photo shows what the metal is)" if job.alloy else NOT_TOLD),
        ("Wall", wall),
        ("Held before", job.previous_contents or NOT_TOLD),
        ("Customer's number", job.customer_reference or NOT_TOLD),
        ("Opened", f"{told.when(job.opened_at)} by {job.opened_by}"),
        ("Report written", f"{told.when(told.now)}; all times are in {told.offset}"),
        ("Units", f"{SYSTEM_WORDS[told.system]}; texts that people typed are as they typed them"),
    )
    return (Facts("The job", rows),)


def glance(told: Told) -> Section:
    """Say how each spot stands, what is open, what holds."""
    spots = [spot for spot in told.story.spots if spot.passes]
    if not spots:
        blocks: list[Block] = [Words("No photo of any spot is logged.")]
    else:
        blocks = [_standings(told, spots)]
    if len(spots) > 1:
        blocks.append(of_spots([_bar(spot) for spot in spots], "Last score of each spot"))
    return Section("At a glance", (*blocks, *_meanings(spots), *_open_lines(told)))


def open_points(told: Told) -> Section:
    """List what is open, held or out of time, and what follows from the standings."""
    points = [*open_steps(told), *_from_spots(told)]
    if not points:
        return Section("Open points", (Words("None is logged. That is no statement about the part or the vessel."),))
    return Section("Open points", (Points(tuple(points)), *held_up(told)))


def spot_name(spot: SpotStory) -> str:
    """Name a spot: ``Spot 1, lower seam``."""
    return f"Spot {spot.number}" + (f", {spot.name}" if spot.name else "")


def score_of(one: LoggedInspection) -> str:
    """Say the score of an inspection as told."""
    return "not fit to judge" if one.standing is Standing.RETAKE else score_words(one.bright_share, one.interval)


def bar_of(one: LoggedInspection, label: str) -> Bar:
    """Return the bar of an inspection in a chart."""
    share = None if one.standing is Standing.RETAKE else one.bright_share
    return Bar(label, share, one.interval, one.standing.value)


def last_in(spot: SpotStory) -> LoggedInspection:
    """Return the last inspection of the last pass of a spot."""
    return last_of(spot.passes[-1])


def _bar(spot: SpotStory) -> Bar:
    return bar_of(last_in(spot), spot_name(spot))


def _standings(told: Told, spots: list[SpotStory]) -> Table:
    rows = []
    for spot in spots:
        last = last_in(spot)
        differ = "".join(f"; {one.person} disagrees: {one.standing}" for one in last.disagreements)
        standing = f"{last.standing}{differ}"
        rows.append(
            (spot_name(spot), standing, score_of(last), str(spot.passes[-1].pass_no), told.when(last.at), last.person)
        )
    heads = ("Spot", "Standing", "Score (95% interval)", "Last pass", "Photo logged", "By")
    return Table("How each spot stands after its last pass", heads, tuple(rows), (24, 27, 25, 12, 22, 16))


def _open_lines(told: Told) -> tuple[Block, ...]:
    count = len([*open_steps(told), *_from_spots(told)])
    points = [f"Open points: {count}, listed in their own section." if count else "No open point is logged."]
    if told.state is not None:
        points += [f"{words}: {names}." for words, names in _by_progress(told.state)]
        points += [f"Out of time: {told.tool(one.text)}" for one in told.state.ran_out]
    points.append(f"Done or released although something spoke against it: {len(overrides(told)) or 'nothing'}.")
    return (Points(tuple(points)), Words(f"{CAUTION_LINE} {HOT_WORK_LINE}", tone=Tone.CAUTION))


def _by_progress(state: JobState) -> Iterator[tuple[str, str]]:
    told = {
        "Finished": [one for one in state.steps if one.progress.finished],
        "Held until a named person releases it": state.those(Progress.HELD),
        "Open": state.those(Progress.OPEN, Progress.NEXT),
    }
    for words, steps in told.items():
        if steps:
            yield words, ", ".join(one.step.name for one in steps)


def _from_spots(told: Told) -> list[str]:
    found = []
    for spot in told.story.spots:
        if spot.passes and last_in(spot).standing is not Standing.BRIGHT:
            standing = last_in(spot).standing
            found.append(f"{spot_name(spot)}: {standing}. {NEXT_STEPS[standing]}")
    return found


def _meanings(spots: list[SpotStory]) -> tuple[Block, ...]:
    if not spots:
        return ()
    text = (
        "A standing says what a photo of the ground spot shows at the set limit, no more: bright (no residue seen at "
        "the limit), residue left (grind again), cannot tell (look closely), retake (the photo is unfit). The score "
        "is 100 x the share of bright metal; the true share lies within the interval in about 95 of 100 photos like "
        "those it was fitted on."
    )
    return (Words(text, tone=Tone.SMALL),)


def people(told: Told) -> Section:
    """List who did what in this job, under which role."""
    did: dict[str, list[str]] = defaultdict(list)
    roles: dict[str, list[str]] = defaultdict(list)
    did[told.story.job.opened_by].append("opened the job")
    for one in told.inspections:
        did[one.person].append("photos")
        for other in one.disagreements:
            did[other.person].append("disagreements")
    for event in told.story.events:
        did[event.person].append(_DEEDS.get(event.entry.kind, "entries") if event.entry else "erased entries")
        if event.role and event.role not in roles[event.person]:
            roles[event.person].append(event.role)
    rows = tuple((name, ", ".join(roles[name]) or "none proved by PIN", _deeds(deeds)) for name, deeds in did.items())
    return Section("People", (Table("Who did what", ("Name", "Role", "Logged"), rows, (26, 24, 50)),))


_DEEDS = {
    "gas_reading": "gas readings", "vessel_condition": "vessel conditions", "certificate": "certificates",
    "wall_reading": "wall readings", "leak_entry": "leak tests", "plan_made": "plans", "work_chosen": "choices of plan",
    "step_done": "steps done", "step_released": "releases", "step_reopened": "steps opened again", "note": "notes",
    "sealed": "seals", "shop_fit": "fits of the tool", "erased": "erasures",
}  # fmt: skip


def _deeds(deeds: list[str]) -> str:
    counts = {deed: deeds.count(deed) for deed in dict.fromkeys(deeds)}
    return ", ".join(deed if deed == "opened the job" else f"{deed}: {count}" for deed, count in counts.items())
