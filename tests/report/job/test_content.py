"""The report tells everything of the job, computes nothing anew, and never gives a verdict."""

import re
from dataclasses import replace

import pytest

from prepcheck.errors import UnknownRecord
from prepcheck.report.job.build import report_of
from prepcheck.report.job.content import Chart, Facts, Signatures, Strip, Table
from prepcheck.store.rows import LoggedEvent, Story
from prepcheck.terms import CAUTIONS, HOT_WORK_LINE
from prepcheck.trade import entries as e
from prepcheck.trade.units import System
from tests.report.job import made
from tests.report.job.said import said, section, texts

VERDICT = re.compile(r"\b(safe|pass(ed|es)? the|failed|fail|verdict|approved|is fit to weld|may be welded)\b", re.I)
METRIC = re.compile(r"\d\s?(mm|cm|m|mm²|cm²|m³|kPa|°C|L/min)(?![\w/])")
US = re.compile(r"\d\s?(in|ft|in²|ft³|psi|°F|cfh|gal)(?![\w/])")
TYPED = ("0 to 60 kPa dial no. 1",)


@pytest.fixture(scope="module")
def whole():
    return report_of(made.told())


@pytest.fixture(scope="module")
def american():
    return report_of(made.told(system=System.US))


@pytest.fixture(scope="module")
def bare():
    return report_of(made.empty())


def test_the_cover_names_job_part_alloy_wall_contents_and_who_opened_it(whole):
    (facts,) = whole.cover
    told = dict(facts.rows)
    assert told["Job"] == "J-0007"
    assert told["Part"] == made.JOB.part
    assert told["Alloy"].startswith("5083")
    assert told["Wall"].startswith("5.00 mm")
    assert told["Held before"] == "diesel"
    assert told["Opened"] == "2026-11-24 07:40 by Ola"
    assert told["Report written"] == "2026-11-24 15:30; all times are in UTC+01:00"


def test_invented_data_is_marked_where_the_job_says_so(whole, bare):
    assert "no vessel, person, place or reading in this report is real" in whole.notice
    assert bare.notice == ""


def test_sections_are_numbered_in_order(whole):
    numbers = [one.number for one in whole.sections if one.level == 1]
    assert numbers == [str(k) for k in range(1, len(numbers) + 1)]


def test_at_a_glance_each_spot_stands_with_its_interval(whole):
    glance = said(whole, "At a glance")
    assert "Spot 1, lower seam | bright | score 99 (96 to 100)" in glance
    assert "cannot tell; Rune disagrees: bright | score 96 (90 to 99)" in glance
    assert "Held until a named person releases it: leak test." in glance


def test_people_stand_with_the_roles_they_proved(whole, bare):
    rows = {row[0]: row for row in section(whole, "People").blocks[0].rows}
    assert rows["Ola"][1] == "foreman"
    assert "releases: 2" in rows["Ola"][2]
    assert "none proved by PIN" in said(bare, "People")


def test_steps_tell_who_released_and_when(whole):
    steps = said(whole, "Steps and releases")
    assert "2026-11-24 08:30, Ola (foreman)" in steps
    assert "leak test | hold point | held" in steps


def test_an_override_stands_with_what_spoke_against_it_and_the_reason(whole):
    found = [block for block in section(whole, "Steps and releases").blocks if isinstance(block, Facts)]
    (override,) = found
    assert override.title == "Released: clear"
    told = dict(override.rows)
    assert "spot 2: cannot tell" in told["Spoke against it"]
    assert told["Reason given"] == "Rune looked at spot 2 under a moved torch; customer told"


def test_a_step_done_against_something_is_an_override_too():
    done = e.StepDone(step="weld", note="foreman agreed by phone", against=("readings aged",))
    event = LoggedEvent(90, made.at(460), "Mika", "welder", done)
    report = report_of(made.told(story=Story(made.JOB, (), (*made.events(), event))))
    assert "Done: weld" in [b.title for b in section(report, "Steps and releases").blocks if isinstance(b, Facts)]


