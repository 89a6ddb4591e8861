"""An invented whole job: a farm co-op's diesel bowser, mended at two spots; every name, reading and place is made up."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from functools import cache
from typing import Any

import cv2
import numpy as np

from prepcheck.record import (
    FlagRecord,
    OriginRecord,
    PatchRecord,
    PersistingRecord,
    PhotoRecord,
    Record,
    ScaleRecord,
    SinceLastPass,
    SpotRecord,
)
from prepcheck.report.job.gather import checks, looks, standing
from prepcheck.report.job.told import Told
from prepcheck.samples import Sample, samples
from prepcheck.settings import Settings
from prepcheck.store.rows import (
    Disagreement,
    Job,
    LoggedEvent,
    LoggedInspection,
    PassStory,
    SpotStory,
    Story,
    TreeHead,
)
from prepcheck.terms import CAUTIONS, FLAGS, Standing
from prepcheck.trade import entries as e
from prepcheck.trade.units import System
from prepcheck.trade.work import load_work

ZONE = timezone(timedelta(hours=1))
START = datetime(2026, 11, 24, 7, 40, tzinfo=ZONE)
MODEL, SETTINGS = "a1" * 32, "b2" * 32
HEAD = TreeHead(41, "5d" * 32)


def at(minutes: float) -> str:
    """Say a time of the job, `minutes` after its start."""
    return time(minutes).isoformat(timespec="seconds")


def time(minutes: float) -> datetime:
    """Return a time of the job."""
    return START + timedelta(minutes=minutes)


JOB = Job(
    number="J-0007",
    title="Diesel bowser, leak at the lower seam (invented demo)",
    part="farm co-op's diesel bowser, lower shell, road side",
    alloy="5083 by the plate on the tank, not checked",
    wall_mm=5.0,
    previous_contents="diesel",
    customer_reference="DEMO-1",
    opened_at=at(0),
    opened_by="Ola",
)


@cache
def sample(name: str) -> Sample:
    """Return a shipped sample photo."""
    return next(one for one in samples() if one.name == name)


@cache
def outline(name: str) -> tuple[tuple[tuple[float, float], ...], tuple[int, int]]:
    """Return the outline of the ground area of a sample, and the photo's size."""
    ground = sample(name).truth.ground()
    found, _ = cv2.findContours(ground, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = max(found, key=cv2.contourArea)[::6, 0].astype(float)
    return tuple((float(x), float(y)) for x, y in ring), (ground.shape[1], ground.shape[0])


@cache
def photo(sha256: str) -> bytes:
    """Return the bytes of a sample photo by its hash."""
    return next(one for one in samples() if one.sha256 == sha256).path.read_bytes()


def spot_record(name: str, standing: Standing, share: float, interval: tuple[float, float]) -> SpotRecord:
    """Make the outline of a sample's spot as it could have been answered."""
    ring, _ = outline(name)
    patch = PatchRecord(
        state="oxide", at=tuple(np.mean(ring, axis=0)), area_px=600, area_mm2=62.0, length_px=90.0, length_mm=11.2,
        probability=0.95, sure=standing is Standing.RESIDUE_LEFT,
    )  # fmt: skip
    return SpotRecord(
        number=1,
        outline=list(ring),
        area_px=120_000,
        area_mm2=3480.0,
        mm_per_px=0.15,
        bright_share=share,
        interval=interval,
        shares={
            "bright": share,
            "oxide": 0.7 * (1 - share),
            "pit": 0.1 * (1 - share),
            "cannot_tell": 0.2 * (1 - share),
        },
        readable_share=0.98,
        worst_unit_area=max(share - 0.05, 0.0),
        worst_unit_interval=interval,
        worst_unit_outline=[],
        largest_patch_mm=None if standing is Standing.BRIGHT else 11.2,
        largest_patch=None if standing is Standing.BRIGHT else patch,
        patches=0 if standing is Standing.BRIGHT else 3,
        standing=standing,
        reason=_reason(standing),
    )


def _reason(standing: Standing) -> str:
    if standing is Standing.BRIGHT:
        return "at most 3% residue, the limit is 5%"
    return "a residue patch of 11.2 mm is longer than 3 mm"


def record(
    name: str, standing: Standing, share: float, interval: tuple[float, float], flags: tuple[str, ...]
) -> Record:
    """Make the answer for a sample photo."""
    _, size = outline(name)
    received = PhotoRecord(
        name=f"{name}.jpg", sha256=sample(name).sha256, width=size[0], height=size[1], mm_per_px=0.15,
        scale=ScaleRecord(source="card", relative_error=0.004), format="JPEG", bytes=400_000,
    )  # fmt: skip
    origin = OriginRecord(
        version="0.1.0", model="ground-3", model_sha256=MODEL, settings_sha256=SETTINGS, photo_sha256=received.sha256
    )
    return Record(
        photo=received,
        standing=standing,
        flags=[FlagRecord(code=code, blocking=FLAGS[code].blocking) for code in flags],
        score=100 * share,
        bright_share=share,
        interval=interval,
        spots=[spot_record(name, standing, share, interval)],
        next_step=standing.next_step,
        cautions=list(CAUTIONS),
        origin=origin,
    )


def since(pass_no: int, inspection: int, persisting: int = 0) -> SinceLastPass:
    """Make what changed since an earlier pass."""
    shares = {
        "newly_bright": 0.31, "still_residue": 0.06, "newly_exposed": 0.01, "still_bright": 0.61, "not_comparable": 0.01,
    }  # fmt: skip
    places = [
        PersistingRecord(
            at=(500, 400),
            area_px=90,
            area_mm2=7.2,
            since=1,
            passes=2,
            probability=0.95,
            outline=[(490, 390), (510, 410)],
        )
    ]
    return SinceLastPass(
        inspection=inspection, pass_no=pass_no, error_px=0.7, shares=shares, persisting=places * persisting
    )


def logged(
    number: int, name: str, told: Record, minutes: float, person: str = "Mika", **changes: Any
) -> LoggedInspection:
    """Make a logged inspection of a sample photo."""
    (spot,) = told.spots
    fields: dict[str, Any] = {
        "number": number,
        "at": at(minutes),
        "person": person,
        "photo_name": told.photo.name,
        "photo_sha256": told.photo.sha256,
        "taken": at(minutes - 2),
        "outline": 1,
        "not_assigned": (),
        "standing": spot.standing,
        "tool_standing": told.standing,
        "bright_share": spot.bright_share,
        "interval": spot.interval,
        "reason": spot.reason,
        "flags": tuple(told.flags),
        "refused": {},
        "drawn": (),
        "note": "",
        "corrects": None,
        "corrected_by": (),
        "disagreements": (),
        "origin": "prepcheck 0.1.0, ground-3",
        "photos": (told.photo.name,),
    }
    return LoggedInspection(**{**fields, **changes})


ANSWERS = {
    1: ("seam-pass-1", Standing.RESIDUE_LEFT, 0.612, (0.55, 0.68), ()),
    2: ("seam-pass-2", Standing.RESIDUE_LEFT, 0.874, (0.82, 0.91), ("residue_may_go_deep",)),
    3: ("seam-pass-3", Standing.BRIGHT, 0.991, (0.962, 0.998), ()),
    4: ("residue", Standing.RESIDUE_LEFT, 0.723, (0.66, 0.79), ("no_scale",)),
    5: ("clean-torch", Standing.CANNOT_TELL, 0.958, (0.90, 0.985), ()),
}


@cache
def records() -> dict[int, Record]:
    """Return all answers by the number of their inspection."""
    return {number: record(*answer) for number, answer in ANSWERS.items()}


@cache
def spots() -> tuple[SpotStory, SpotStory]:
    """Return the two spots with their passes; on the last a person disagrees."""
    answers = records()
    other = Disagreement(5, "Rune", Standing.BRIGHT, "Looked at under a moved torch, no grey left", at(236))
    one = (
        PassStory(1, (logged(1, "seam-pass-1", answers[1], 62),)),
        PassStory(2, (logged(2, "seam-pass-2", answers[2], 95, since=since(1, 1, 1), note="white dust at the toe"),)),
        PassStory(3, (logged(3, "seam-pass-3", answers[3], 128, since=since(2, 2)),)),
    )
    two = (
        PassStory(1, (logged(4, "residue", answers[4], 180),)),
        PassStory(2, (logged(5, "clean-torch", answers[5], 231, disagreements=(other,), since=since(1, 4)),)),
    )
    return SpotStory(1, "lower seam", one), SpotStory(2, "filler neck", two)


_METER = {
    "meter": "four-gas meter no. 3",
    "calibration_gas": "methane 50 % LEL",
    "calibrated_on": date(2026, 11, 23),
    "calibration_due": date(2027, 5, 23),
}


def _reading(gas: e.Gas, value: float, place: str, height_m: float, minutes: float, sensor: e.Sensor) -> e.GasReading:
    of = "diesel vapour" if gas is e.Gas.FLAMMABLE else ""
    return e.GasReading(
        gas=gas, value=value, place=place, height_m=height_m, of=of, sensor=sensor, taken_at=time(minutes), **_METER
    )


CONDITION = e.VesselCondition(
    condition=e.State.VENTILATED,
    previous_contents="diesel",
    cleaning_done="drained, steamed for 2 h, rinsed, sludge taken out by hand from outside, fan at the manhole since 08:05",
    room_ventilated=True,
    at=time(35),
)
CERTIFICATE = e.Certificate(
    certified_by="Sunna (competent person named by the co-op)",
    rule="the co-op's hot work permit, general rules for a farm tank",
    number="HW-112",
    place="workshop yard",
    at=time(241),
)
WALLS = (
    e.WallReading(
        spot=1, place="lower seam, middle of the ground-out", method="gauge", wall_mm=3.9, nominal_mm=5.0, depth_mm=1.1,
        area_mm2=3480.0, uncertainty_mm=0.1, instrument="ultrasonic gauge no. 2", taken_at=time(135),
    ),
    e.WallReading(spot=2, place="filler neck", method="depth", wall_mm=4.4, nominal_mm=5.0, depth_mm=0.6,
                  instrument="depth gauge", taken_at=time(240)),
)  # fmt: skip
WELD_PLAN = e.PlanMade(
    what="weld",
    inputs={"base alloy": "5083", "thickness": "3.9 mm", "service temperature": "under 65 °C"},
    lines=(
        ("current, rule of thumb", "156 A AC (40 A for each mm of wall; common practice, no source)"),
        ("filler", "5183 or 5356 (shop's choice within the handbook's table; seen in the source)"),
        ("argon", "8 to 12 L/min (common practice, no source)"),
        ("tungsten", "2.4 mm (from memory, check it)"),
    ),
    remarks=(("warn", "An alloy read off a plate is a claim: weld a test piece first."),),
)
CLEARING_PLAN = e.PlanMade(
    what="clearing",
    inputs={"condition": "ventilated", "volume": "2.4 m3"},
    lines=(
        ("oxygen", "19.5 to 22 % by volume (29 CFR 1915.12; seen in the source)"),
        ("flammable vapour", "below 10 % LEL (29 CFR 1915.14; seen in the source)"),
        ("order of readings", "oxygen, then % LEL, then toxic (29 CFR 1915.12; seen in the source)"),
    ),
    remarks=(("warn", "Smell proves nothing; diesel is no exception."),),
)
LEAK_PLAN = e.PlanMade(
    what="leak",
    inputs={"head": "1.2 m", "medium": "air"},
    lines=(("test pressure", "20.7 kPa gauge (33 CFR 183.542; seen in the source)"),),
)
BUBBLES = e.LeakEntry(
    method="bubbles",
    medium="air, soap water brushed on",
    volume_m3=2.4,
    start_pa=20_700.0,
    end_pa=20_600.0,
    start_k=289.15,
    end_k=289.35,
    seconds=900.0,
    looked_at="whole lower seam, filler neck all around, both sides where reached",
    gauge="0 to 60 kPa dial no. 1",
    started_at=time(420),
)
WORK = load_work("closed-vessel")


def _entries() -> list[tuple[float, str, str, e.AnyEntry]]:
    low, high = "bottom, behind the baffle", "top, under the manhole"
    weld_against = ("spot 2: cannot tell", "The readings at the bottom are older than the shop's limit.")
    return [
        (2, "Ola", "foreman", e.WorkChosen(work=WORK.name, plan=WORK.text)),
        (8, "Ola", "foreman", e.StepDone(step="intake", note="part looked over with the customer; cold repair ruled out")),
        (36, "Mika", "welder", CONDITION),
        (37, "Mika", "welder", CLEARING_PLAN),
        *_round_of_readings(low, 0.1, 38),
        *_round_of_readings(high, 1.1, 41),
        (46, "Mika", "welder", e.StepDone(step="open up")),
        (50, "Ola", "foreman", e.StepReleased(step="open up")),
        (60, "Mika", "welder", e.StepDone(step="strip")),
        (136, "Mika", "welder", WALLS[0]),
        (232, "Mika", "welder", e.StepDone(step="grind")),
        (236, "Mika", "welder", WALLS[1]),
        (240, "Mika", "welder", e.StepDone(step="clean")),
        (242, "Ola", "foreman", CERTIFICATE),
        *_round_of_readings(low, 0.1, 243),
        *_round_of_readings(high, 1.1, 246),
        (250, "Mika", "welder", e.StepDone(step="clear")),
        (
            252, "Ola", "foreman",
            e.StepReleased(
                step="clear", override=True, reason="Rune looked at spot 2 under a moved torch; customer told",
                against=weld_against,
            ),
        ),
        (255, "Mika", "welder", WELD_PLAN),
        (330, "Mika", "welder", e.StepDone(step="weld", started_at=time(262))),
        (350, "Rune", "inspector", e.StepReleased(step="look over")),
        (415, "Rune", "inspector", LEAK_PLAN),
        (436, "Rune", "inspector", BUBBLES),
        (440, "Rune", "inspector", e.StepDone(step="leak test")),
        (445, "Ola", "foreman", e.Note(text="Customer asked for photos of the inside; none taken, nobody enters.")),
    ]  # fmt: skip


def _round_of_readings(place: str, height_m: float, minutes: float) -> list[tuple[float, str, str, e.AnyEntry]]:
    oxygen = _reading(e.Gas.OXYGEN, 20.8, place, height_m, minutes, e.Sensor.ELECTROCHEMICAL)
    vapour = _reading(e.Gas.FLAMMABLE, 3.0, place, height_m, minutes + 1, e.Sensor.CATALYTIC)
    return [(minutes + 1, "Mika", "welder", oxygen), (minutes + 2, "Mika", "welder", vapour)]


def events() -> tuple[LoggedEvent, ...]:
    """Return everything that people entered, in order."""
    return tuple(
        LoggedEvent(number, at(minutes), person, role, entry)
        for number, (minutes, person, role, entry) in enumerate(_entries(), start=1)
    )


def told(**changes: Any) -> Told:
    """Return everything that the report of the invented job is made from; `changes` replace fields."""
    fields: dict[str, Any] = {
        "story": Story(JOB, spots(), events()),
        "head": HEAD,
        "now": time(470),
        "system": System.METRIC,
        "photo": photo,
        "records": records(),
        "state": standing(events(), time(470), Settings()),
        "checks": checks(events(), time(470), Settings()),
        "looks": looks(events(), time(470), Settings(), System.METRIC).lines,
    }
    return Told(**{**fields, **changes})


def empty(**changes: Any) -> Told:
    """Return what a job just opened tells."""
    job = Job("J-0001", "Boat tank", "", "", None, "", "", datetime(2026, 1, 5, 9, tzinfo=UTC).isoformat(), "Ola")
    bare = {"story": Story(job, ()), "head": None, "records": {}, "state": None, "checks": ()}
    return told(**{**bare, **changes})


def many_spots(count: int = 12) -> Told:
    """Return a job with `count` spots of three passes each."""
    answers: dict[int, Record] = {}
    made = []
    for number in range(1, count + 1):
        passes = []
        for pass_no in (1, 2, 3):
            inspection = 3 * (number - 1) + pass_no
            answers[inspection] = records()[pass_no]
            name = ANSWERS[pass_no][0]
            passes.append(PassStory(pass_no, (logged(inspection, name, answers[inspection], 10.0 * inspection),)))
        made.append(SpotStory(number, f"place {number}" if number % 2 else "", tuple(passes)))
    return told(story=Story(JOB, tuple(made), events()), records=answers)


def sha256(data: bytes) -> str:
    """Return the hash of bytes as it is written."""
    return hashlib.sha256(data).hexdigest()


HOSTILE = "<script>alert('x')</script>&\"';--%{}"
LONG = "Wolfeschlegelsteinhausenbergerdorff" * 2


def hostile() -> Told:
    """Return the job with names that try to break out, that never end, or that no font has."""
    job = replace(
        JOB, title=f"{HOSTILE} {LONG}", part=LONG, alloy="=HYPERLINK(\"x\")", previous_contents="{nb} **bold** __x__ \u202e",
        customer_reference="漢字 🛢 ŝpuro", opened_by=HOSTILE,
    )  # fmt: skip
    other = Disagreement(5, f"{LONG} 2", Standing.BRIGHT, HOSTILE * 12, at(236))
    one, two = spots()
    first, last = two.passes
    (inspection,) = last.inspections
    changed = replace(inspection, person=LONG, disagreements=(other,), photo_name=f"{LONG}.jpg", note="ä" * 1900)
    spot = replace(two, name=LONG, passes=(first, replace(last, inspections=(changed,))))
    said = (
        e.Note(text=f"{HOSTILE}\n\nline two\x00\x1b[31m " + "word " * 300),
        e.StepReleased(step="clear", override=True, reason="W" * 2000, against=(LONG, HOSTILE)),
        e.LeakEntry(method="bubbles", leaks=tuple(f"{HOSTILE} {k}" for k in range(60)), started_at=time(400)),
        None,
    )
    logged_events = events()
    more = tuple(
        LoggedEvent(len(logged_events) + k, at(500 + k), HOSTILE, LONG, entry) for k, entry in enumerate(said, start=1)
    )
    return told(story=Story(job, (replace(one, name=HOSTILE), spot), (*logged_events, *more)))
