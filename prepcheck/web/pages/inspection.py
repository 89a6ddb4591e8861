"""``GET /inspections/{id}``: the answer for a photo, and what a person says beside it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import tzinfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from prepcheck import tasks
from prepcheck.errors import PrepcheckError
from prepcheck.record import MOST_PATCHES, PatchRecord, Record, SpotRecord
from prepcheck.report.words import (
    MARGIN_MARK,
    answer_words,
    fit_words,
    flag_action,
    flag_name,
    joint_words,
    judged,
    patch_words,
    patches_of,
    person_spots,
    place_in,
    rests_words,
    score_words,
    set_words,
    since_words,
)
from prepcheck.store import LoggedInspection
from prepcheck.terms import FLAGS, RESIDUE, Standing, State
from prepcheck.web.pages.camera import Camera, camera_for
from prepcheck.web.pages.desk import AtDesk, Desk, Found
from prepcheck.web.pages.forms import SentForm, needed
from prepcheck.web.pages.render import show
from prepcheck.web.pages.said import spot_name, when

router = APIRouter()
_TEMPLATE = "inspection.html"


@dataclass(frozen=True)
class PatchRow:
    """A place to look at: full-size pixels, what it is and how long."""

    x: float
    y: float
    words: str
    sure: bool


@dataclass(frozen=True)
class FlagRow:
    """A flag with its card."""

    name: str
    blocking: bool
    what: str
    why: str
    action: str
    measured: str


@dataclass(frozen=True)
class Said:
    """A person's own standing beside the tool's."""

    person: str
    standing: Standing
    reason: str
    when: str


@dataclass(frozen=True)
class InspectionPage:
    """The answer for one logged photo or set; `opened` names the form that was sent and could not be used."""

    number: int
    job: str
    spot_name: str
    spot_url: str
    standing: Standing
    score: str
    next_step: str
    person_answer: str
    width: int
    height: int
    alt: str
    caption: str
    marks: bool
    key: tuple[State, ...]
    camera: Camera | None
    patches: tuple[PatchRow, ...]
    patches_more: str
    why: tuple[str, ...]
    flags: tuple[FlagRow, ...]
    behind: tuple[str, ...]
    disagreements: tuple[Said, ...]
    corrected_by: int | None
    outlines: tuple[int, ...]
    facts: tuple[tuple[str, str], ...]
    margin: str
    mm_per_px: float | None
    margin_mark: str = MARGIN_MARK
    error: PrepcheckError | None = None
    opened: str = ""
    words: tuple[Standing, ...] = tuple(Standing)

    @property
    def doubtful(self) -> int:
        """Number of listed places of which it is not sure."""
        return sum(not one.sure for one in self.patches)

    @property
    def title(self) -> str:
        """Standing and where."""
        return f"{self.standing}: {self.spot_name}, {self.job}"


@router.get("/inspections/{number}")
def one_inspection(request: Request, desk: AtDesk, number: int, marks: str = "on") -> HTMLResponse:
    """Show the answer for a photo."""
    return show(request, _TEMPLATE, inspection_page(desk, number, marks != "off"), desk.person)


@router.post("/inspections/{number}/disagree")
def disagree(request: Request, desk: AtDesk, number: int, said: SentForm) -> Response:
    """Log a person's own standing beside the answer."""
    try:
        standing, reason = needed(said, "standing", "your standing"), needed(said, "reason", "the reason")
        tasks.disagree(desk.store, number, standing=standing, reason=reason, person=desk.person, at=desk.now)
    except PrepcheckError as error:
        page = inspection_page(desk, number, True, error, "disagree")
        return show(request, _TEMPLATE, page, desk.person, error.http_status)
    return RedirectResponse(f"/inspections/{number}", 303)


def inspection_page(
    desk: Desk, number: int, marks: bool, error: PrepcheckError | None = None, opened: str = ""
) -> InspectionPage:
    """Return the page of an inspection."""
    found = desk.find(number)
    record, one, spot = found.record, found.logged, found.spot
    return InspectionPage(
        number=number,
        job=found.job.number,
        spot_name=spot_name(spot),
        spot_url=f"/jobs/{found.job.number}/spots/{spot.number}",
        standing=record.standing,
        score=answer_words(record),
        next_step=_next_step(record),
        person_answer=_by_person(record),
        width=record.photo.width,
        height=record.photo.height,
        alt=f"Photo of {spot_name(spot)}, pass {found.pass_no}: {record.standing}, {answer_words(record)}",
        caption=f"{spot_name(spot)}, pass {found.pass_no}, {found.job.number}. {rests_words(record)}".strip(),
        marks=marks,
        key=tuple(_hatched(record)),
        camera=camera_for(found.job, spot),
        patches=_patches(record),
        patches_more=_places_more(record),
        why=tuple(_why(record)),
        flags=tuple(_flags(record)),
        behind=tuple(_behind(record, one)),
        disagreements=tuple(
            Said(each.person, each.standing, each.reason, when(each.at, desk.now.tzinfo)) for each in one.disagreements
        ),
        corrected_by=one.corrected_by[-1] if one.corrected_by else None,
        outlines=tuple(each.number for each in record.spots),
        facts=tuple(_facts(record, found, desk.now.tzinfo)),
        margin=f"{desk.settings.score.joint_margin_mm:g}",
        mm_per_px=record.photo.mm_per_px,
        error=error,
        opened=opened,
    )


