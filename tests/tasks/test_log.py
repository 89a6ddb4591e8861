"""Jobs, logging, disagreeing: the use cases of the log."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from pathlib import Path

import pytest

from prepcheck import tasks
from prepcheck.errors import StoreFault, UnknownRecord, WrongUse
from prepcheck.settings import Settings
from prepcheck.store import LOG_FILE, PHOTO_FOLDER, Logged, NewJob, default_folder
from prepcheck.terms import Standing
from tests.store.logs import all_bytes
from tests.store.records import AT, MODEL, PLACE, SETTINGS, drawn_by_person, new_log, record_for, spot

SHA = hashlib.sha256(b"photo").hexdigest()


@pytest.fixture
def log(tmp_path: Path):
    """A new log with the job J-0001 in it."""
    return new_log(tmp_path)


def put(log, *spots, data: bytes = b"photo", outline: int | None = None, by_person=None, **place) -> Logged:
    record = record_for(data, *spots, by_person=by_person)
    return tasks.log_inspection(*log, record, data, outline_number=outline, **{**PLACE, **place})


def inspections(log, job: str = "J-0001"):
    passes = [one for spot in tasks.job_story(log[0], job).spots for one in spot.passes]
    return [inspection for one in passes for inspection in one.inspections]


# opening jobs


def test_jobs_are_numbered_in_the_order_of_opening(log):
    store, _ = log
    assert [tasks.open_job(store, NewJob(t), person="Ida", at=AT).number for t in "ab"] == ["J-0002", "J-0003"]


def test_a_job_is_told_as_it_was_opened(log):
    store, _ = log
    told = NewJob("Crack", "neck", "5083", 5.0, "diesel", "CO-OP 114")
    opened = tasks.open_job(store, told, person="Jon", at=AT)
    assert tasks.job_story(store, opened.number).job == opened
    assert (opened.alloy, opened.wall_mm, opened.opened_by) == ("5083", 5.0, "Jon")
    assert opened.opened_at == "2026-11-24T10:12:00+00:00"


@pytest.mark.parametrize("wall", [0.0, -1.0, 1000.1, float("nan"), float("inf")])
def test_a_wall_that_is_no_thickness_is_refused(log, wall):
    with pytest.raises(WrongUse, match="the wall must be above 0"):
        tasks.open_job(log[0], NewJob("x", wall_mm=wall), person="Ida", at=AT)


@pytest.mark.parametrize("field", ["part", "alloy", "previous_contents", "customer_reference"])
def test_every_text_of_a_job_is_checked(log, field):
    with pytest.raises(WrongUse, match="cannot be printed"):
        tasks.open_job(log[0], NewJob("x", **{field: "a\x00"}), person="Ida", at=AT)


def test_a_person_is_one_in_any_case_and_keeps_the_first_spelling(log):
    opened = [tasks.open_job(log[0], NewJob("x"), person=name, at=AT).opened_by for name in ("JON ÖZ", "Jon O\u0308z")]
    assert opened == ["JON ÖZ", "JON ÖZ"]


def test_jobs_are_listed_newest_first_with_their_last_standing(log):
    store, _ = log
    tasks.open_job(store, NewJob("Next"), person="Ida", at=AT)
    put(log, spot(1, "bright"), spot(2, "cannot tell"), outline=2)
    assert [(line.job.number, line.spots, line.inspections, line.last_standing) for line in tasks.list_jobs(store)] == [
        ("J-0002", 0, 0, None),
        ("J-0001", 1, 1, Standing.CANNOT_TELL),
    ]


# logging


def test_an_inspection_is_told_with_spot_pass_person_and_time(log):
    logged = put(log, spot(), spot="filler neck", pass_no=2, person="Jon", note="new disc")
    (told,) = tasks.job_story(log[0], "1").spots
    (inspection,) = told.passes[0].inspections
    assert (told.name, told.number, told.passes[0].pass_no) == ("filler neck", logged.spot, 2)
    assert (inspection.person, inspection.at, inspection.note) == ("Jon", "2026-11-24T10:12:00+00:00", "new disc")
    assert (inspection.standing, inspection.bright_share, inspection.interval) == ("residue left", 0.82, (0.74, 0.89))


def test_the_photo_is_kept_to_the_byte(log):
    put(log, spot())
    assert log[1].get(SHA) == b"photo"


def test_a_record_of_other_bytes_is_not_logged(log):
    with pytest.raises(StoreFault, match="belongs to other bytes"):
        tasks.log_inspection(*log, record_for(b"photo", spot()), b"other", **PLACE)
    assert inspections(log) == []


def test_an_unknown_job_is_said_before_a_photo_is_kept(log):
    with pytest.raises(UnknownRecord, match="J-0099: no such job"):
        put(log, spot(), job="99")
    assert not log[1].folder.exists()


@pytest.mark.parametrize("pass_no", [0, -1, 100])
def test_a_pass_number_has_a_range(log, pass_no):
    with pytest.raises(WrongUse, match="from 1 to 99"):
        put(log, spot(), pass_no=pass_no)


@pytest.mark.parametrize("place", [{"person": ""}, {"spot": " "}, {"note": "x" * 2001}, {"spot": "1000"}])
def test_what_cannot_be_logged_is_said_before_a_photo_is_kept(log, place):
    with pytest.raises(WrongUse):
        put(log, spot(), **place)
    assert not log[1].folder.exists()


def test_a_named_spot_gets_the_next_number_and_is_found_again_in_any_case(log):
    put(log, spot(), spot="3")
    numbers = [put(log, spot(), spot=name, pass_no=n).spot for n, name in enumerate(("Seam", "neck", "SEAM"), start=1)]
    assert numbers == [4, 5, 4]


def test_spots_are_told_in_order_of_their_numbers(log):
    for name in ("2", "10", "1"):
        put(log, spot(), spot=name, data=name.encode())
    assert [told.number for told in tasks.job_story(log[0], "1").spots] == [1, 2, 10]


def test_a_correction_points_to_the_older_inspection_and_back(log):
    put(log, spot())
    put(log, spot(), spot="2", corrects=1)
    old, new = inspections(log)
    assert (old.corrected_by, new.corrects) == ((2,), 1)


@pytest.mark.parametrize("number", [7, 0, -1, 2**70])
def test_a_correction_of_nothing_is_refused_and_nothing_is_logged(log, number):
    with pytest.raises(UnknownRecord, match="no such inspection in this job"):
        put(log, spot(), corrects=number)
    assert inspections(log) == []


def test_an_inspection_of_another_job_cannot_be_corrected(log):
    put(log, spot())
    tasks.open_job(log[0], NewJob("Next"), person="Ida", at=AT)
    with pytest.raises(UnknownRecord, match="no such inspection in this job"):
        put(log, spot(), job="2", corrects=1)


def test_the_position_never_reaches_the_log(log):
    record = record_for(b"photo", spot(), position=(47.123456, 9.654321))
    logged = tasks.log_inspection(*log, record, b"photo", **PLACE)
    assert logged.record.photo.position is None
    assert b"47.123456" not in all_bytes(log[0])


def test_a_name_that_is_no_text_is_logged_escaped(log):
    record = record_for(b"photo", spot(), name="bad\udcff.jpg")
    tasks.log_inspection(*log, record, b"photo", **PLACE)
    assert inspections(log)[0].photo_name == "bad\\udcff.jpg"


# outlines


def test_the_only_outline_is_the_jobs_spot(log):
    assert put(log, spot(1)).outline == 1


def test_of_several_outlines_the_named_one_is_the_jobs_spot_and_the_others_are_not_assigned(log):
    logged = put(log, spot(1), spot(2, "cannot tell"), spot(3), outline=2)
    (told,) = inspections(log)
    assert (logged.outline, logged.not_assigned) == (2, (1, 3))
    assert (told.outline, told.not_assigned, told.standing) == (2, (1, 3), Standing.CANNOT_TELL)


def test_several_outlines_and_none_named_is_wrong_use(log):
    with pytest.raises(WrongUse, match=r"bowser\.jpg: shows outlines 1, 2\. Say which is the job's spot \(--outline\)"):
        put(log, spot(1), spot(2))
    assert inspections(log) == []


def test_an_outline_that_the_photo_does_not_have_is_wrong_use(log):
    with pytest.raises(WrongUse, match="has no outline 3, only 1, 2"):
        put(log, spot(1), spot(2), outline=3)


def test_a_photo_without_outline_is_logged_as_retake(log):
    put(log, outline=1)
    (told,) = inspections(log)
    assert (told.outline, told.standing, told.bright_share) == (None, Standing.RETAKE, None)


def test_outlines_of_a_person_are_told_beside_the_tools_answer(log):
    person = drawn_by_person(spot(2, "bright", "person"), refused={1: "that is primer"})
    put(log, spot(1), by_person=person)
    (told,) = inspections(log)
    assert (told.outline, told.standing, told.tool_standing) == (2, Standing.BRIGHT, Standing.RESIDUE_LEFT)
    assert (told.drawn, told.refused, told.not_assigned) == ((2,), {1: "that is primer"}, ())


def test_an_outline_that_a_person_refused_cannot_be_the_jobs_spot(log):
    person = drawn_by_person(spot(2, by="person"), refused={1: "that is primer"})
    with pytest.raises(WrongUse, match="has no outline 1, only 2"):
        put(log, spot(1), by_person=person, outline=1)


# the computation cache


def test_a_logged_answer_is_found_again_by_photo_model_and_settings(log):
    put(log, spot())
    assert tasks.cached_result(log[0], SHA, MODEL, SETTINGS) == record_for(b"photo", spot())


def test_a_logged_answer_is_given_under_the_asked_name(log):
    put(log, spot())
    found = tasks.cached_result(log[0], SHA, MODEL, SETTINGS, name="copy.jpg")
    assert found is not None
    assert found.photo.name == "copy.jpg"


@pytest.mark.parametrize(
    "key",
    [
        ("0" * 64, MODEL, SETTINGS, ""),
        (SHA, SETTINGS, SETTINGS, ""),
        (SHA, MODEL, MODEL, ""),
        (SHA, MODEL, SETTINGS, "x"),
    ],
)
def test_an_answer_of_another_origin_is_not_given(log, key):
    put(log, spot())
    assert tasks.cached_result(log[0], *key) is None


def test_an_answer_of_another_version_is_not_given(log, monkeypatch):
    put(log, spot())
    monkeypatch.setattr("prepcheck.tasks.log.__version__", "9.9.9")
    assert tasks.cached_result(log[0], SHA, MODEL, SETTINGS) is None


def test_flags_of_the_log_are_no_part_of_a_cached_answer(log):
    put(log, spot())
    flagged = put(log, spot(), pass_no=2)
    cached = tasks.cached_result(log[0], SHA, MODEL, SETTINGS)
    assert [flag.code for flag in flagged.record.flags] == ["no_scale", "used_before"]
    assert cached is not None
    assert [flag.code for flag in cached.flags] == ["no_scale"]


def test_flags_of_the_log_in_a_given_record_are_not_taken_over(log):
    record = record_for(b"photo", spot(), flags=("used_before",))
    assert tasks.log_inspection(*log, record, b"photo", **PLACE).record.flags == []


def test_flags_of_the_log_are_told_with_the_inspection(log):
    put(log, spot())
    put(log, spot(), pass_no=2)
    assert [flag.code for flag in inspections(log)[1].flags] == ["no_scale", "used_before"]


def test_the_same_answer_is_kept_once_for_many_inspections(log):
    for person in ("Ida", "Jon", "Marta"):
        put(log, spot(), person=person)
    with log[0].reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM results").scalar() == 1
    assert [told.person for told in inspections(log)] == ["Ida", "Jon", "Marta"]


def test_a_second_answer_for_the_same_photo_is_a_new_row(log):
    put(log, spot(share=0.8))
    put(log, spot(share=0.9))
    assert [told.bright_share for told in inspections(log)] == [0.8, 0.9]


# disagreeing


def test_a_disagreement_stands_beside_the_tools_answer(log):
    put(log, spot())
    tasks.disagree(log[0], 1, standing="Bright", reason="a brushed stain", person="Jon", at=AT)
    (told,) = inspections(log)
    assert told.standing is Standing.RESIDUE_LEFT
    assert [(d.person, d.standing, d.reason) for d in told.disagreements] == [
        ("Jon", Standing.BRIGHT, "a brushed stain")
    ]


@pytest.mark.parametrize("word", ["pass", "ok", "residue", ""])
def test_only_the_four_standings_can_be_said(log, word):
    put(log, spot())
    with pytest.raises(WrongUse):
        tasks.disagree(log[0], 1, standing=word, reason="x", person="Jon", at=AT)


def test_a_disagreement_needs_a_reason(log):
    put(log, spot())
    with pytest.raises(WrongUse, match="the reason is empty"):
        tasks.disagree(log[0], 1, standing="bright", reason=" ", person="Jon", at=AT)


@pytest.mark.parametrize("number", [2, 0, -5, 2**64])
def test_a_disagreement_with_no_inspection_is_refused(log, number):
    put(log, spot())
    with pytest.raises(UnknownRecord, match="no such inspection in this log"):
        tasks.disagree(log[0], number, standing="bright", reason="x", person="Jon", at=AT)


# place


@pytest.mark.usefixtures("sqlite_only")
def test_the_log_lies_in_the_users_data_folder_unless_told_otherwise(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    if sys.platform != "linux":
        pytest.skip("the variable is read on Linux only")
    tasks.open_log(None, Settings())
    assert (default_folder(), (tmp_path / "prepcheck" / LOG_FILE).exists()) == (tmp_path / "prepcheck", True)


def test_photos_lie_beside_the_log(log, tmp_path):
    put(log, spot())
    assert (tmp_path / PHOTO_FOLDER / SHA[:2] / f"{SHA}.jpg").read_bytes() == b"photo"


@pytest.mark.usefixtures("sqlite_only")
def test_the_database_libraries_are_loaded_only_when_a_log_is_opened():
    code = (
        "import prepcheck.store, prepcheck.archive, sys; print({'sqlalchemy', 'alembic', 'numpy'} & set(sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "set()\n"