def test_each_spot_has_its_passes_side_by_side_and_the_last_one_large(whole):
    strips = [block for block in section(whole, "Spot 1, lower seam").blocks if isinstance(block, Strip)]
    assert [len(strip.pictures) for strip in strips] == [3, 1]
    assert [picture.caption[:6] for picture in strips[0].pictures] == ["Pass 1", "Pass 2", "Pass 3"]
    assert strips[1].pictures[0].width == 1400 > strips[0].pictures[0].width
    assert all("residue left" in p.alt or "bright" in p.alt for p in strips[0].pictures)


def test_a_spot_of_one_pass_shows_its_photo_once():
    one, _ = made.spots()
    report = report_of(made.told(story=Story(made.JOB, (replace(one, passes=one.passes[:1]),), ())))
    strips = [block for block in section(report, "Spot 1, lower seam").blocks if isinstance(block, Strip)]
    assert [len(strip.pictures) for strip in strips] == [1]


def test_a_photo_that_is_gone_is_said_to_be_and_the_rest_is_told():
    def gone(sha256):
        raise UnknownRecord("no such photo in the archive", "Check the store", sha256)

    report = report_of(made.told(photo=gone))
    assert "Pass 2: the photo is not shown: no such photo in the archive." in said(report, "Spot 1, lower seam")
    assert "score 87 (82 to 91)" in said(report, "Spot 1, lower seam")


def test_bytes_that_are_no_photo_are_said_to_be():
    report = report_of(made.told(photo=lambda sha256: b"not a photo"))
    assert "the photo is not shown" in said(report, "Spot 2, filler neck")


def test_shares_are_those_of_the_record(whole):
    tables = [b for b in section(whole, "Spot 1, lower seam").blocks if isinstance(b, Table)]
    shares = next(table for table in tables if table.title.startswith("Shares"))
    first = dict(zip(shares.heads, shares.rows[0], strict=True))
    assert first["bright metal"] == "61%"
    assert first["residual oxide"] == "27%"  # 0.7 x (1 - 0.612)
    assert first["spot's area"] == "3480 mm²"
    assert first["longest patch"] == "oxide 11 mm"


def test_patches_are_listed_in_the_units_of_the_report():
    """11.2 mm are 0.441 in."""
    told = made.told()
    metric = said(report_of(told), "Spot 1, lower seam")
    assert "Patches, longest first: oxide 11 mm in the middle; and 2 more." in metric
    us = said(report_of(replace(told, system=System.US)), "Spot 1, lower seam")
    assert "Patches, longest first: oxide 0.44" in us


def test_a_disagreement_stands_beside_the_tools_answer(whole):
    assert "cannot tell, score 96 (90 to 99) | Rune: bright | Looked at under a moved torch" in said(
        whole, "Spot 2, filler neck"
    )


def test_a_corrected_inspection_is_kept_and_named(whole):
    one, two = made.spots()
    (first,) = one.passes[0].inspections
    older = replace(first, number=9, corrected_by=(1,))
    changed = replace(one, passes=(replace(one.passes[0], inspections=(older, first)), *one.passes[1:]))
    report = report_of(made.told(story=Story(made.JOB, (changed, two), ())))
    assert "residue left (corrected later)" in said(report, "Spot 1, lower seam")


def test_the_clearing_record_tells_readings_meters_sensors_and_calibration(whole):
    record = said(whole, "Clearing record")
    for fact in (
        "drained, steamed for 2 h", "20.8 % by volume", "3 % LEL", "flammable (diesel vapour)",
        "four-gas meter no. 3", "catalytic", "methane 50 % LEL", "2026-11-23", "2027-05-23",
        "bottom, behind the baffle, 0.10 m", "Sunna (competent person named by the co-op)", "HW-112",
        "29 CFR 1915.12; seen in the source", "Whoever the law names decides",
    ):  # fmt: skip
        assert fact in record


def test_what_the_checks_say_stands_with_the_time_that_they_speak_of(whole):
    record = said(whole, "Clearing record")
    assert "when open up was released:" in record
    assert "Speaks against it: " in record


def test_walls_stand_with_method_uncertainty_and_instrument(whole):
    wall = said(whole, "Wall")
    assert "gauge | 3.90 mm ± 0.10 mm | 5.00 mm | 1.1 mm over 3480 mm² | ultrasonic gauge no. 2" in wall
    assert "depth of the ground-out | 4.40 mm" in wall