def _next_step(record: Record) -> str:
    """Say what to do next; for a photo to retake, what its first blocking flag asks for."""
    blocking = [flag for flag in record.flags if flag.blocking]
    return flag_action(blocking[0]) if blocking else record.next_step


def _by_person(record: Record) -> str:
    answer = record.by_person
    return "" if answer is None else f"{answer.standing}, {answer_words(answer)}. {answer.standing.next_step}"


def _all_spots(record: Record) -> list[SpotRecord]:
    return judged([*record.spots, *person_spots(record)])


def _hatched(record: Record) -> Iterator[State]:
    """Yield the states that the marks hatch in the spots."""
    shares = [spot.shares for spot in _all_spots(record)]
    for state in (*RESIDUE, State.CANNOT_TELL):
        if any(each.get(state.key, 0) > 0 for each in shares):
            yield state


def _patches(record: Record) -> tuple[PatchRow, ...]:
    """Return the longest places of all spots, longest first."""
    found = [(spot, patch) for spot in _all_spots(record) for patch in patches_of(spot)]
    ordered = sorted(found, key=lambda pair: (pair[1].length_mm or 0.0, pair[1].length_px), reverse=True)
    several = len(_all_spots(record)) > 1
    return tuple(_patch_row(spot, patch, several) for spot, patch in ordered[:MOST_PATCHES])


def _patch_row(spot: SpotRecord, patch: PatchRecord, several: bool) -> PatchRow:
    place = place_in(patch, spot) + (f" of outline {spot.number}" if several else "")
    return PatchRow(*patch.at, f"{patch_words(patch)}, {place}", patch.sure)


def _places_more(record: Record) -> str:
    """Say how many places are not listed; they are in the marks."""
    rest = sum(spot.patches for spot in _all_spots(record)) - len(_patches(record))
    return f"and {rest} shorter {'place' if rest == 1 else 'places'}, marked in the photo" if rest else ""


def _why(record: Record) -> Iterator[str]:
    """Say of each outline why it stands as it does."""
    several = len(_all_spots(record)) > 1
    for spot in _all_spots(record):
        drawn = ", drawn by a person" if spot.outlined_by == "person" else ""
        score = f" {spot.standing}, {score_words(spot.bright_share, spot.interval)}:" if several or drawn else ""
        yield f"Outline {spot.number}{drawn}:{score} {spot.reason}." if several or drawn else _sentence(spot.reason)
    if record.by_person:
        for number, reason in record.by_person.refused.items():
            yield f"Outline {number} refused by a person: {reason}"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _flags(record: Record) -> Iterator[FlagRow]:
    for flag in record.flags:
        card = FLAGS.get(flag.code)
        what, why = ("", "") if card is None else (card.what, card.why)
        yield FlagRow(flag_name(flag), flag.blocking, what, why, flag_action(flag), flag.measured)


def _behind(record: Record, one: LoggedInspection) -> Iterator[str]:
    """Say what lies behind the answer: photos of a set, the joint, the pass before."""
    if record.moved_light is not None:
        yield set_words(record.moved_light)
        yield record.moved_light.advice
    joint = record.joint or (record.by_person.joint if record.by_person else None)
    yield from () if joint is None else joint_words(joint)
    if one.since is not None:
        yield _sentence(since_words(one.since))


def _facts(record: Record, found: Found, zone: tzinfo | None) -> Iterator[tuple[str, str]]:
    one = found.logged
    yield "Logged", f"inspection {one.number}, {when(one.at, zone)} by {one.person}"
    if one.taken:
        yield "Taken", f"{one.taken[:16].replace('T', ' ')} by the camera's clock"
    yield "Photo, as received", f"{record.photo.name}, {record.photo.width} x {record.photo.height}"
    if one.note:
        yield "Note", one.note
    yield "Photo's SHA-256", record.photo.sha256
    program = f"{record.origin.program} {record.origin.version}"
    yield "Answered by", ", ".join(filter(None, (program, record.origin.model, fit_words(record.origin))))
