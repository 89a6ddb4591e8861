"""The panels above and below the photo: standing, score, next step; scale, legend, spots, flags, cautions."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from prepcheck.record import FlagRecord, Record, SpotRecord
from prepcheck.report.hatch import PAPER, hatch
from prepcheck.report.lettering import Colour, Type, wrapped, write
from prepcheck.report.signs import SIGNS
from prepcheck.report.view import INK, SIGNAL, View
from prepcheck.report.words import (
    answer_words,
    fit_words,
    flag_action,
    flag_name,
    joint_words,
    judged,
    patch_words,
    person_spots,
    rests_words,
    score_words,
)
from prepcheck.terms import CAUTION_LINE, HOT_WORK_LINE, Standing, State

Raster = NDArray[np.uint8]
MARGIN = 12.0
SHADE: Colour = (226, 229, 233)
_BAND: dict[Standing, tuple[Colour, Colour]] = {
    Standing.RESIDUE_LEFT: (SIGNAL, PAPER),
    Standing.CANNOT_TELL: (PAPER, INK),
    Standing.RETAKE: (INK, PAPER),
    Standing.BRIGHT: (PAPER, INK),
}
_MOST_ROWS = 30
_MOST_REASONS = 6


@dataclass(frozen=True)
class Line:
    """A paragraph of a panel: `size` in units; a `lead` in bold goes before it."""

    text: str
    size: float = 13.0
    lead: str = ""
    most: int = 99


def paragraphs(lines: Iterable[Line], width: int, unit: float, paper: Colour = PAPER, ink: Colour = INK) -> Raster:
    """Set paragraphs one below the other in a panel `width` pixels wide."""
    rows: list[tuple[str, Type]] = []
    for line in lines:
        plain, bold = Type(line.size * unit), Type(line.size * unit, bold=True)
        room = width - 2 * MARGIN * unit
        rows += [(row, bold) for row in wrapped(line.lead, bold, room, 2)] if line.lead else []
        rows += [(row, plain) for row in wrapped(line.text, plain, room, line.most)] if line.text else []
        rows.append(("", Type(3.5 * unit)))
    pad = 5 * unit
    sheet = Image.new("RGB", (width, round(2 * pad + sum(kind.line for _, kind in rows))), paper)
    draw, y = ImageDraw.Draw(sheet), pad
    for text, kind in rows:
        write(draw, (MARGIN * unit, y), text, kind, ink)
        y += kind.line
    return np.array(sheet)


def job_strip(job_line: str | None, when: str | None, width: int, unit: float) -> Raster | None:
    """Return the strip with job line and date, None without both."""
    parts = [Line(text, 12.5, most=2) for text in (job_line, when) if text]
    return paragraphs(parts, width, unit, SHADE) if parts else None


def standing_band(record: Record, width: int, unit: float) -> Raster:
    """Return the band with the standing in large words, its sign, and the score with interval."""
    paper, ink = _BAND[record.standing]
    room = width - (3 * MARGIN + 52) * unit
    word = str(record.standing)
    large = Type(42 * unit, bold=True).shrunk(word, room)
    score = answer_words(record)
    small = Type(22 * unit, bold=True).shrunk(score, room)
    height = round(large.line + small.line + 18 * unit)
    sheet = Image.new("RGB", (width, height), paper)
    draw, x = ImageDraw.Draw(sheet), (2 * MARGIN + 52) * unit
    write(draw, (x, 4 * unit), word, large, ink)
    write(draw, (x, 6 * unit + large.line), score, small, ink)
    band = np.array(sheet)
    if record.standing is Standing.CANNOT_TELL:
        edge = band[-round(7 * unit) :]
        hatch(edge, np.ones(edge.shape[:2], bool), State.CANNOT_TELL, unit)
    band[: round(1.5 * unit)] = band[-round(1.5 * unit) :] = INK
    SIGNS[record.standing](band, (MARGIN + 26) * unit, height / 2, 26 * unit, ink)
    return band


def set_line(record: Record, width: int, unit: float) -> Raster | None:
    """Return the line that says on how many photos the answer rests; None for a single photo."""
    words = rests_words(record)
    return paragraphs([Line(words, 13.0)], width, unit, SHADE) if words else None


def next_step(record: Record, width: int, unit: float) -> Raster:
    """Return the panel with the next step; for a photo to retake, what its blocking flags ask for."""
    blocking = [flag for flag in record.flags if flag.blocking]
    if blocking:
        return paragraphs([_flag_line(flag, 15.0) for flag in blocking], width, unit)
    return paragraphs([Line(record.next_step, 16.0)], width, unit)


def person_answer(record: Record, width: int, unit: float) -> Raster | None:
    """Return the answer with the outlines that a person changed, below the tool's own; None without such."""
    person = record.by_person
    if person is None:
        return None
    lead = f"With outlines changed by a person: {person.standing}, {answer_words(person)}"
    return paragraphs([Line(person.standing.next_step, 13.0, lead)], width, unit, SHADE)


