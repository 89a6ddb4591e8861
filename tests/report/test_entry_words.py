"""Each kind of entry in one line."""

from __future__ import annotations

from typing import Any, get_args

import pytest

from prepcheck.report.entry_words import entry_words
from prepcheck.store import LoggedEvent
from prepcheck.trade import entries as e
from prepcheck.trade.units import System
from tests.tasks.shop import minute

AT = minute(5)
HASH = "ab" * 32
TOLD: list[tuple[Any, str]] = [
    (
        e.GasReading(
            gas=e.Gas.TOXIC, of="benzene", value=0.2, place="sump", height_m=1.2, meter="meter 4", taken_at=AT
        ),
        "toxic (benzene) 0.2 ppm at sump, 1.2 m up; 08:05; meter 4, other",
    ),
    (
        e.VesselCondition(condition=e.State.INERTED, previous_contents="petrol", purge_gas="argon", at=AT),
        "condition inerted, held petrol; purged with argon",
    ),
    (
        e.VesselCondition(condition=e.State.WATER_FILLED, previous_contents="diesel", water_gap_mm=25, at=AT),
        "condition water-filled, held diesel; water 25.0 mm below the weld",
    ),
    (e.Certificate(certified_by="A", rule="B", at=AT), "certified by A under B"),
    (
        e.WallReading(
            method="before_after", wall_mm=3.2, nominal_mm=5, spot=2, place="sump", instrument="gauge 1", taken_at=AT
        ),
        "wall 3.20 mm of 5.00 mm left at sump, spot 2; by before and after; gauge 1",
    ),
    (
        e.LeakEntry(method="decay", start_pa=20_000, seconds=600, leaks=("bung",), started_at=AT),
        "pressure watched for 10.0 min at 20.0 kPa, leaks seen: bung",
    ),
    (
        e.LeakEntry(method="decay", start_pa=20_000, end_pa=19_900, started_at=AT),
        "pressure watched at 20.0 kPa, no seam was looked at; 19.9 kPa at the end",
    ),
    (
        e.LeakEntry(method="bubbles", looked_at="lower seam", started_at=AT),
        "bubble test, no leak seen at lower seam",
    ),
    (e.PlanMade(what="weld", inputs={}, lines=(("current", "200 A"),)), "plan made: weld"),
    (e.WorkChosen(work="plain-part", plan=""), "plan of steps: plain-part"),
    (e.StepDone(step="weld"), "weld done"),
    (e.StepDone(step="weld", note="no time", against=("x",)), "weld done although held; no time"),
    (e.StepReleased(step="clear"), "clear released"),
    (e.StepReleased(step="clear", override=True, reason="x"), "clear released by override; x"),
    (e.StepReopened(step="clear", reason="rain"), "clear opened again; rain"),
    (e.Note(text="new disc"), "note: new disc"),
    (e.Sealed(bag="one.zip", manifest_sha256="0", size=1, root="0"), "sealed: one.zip"),
    (e.ShopFitLogged(outcome="taken", sha256=HASH, model="eye-4"), "shop's own fit of eye-4 taken into use"),
    (
        e.ShopFitLogged(outcome="back", model="eye-4", reasons=("new lamps",)),
        "shop's own fit of eye-4 taken back; new lamps",
    ),
    (e.Erased(what="photo", sha256="0", reason="asked"), "erased: photo; asked"),
    (
        e.PracticeStarted(photos=(e.PracticePhoto(name="a.jpg", sha256=HASH), e.PracticePhoto(name="b", sha256=HASH))),
        "practice began on a.jpg, b",
    ),
    (
        e.PracticeMarked(session=7, photo_sha256=HASH, mark_sha256=HASH),
        "marked a photo of practice session 7",
    ),
    (
        e.PracticeCompared(
            session=7,
            photo_sha256=HASH,
            mark_sha256=HASH,
            against="tool",
            source="x",
            source_sha256=HASH,
            settings_sha256=HASH,
            both=1,
            only_marked=2,
            only_other=3,
            neither=4,
            unsure=5,
            least_px=6,
            patches=4,
            patches_found=3,
            marked=6,
            marked_off=2,
        ),
        "mark of practice session 7 beside the tool; 3 of 4 patches found, 2 of 6 off",
    ),
]


TOLD_BY_KIND = {entry.kind: words for entry, words in TOLD}


@pytest.mark.parametrize(("entry", "words"), TOLD, ids=lambda one: getattr(one, "kind", ""))
def test_an_entry_is_told_in_one_line(entry, words):
    assert entry_words(LoggedEvent(1, AT.isoformat(), "Ola", "", entry)) == words


def test_an_entry_that_was_erased_says_so():
    assert entry_words(LoggedEvent(1, AT.isoformat(), "Ola", "", None)).startswith("erased for a lawful reason")


def test_in_brief_an_entry_says_what_it_is_and_no_more():
    brief = {kind: words.partition("; ")[0] for kind, words in TOLD_BY_KIND.items() if kind != "leak_entry"}
    told = {entry.kind: entry_words(LoggedEvent(1, AT.isoformat(), "Ola", "", entry), brief=True) for entry, _ in TOLD}
    assert {kind: told[kind] for kind in brief} == brief


def test_in_brief_a_long_note_is_cut():
    event = LoggedEvent(1, AT.isoformat(), "Ola", "", e.Note(text="x" * 200))
    assert entry_words(event, brief=True) == f"note: {'x' * 71}..."
    assert entry_words(event) == f"note: {'x' * 200}"


def test_a_pressure_only_watched_is_no_look_for_leaks():
    # 33 CFR 183.580 (seen): watching the gauge fall does not count as the leak check
    event = LoggedEvent(1, AT.isoformat(), "Ola", "", e.LeakEntry(method="decay", started_at=AT))
    assert entry_words(event, brief=True) == "pressure watched, no seam was looked at"


def test_every_kind_of_entry_has_its_words():
    kinds = get_args(get_args(e.AnyEntry)[0])
    assert {type(entry) for entry, _ in TOLD} == set(kinds)


US = [
    (
        e.WallReading(method="gauge", wall_mm=25.4, nominal_mm=50.8, taken_at=AT),
        "wall 1.00 in of 2.00 in left; by gauge",
    ),
    (
        e.GasReading(gas=e.Gas.OXYGEN, value=20.9, place="sump", height_m=0.3048, taken_at=AT),
        "oxygen 20.9 % by volume at sump, 1.0 ft up; 08:05; sensor other",
    ),
    (
        e.LeakEntry(method="water", start_pa=6894.757293168361, started_at=AT),
        "water held at 1.00 psi, no leak seen; not told where it was looked",
    ),
    (
        e.VesselCondition(condition=e.State.WATER_FILLED, previous_contents="diesel", water_gap_mm=25.4, at=AT),
        "condition water-filled, held diesel; water 1.00 in below the weld",
    ),
]
"""One inch is 25.4 mm, one foot 0.3048 m, one psi 6894.757 Pa by definition."""


@pytest.mark.parametrize(("entry", "words"), US, ids=lambda one: getattr(one, "kind", ""))
def test_an_entry_is_told_in_us_units(entry, words):
    assert entry_words(LoggedEvent(1, AT.isoformat(), "Ola", "", entry), System.US) == words