def test_weld_values_are_starting_values_told_with_their_marks(whole):
    weld = said(whole, "Weld starting values")
    assert "the shop's qualified welding procedure rules" in weld
    assert "2.4 mm (from memory, check it)" in weld


def test_a_replaced_plan_is_named_by_its_time_and_the_last_one_told():
    older = LoggedEvent(80, made.at(20), "Mika", "welder", made.WELD_PLAN.model_copy(update={"inputs": {"old": "yes"}}))
    report = report_of(made.told(story=Story(made.JOB, (), (older, *made.events()))))
    weld = said(report, "Weld starting values")
    assert "Earlier plans, replaced by it: 2026-11-24 08:00." in weld
    assert "old" not in weld.split(" | ")


def test_leak_tests_tell_pressures_temperatures_and_where_was_looked(whole):
    leak = said(whole, "Leak tests")
    assert "20.70 kPa at the start, 20.60 kPa at the end" in leak
    assert "16.0 °C at the start, 16.2 °C at the end" in leak
    assert "15 min" in leak
    assert "none seen at the places looked at" in leak


def test_open_points_tell_held_steps_and_spots_that_are_not_bright(whole):
    points = said(whole, "Open points")
    assert "leak test: held, waits until a named person releases it." in points
    assert "Spot 2, filler neck: cannot tell." in points


def test_cautions_say_what_no_photo_shows_and_who_decides(whole, bare):
    for report in (whole, bare):
        cautions = said(report, "Cautions")
        assert all(caution in cautions for caution in CAUTIONS)
        assert HOT_WORK_LINE in cautions
        assert HOT_WORK_LINE in said(report, "At a glance")


def test_the_origin_names_versions_model_settings_photos_and_the_logs_head(whole):
    origin = said(whole, "Origin of the figures")
    for fact in (made.MODEL, made.SETTINGS, made.HEAD.root, "41 entries", "ground-3", made.sample("residue").sha256):
        assert fact in origin
    assert made.HEAD.root[:16] in whole.origin


def test_seals_and_erasures_stand_in_the_origin():
    sealed = e.Sealed(bag="J-0007.zip", manifest_sha256="c" * 64, size=40, root="d" * 64)
    erased = e.Erased(what="a face in a photo", sha256="e" * 64, reason="asked to")
    entries = enumerate((sealed, erased, None), start=70)
    more = tuple(LoggedEvent(number, made.at(465), "Ola", "foreman", entry) for number, entry in entries)
    report = report_of(made.told(story=Story(made.JOB, (), more)))
    origin = said(report, "Origin of the figures")
    assert f"40 entries, tree head {'d' * 64}" in origin
    assert "a face in a photo" in origin
    assert "erased for a lawful reason; its hash stays in the log" in said(report, "Entries of the log")


def test_every_entry_of_the_log_is_listed(whole):
    (table,) = section(whole, "Entries of the log").blocks
    assert [row[0] for row in table.rows] == [str(event.number) for event in made.events()]


