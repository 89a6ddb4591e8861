"""Each spot's history: pictures of its passes, its bright share, its shares, what people said of it."""

from __future__ import annotations

from collections.abc import Iterator

from prepcheck.record import SpotRecord
from prepcheck.report.job.charts import over_passes
from prepcheck.report.job.content import Block, Facts, Picture, Section, Strip, Table, Tone, Words
from prepcheck.report.job.glance import bar_of, score_of, spot_name
from prepcheck.report.job.pictures import LARGE_PX, SMALL_PX, picture_of
from prepcheck.report.job.told import Told, last_of
from prepcheck.report.job.units import patch_in
from prepcheck.report.words import flag_action, flag_name, patches_words, share_words, since_words
from prepcheck.store.rows import LoggedInspection, PassStory, SpotStory
from prepcheck.terms import RESIDUE, STATE_LABELS, Standing, State
from prepcheck.trade.units import Kind

_HOW = (
    "The outlines and the arrow in the pictures are those that were logged with the answer. Hatches show where residue was "
    "mapped: slanted lines residual oxide, crossed lines pit or void, level lines coating left, upright lines foreign "
    "matter, dots cannot tell; a picture without them was not mapped again by the same program, model and settings. The "
    "pictures are copies made smaller, without position; the photo as received is named by its hash under Origin of the "
    "figures."
)
_STATES = (State.BRIGHT, *RESIDUE, State.CANNOT_TELL)


def spots(told: Told) -> list[Section]:
    """Tell all spots, under one head."""
    shown = [spot for spot in told.story.spots if spot.passes]
    if not shown:
        return [Section("Spots", (Words("No photo of any spot is logged."),))]
    return [Section("Spots", (Words(_HOW, tone=Tone.SMALL),)), *(_spot(told, spot) for spot in shown)]


def tied_spot(told: Told, one: LoggedInspection) -> SpotRecord | None:
    """Return the outline of an inspection that is the job's spot, as it stood."""
    record = told.records.get(one.number)
    if record is None or one.outline is None:
        return None
    standing = record.spots if record.by_person is None else record.by_person.spots
    return next((spot for spot in standing if spot.number == one.outline), None)


def _spot(told: Told, spot: SpotStory) -> Section:
    blocks: list[Block] = _pictures(told, spot)
    blocks.append(over_passes([bar_of(last_of(one), str(one.pass_no)) for one in spot.passes], "Score over passes"))
    blocks.append(_passes(told, spot))
    blocks += [_shares(told, spot)] if any(tied_spot(told, last_of(one)) for one in spot.passes) else []
    blocks.append(Facts("What was said of each photo", tuple(_said(told, spot))))
    return Section(spot_name(spot), (*blocks, *_disagreements(told, spot)), level=2)


def _pictures(told: Told, spot: SpotStory) -> list[Block]:
    """Return the passes side by side, and the last of them large with its marks."""
    shown = [_picture(told, one, SMALL_PX) for one in spot.passes]
    large = _picture(told, spot.passes[-1], LARGE_PX)
    strip = [Strip(tuple(one for one in shown if isinstance(one, Picture)))] if len(shown) > 1 else []
    missing = [Words(one) for one in shown if isinstance(one, str)]
    return [*strip, *([Strip((large,))] if isinstance(large, Picture) else []), *missing]


def _picture(told: Told, one: PassStory, long_side: int) -> Picture | str:
    last = last_of(one)
    head = f"Pass {one.pass_no}"
    caption = f"{head}: {last.standing}, {score_of(last)}. {told.when(last.at)}, {last.person}"
    marks = "with the outline that was logged" if tied_spot(told, last) else "without an outline"
    alt = f"Photo of the ground spot, {head.lower()}, {marks}: {last.standing}, {score_of(last)}"
    data = told.photo_or_reason(last.photo_sha256)
    if isinstance(data, bytes):
        record, name = told.records.get(last.number), last.photo_name
        states = told.states(record) if record is not None else None
        drawn = picture_of(data, name, record, caption, alt, states=states, long_side=long_side, system=told.system)
        return drawn if isinstance(drawn, Picture) else f"{head}: the photo is not shown: {drawn}."
    return f"{head}: the photo is not shown: {data}."