def scale_strip(record: Record, view: View, width: int) -> Raster:
    """Return the strip right below the photo: a bar of a round length at the photo's scale, or that there is none."""
    if record.photo.mm_per_px is None:
        return paragraphs([Line("no scale: sizes in mm are not known", 13.0)], width, view.unit, SHADE)
    length_mm, pixels = scale_bar(record.photo.mm_per_px / view.scale[0], 0.4 * width)
    strip = np.full((round(30 * view.unit), width, 3), SHADE, np.uint8)
    left, middle = round(MARGIN * view.unit), strip.shape[0] // 2
    thick = round(3 * view.unit)
    strip[middle - 2 * thick : middle + 2 * thick, left : left + pixels] = INK
    strip[middle - thick : middle + thick, left + thick // 2 : left + pixels - thick // 2] = PAPER
    strip[middle - thick : middle + thick, left : left + pixels // 2] = INK
    return _scale_text(strip, left + pixels + 8 * view.unit, f"{length_mm:g} mm", record, view.unit)


def scale_bar(mm_per_px: float, most_px: float) -> tuple[float, int]:
    """Return the longest round length in mm (1, 2 or 5 times a power of ten) up to `most_px` pixels, and its pixels."""
    most = mm_per_px * most_px
    power = 10.0 ** math.floor(math.log10(most))
    length = max(step * power for step in (1, 2, 5) if step * power <= most * (1 + 1e-9))
    return length, round(length / mm_per_px)


def legend(used: set[State], dashed: bool, width: int, unit: float) -> Raster | None:
    """Return the legend of the hatches `used` and, where `dashed`, of a person's outlines; None when there is none."""
    entries: list[tuple[State | None, str]] = [(state, state.label) for state in State if state in used]
    if dashed:
        entries.append((None, "outline drawn by a person"))
    if not entries:
        return None
    kind, places = Type(13 * unit), []
    x, row, box = MARGIN * unit, 0, (44 * unit, 22 * unit)
    for _, label in entries:
        reach = box[0] + 6 * unit + kind.width(label) + 14 * unit
        if x > MARGIN * unit and x + reach > width:
            x, row = MARGIN * unit, row + 1
        places.append((x, (6 + 28 * row) * unit))
        x += reach
    sheet = Image.new("RGB", (width, round((12 + 28 * (row + 1)) * unit)), PAPER)
    for (x, y), (_, label) in zip(places, entries, strict=True):
        write(ImageDraw.Draw(sheet), (x + box[0] + 6 * unit, y + box[1] / 2), label, kind, INK, anchor="lm")
    panel = np.array(sheet)
    for (x, y), (state, _) in zip(places, entries, strict=True):
        _swatch(panel, (round(x), round(y), round(box[0]), round(box[1])), state, unit)
    return panel


def spot_rows(record: Record, width: int, unit: float) -> Raster | None:
    """Return a row for each spot, and what a person changed; None when there is nothing to say."""
    if len(record.spots) == 1 and record.by_person is None and judged(record.spots):
        return paragraphs([Line(_why(record.spots[0]), 14.0)], width, unit)
    brief = len(record.spots) > _MOST_REASONS
    lines = [_spot_line(spot, brief=brief) for spot in judged(record.spots)[:_MOST_ROWS]]
    if len(record.spots) > _MOST_ROWS:
        lines.append(Line(f"and {len(record.spots) - _MOST_ROWS} more spots: see the table"))
    person = record.by_person
    if person is not None:
        lines += [Line(why, 12.0, f"spot {number} refused by a person", 2) for number, why in person.refused.items()]
        lines += [_spot_line(spot) for spot in judged(person_spots(record))]
    return paragraphs(lines, width, unit) if lines else None


def joint_rows(record: Record, width: int, unit: float) -> Raster | None:
    """Return what was seen at the joint line; None when none was drawn."""
    if record.joint is None:
        return None
    return paragraphs([Line(words, 12.0) for words in joint_words(record.joint)], width, unit, SHADE)


def flag_rows(record: Record, width: int, unit: float) -> Raster | None:
    """Return the flags that do not block, with their action; None without one."""
    rest = [flag for flag in record.flags if not flag.blocking]
    return paragraphs([_flag_line(flag, 12.0) for flag in rest], width, unit, SHADE) if rest else None


def foot(record: Record, width: int, unit: float) -> Raster:
    """Return the cautions and where the answer comes from."""
    origin = record.origin
    program, photo = f"{origin.program} {origin.version}", origin.photo_sha256[:12]
    made_by = " · ".join(filter(None, (record.photo.name, program, origin.model, fit_words(origin), f"photo {photo}")))
    return paragraphs([Line(CAUTION_LINE, 11.0), Line(HOT_WORK_LINE, 11.0), Line(made_by, 9.5, most=2)], width, unit)


def _flag_line(flag: FlagRecord, size: float) -> Line:
    return Line(flag_action(flag), size, flag_name(flag))


def _spot_line(spot: SpotRecord, *, brief: bool = False) -> Line:
    """Say a spot's outcome and, unless `brief`, why."""
    drawn = " (drawn by a person)" if spot.outlined_by == "person" else ""
    outcome = f"{spot.number}{drawn}: {spot.standing}, {score_words(spot.bright_share, spot.interval)}"
    if brief:
        return Line(outcome if spot.largest_patch is None else f"{outcome}, {patch_words(spot.largest_patch)}", 12.0)
    return Line(_why(spot), 12.0, outcome, 3)


def _why(spot: SpotRecord) -> str:
    longest = "" if spot.largest_patch is None else f"; longest patch: {patch_words(spot.largest_patch)}"
    return spot.reason + longest


def _scale_text(strip: Raster, x: float, length: str, record: Record, unit: float) -> Raster:
    sheet = Image.fromarray(strip)
    draw, y = ImageDraw.Draw(sheet), strip.shape[0] / 2
    bold = Type(14 * unit, bold=True)
    write(draw, (x, y), length, bold, INK, anchor="lm")
    scale = record.photo.scale
    if scale is not None:
        source = "scale from card" if scale.source == "card" else "scale as stated"
        error = f", ±{100 * scale.relative_error:.1f}%" if scale.relative_error else ""
        room = strip.shape[1] - x - bold.width(length) - (MARGIN + 8) * unit
        small = Type(11 * unit).shrunk(source + error, room)
        write(draw, (strip.shape[1] - MARGIN * unit, y), source + error, small, INK, anchor="rm")
    return np.array(sheet)


def _swatch(panel: Raster, box: tuple[int, int, int, int], state: State | None, unit: float) -> None:
    x, y, w, h = box
    part = panel[y : y + h, x : x + w]
    thick = max(1, round(unit))
    if state is None:
        for start in range(0, w, round(14 * unit)):
            part[h // 2 - thick : h // 2 + thick, start : start + round(8 * unit)] = INK
        return
    part[:] = (178, 182, 186)
    hatch(part, np.ones((h, w), bool), state, unit)
    cv2.rectangle(panel, (x, y), (x + w - 1, y + h - 1), INK, thick)