FULL = (
    e.GasReading(
        gas=e.Gas.TOXIC, value=12.5, place="sump", height_m=0.25, of="hydrogen sulphide", meter="meter H2S-4",
        sensor=e.Sensor.PHOTOIONISATION, calibration_gas="isobutylene", factor=1.25, calibrated_on="2026-11-01",
        calibration_due="2027-01-31", sees_hydrogen=False, limit=35.0, limit_source="permit HW-112", taken_at=made.time(20),
    ),
    e.VesselCondition(
        condition=e.State.INERTED, previous_contents="petrol", cleaning_done="washed twice", purge_gas="argon",
        water_gap_mm=27.0, room_ventilated=True, hydrogen_possible=False, bays=3, at=made.time(21),
    ),
    e.Certificate(certified_by="Sunna", rule="rule of the yard", number="N-9", place="slip", at=made.time(22)),
    e.WallReading(
        spot=2, place="rib", method="before_after", wall_mm=3.25, nominal_mm=6.5, depth_mm=1.75, area_mm2=812.0,
        uncertainty_mm=0.15, instrument="gauge U-2", taken_at=made.time(23),
    ),
    e.LeakEntry(
        method="decay", medium="nitrogen", volume_m3=1.75, start_pa=15_000.0, end_pa=14_500.0, start_k=290.15,
        end_k=291.15, seconds=1200.0, ambient_pa=100_100.0, end_ambient_pa=100_300.0, pressure_error_pa=50.0,
        temperature_error_k=0.5, leaks=("at the boss", "at the rib"), looked_at="all of it", gauge="dial 7",
        started_at=made.time(24),
    ),
    e.Note(text="a note worth keeping"),
)  # fmt: skip
SHOWN = {
    "height_m": "0.25 m", "water_gap_mm": "27.0 mm", "wall_mm": "3.25 mm", "nominal_mm": "6.50 mm", "depth_mm": "1.8 mm",
    "area_mm2": "812 mm²", "uncertainty_mm": "0.15 mm", "volume_m3": "1.75 m³", "start_pa": "15.00 kPa",
    "end_pa": "14.50 kPa", "start_k": "17.0 °C", "end_k": "18.0 °C", "seconds": "20 min", "ambient_pa": "100.1 kPa",
    "end_ambient_pa": "100.3 kPa", "pressure_error_pa": "± 0.050 kPa", "temperature_error_k": "0.5 °C",
    "taken_at": "2026-11-24 08:0", "at": "2026-11-24 08:0", "started_at": "2026-11-24 08:04",
    "method": "", "kind": "", "room_ventilated": "yes", "hydrogen_possible": "ruled out", "sees_hydrogen": "no",
}  # fmt: skip


@pytest.mark.parametrize("entry", FULL, ids=lambda entry: entry.kind)
def test_every_field_of_an_entry_is_told(entry):
    report = report_of(made.told(story=Story(made.JOB, (), (LoggedEvent(1, made.at(30), "Mika", "welder", entry),))))
    said = " | ".join(texts(report)) + " | ".join(
        b.title for s in report.sections for b in s.blocks if isinstance(b, Facts)
    )
    for name, value in entry.model_dump(mode="json").items():
        for one in value if isinstance(value, list) else [value]:
            wanted = SHOWN.get(name, f"{one:g}" if isinstance(one, float) else str(one))
            assert wanted in said, name


def test_there_are_blank_lines_to_sign(whole):
    assert any(isinstance(block, Signatures) for block in section(whole, "Signatures").blocks)


def test_an_empty_job_says_of_each_part_that_nothing_is_logged(bare):
    said_so = {one.title for one in bare.sections for block in one.blocks if "is logged" in getattr(block, "text", "")}
    assert {"Spots", "Clearing record", "Wall", "Leak tests", "Notes", "Open points"} <= said_so


def test_nothing_in_the_report_is_a_verdict(whole, bare, american):
    for report in (whole, bare, american):
        assert [text for text in texts(report) if VERDICT.search(text)] == []


def test_a_metric_report_holds_no_us_unit(whole):
    assert [text for text in texts(whole) if US.search(text)] == []


def test_a_us_report_holds_no_metric_unit_but_what_people_typed(american):
    assert [text for text in texts(american) if METRIC.search(text) and text not in TYPED] == []


def test_us_lengths_are_the_same_lengths(american):
    assert "0.154 in ± 0.0039 in | 0.197 in" in said(american, "Wall")  # 3.9 and 5.0 mm over 25.4
    assert "a residue patch of 0.441 in is longer than 0.118 in" in said(american, "Spot 1, lower seam").lower()
    assert "oxide 0.441 in" in said(american, "Spot 1, lower seam")


def test_charts_say_in_words_what_they_show(whole):
    charts = [block for one in whole.sections for block in one.blocks if isinstance(block, Chart)]
    assert len(charts) == 3
    assert "1: score 61 (55 to 68), residue left; 2: score 87 (82 to 91), residue left" in charts[1].alt


def test_twelve_spots_are_all_told():
    report = report_of(made.many_spots())
    assert sum(one.level == 2 for one in report.sections) == 12


def test_a_pressure_only_watched_is_not_said_to_show_no_leak():
    watched = e.LeakEntry(method="decay", started_at=made.time(400))
    event = LoggedEvent(1, made.at(400), "Ola", "", watched)
    leak = said(report_of(made.told(story=Story(made.JOB, (), (event,)))), "Leak tests")
    assert "Leaks seen | not told" in leak