def _passes(told: Told, spot: SpotStory) -> Table:
    rows = []
    for one in spot.passes:
        for each in one.inspections:
            corrected = " (corrected later)" if each.corrected_by else ""
            what = f"{each.standing}{corrected}"
            rows.append((str(one.pass_no), f"{each.number}", told.when(each.at), what, score_of(each), each.person))
    heads = ("Pass", "Inspection", "Logged", "Standing", "Score (95% interval)", "By")
    return Table("Photos of this spot", heads, tuple(rows), (8, 14, 22, 26, 28, 22))


def _shares(told: Told, spot: SpotStory) -> Table:
    rows = []
    for one in spot.passes:
        tied = tied_spot(told, last_of(one))
        if tied is not None and tied.standing is not Standing.RETAKE:
            shares = [share_words(tied.shares.get(state.key, 0.0)) for state in _STATES]
            area = told.say(tied.area_mm2, Kind.AREA) if tied.area_mm2 is not None else "no scale"
            worst = share_words(tied.worst_unit_area)
            rows.append((str(one.pass_no), *shares, area, worst, patch_in(tied.largest_patch, told.system)))
    heads = ("Pass", *(STATE_LABELS[state] for state in _STATES), "spot's area", "worst unit area", "longest patch")
    return Table("Shares of the spot, as mapped", heads, tuple(rows), (8, 11, 12, 11, 13, 12, 12, 15, 14, 17))


def _said(told: Told, spot: SpotStory) -> Iterator[tuple[str, str]]:
    for one in spot.passes:
        for each in one.inspections:
            sentences = (f"{part[0].upper()}{part[1:].rstrip('.')}." for part in _of_inspection(told, each))
            yield f"Pass {one.pass_no}, inspection {each.number}", " ".join(sentences)


def _of_inspection(told: Told, one: LoggedInspection) -> Iterator[str]:
    names = one.photos or (one.photo_name,)
    yield f"{'photo' if len(names) == 1 else 'moved light,'} {', '.join(names)}" + _taken(told, one)
    if one.reason:
        yield f"why: {told.tool(one.reason)}"
    yield from _patches(told, one)
    if one.since is not None:
        yield told.tool(since_words(one.since))
    for flag in one.flags:
        measured = f" ({told.tool(flag.measured)})" if flag.measured else ""
        yield f"flag, {flag_name(flag)}{measured}: {flag_action(flag)}"
    yield from _outlines(one)
    if one.note:
        yield f"note: {one.note}"
    if one.corrects is not None:
        yield f"corrects inspection {one.corrects}"


def _patches(told: Told, one: LoggedInspection) -> Iterator[str]:
    tied = tied_spot(told, one)
    if tied is not None and tied.standing is not Standing.RETAKE:
        listed = patches_words(tied, lambda patch: patch_in(patch, told.system))
        yield from [f"patches, longest first: {listed}"] if listed else []


def _taken(told: Told, one: LoggedInspection) -> str:
    return "" if one.taken is None else f", taken {one.taken[:16].replace('T', ' ')} by the camera's clock"


def _outlines(one: LoggedInspection) -> Iterator[str]:
    if one.outline is None:
        yield "the photo shows no outline"
    elif one.outline in one.drawn:
        yield f"outline {one.outline} drawn by {one.person}; with the tool's own outlines it is {one.tool_standing}"
    if one.not_assigned:
        yield f"outlines in the photo not assigned to a spot: {', '.join(map(str, one.not_assigned))}"
    for number, reason in one.refused.items():
        yield f"outline {number} refused by {one.person}: {reason}"


def _disagreements(told: Told, spot: SpotStory) -> list[Block]:
    rows = tuple(
        (
            f"inspection {each.number}",
            f"{each.standing}, {score_of(each)}",
            f"{other.person}: {other.standing}",
            other.reason,
            told.when(other.at),
        )
        for one in spot.passes
        for each in one.inspections
        for other in each.disagreements
    )
    heads = ("On", "The tool's answer", "A person's", "Reason", "When")
    return [Table("Disagreements, beside the tool's answer", heads, rows, (17, 26, 22, 38, 19))] if rows else []
