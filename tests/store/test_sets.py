"""A moved-light set in the log: one inspection with all its photos. And what changed since the pass before."""

from __future__ import annotations

import hashlib

import pytest

from prepcheck import tasks
from prepcheck.errors import StoreFault, UnknownRecord
from prepcheck.store import Logged
from prepcheck.store import append as store_append
from tests.store.logs import all_bytes
from tests.store.records import MODEL, PLACE, SETTINGS, record_for, run, set_of, since, spot, start

FILES = (b"left", b"right", b"above")


def put(log, *files: bytes, told=None, **place) -> Logged:
    record = set_of(*files) if len(files) > 1 else record_for(files[0], spot())
    return tasks.log_inspection(*log, record, files[0], more_bytes=files[1:], since=told, **{**PLACE, **place})


def inspections(log):
    return [one for told in tasks.job_story(log[0], "1").spots for of in told.passes for one in of.inspections]


# sets


def test_a_set_is_one_inspection_with_its_photos_in_order(log):
    put(log, *FILES)
    (told,) = inspections(log)
    assert told.photos == ("light 1.jpg", "light 2.jpg", "light 3.jpg")


def test_every_photo_of_a_set_is_kept_to_the_byte(log):
    put(log, *FILES)
    assert [log[1].get(hashlib.sha256(data).hexdigest()) for data in FILES] == list(FILES)


def test_frames_of_a_clip_share_its_bytes_kept_once(log):
    record = set_of(b"clip", b"clip", b"clip")
    tasks.log_inspection(*log, record, b"clip", **PLACE)
    assert len(inspections(log)[0].photos) == 3
    assert len([path for path in log[1].folder.rglob("*") if path.is_file()]) == 1


@pytest.mark.parametrize("files", [FILES[:2], (*FILES, b"another"), (b"left", b"right", b"other")])
def test_a_set_whose_bytes_are_not_those_of_its_record_is_not_logged(log, files):
    with pytest.raises(StoreFault, match="belongs to other bytes"):
        tasks.log_inspection(*log, set_of(*FILES), files[0], more_bytes=files[1:], **PLACE)
    assert inspections(log) == []
    assert not log[1].folder.exists()


def test_the_position_of_no_photo_of_a_set_reaches_the_log(log):
    record = set_of(b"left", b"right", position=(47.123456, 9.654321))
    tasks.log_inspection(*log, record, b"left", more_bytes=[b"right"], **PLACE)
    assert b"47.123456" not in all_bytes(log[0])


@pytest.mark.parametrize("data", FILES)
def test_any_photo_of_a_set_used_for_another_pass_is_flagged(log, data):
    put(log, *FILES)
    later = put(log, data, pass_no=2)
    assert [flag.code for flag in later.record.flags] == ["no_scale", "used_before"]


def test_a_photo_used_before_is_named_in_the_flag_of_a_set(log):
    put(log, b"right")
    (flag,) = [flag for flag in put(log, *FILES, pass_no=2).record.flags if flag.code == "used_before"]
    assert flag.measured == "light 2.jpg: the same bytes as inspection 1 (J-0001, spot 1, pass 1)"


KILLED = """
import os, signal, sys
from pathlib import Path
from prepcheck import tasks
from prepcheck.settings import Settings
from prepcheck.store import append
from tests.store.logs import all_bytes
from tests.store.records import PLACE, set_of
log = tasks.open_log(Path(sys.argv[1]), Settings())
def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)
setattr(append, sys.argv[2], die)
tasks.log_inspection(*log, set_of(b"left", b"right", b"above"), b"left", more_bytes=[b"right", b"above"], **PLACE)
"""


@pytest.mark.parametrize("where", ["_photo", "_photos_of", "_comparison", "_outlines"])
def test_a_kill_midway_leaves_no_half_set_and_the_set_can_be_logged_again(log, tmp_path, where):
    assert hasattr(store_append, where)
    with start(KILLED, tmp_path, where) as process:
        process.communicate(timeout=60)
    assert process.returncode == -9
    assert inspections(log) == []
    put(log, *FILES)
    assert len(inspections(log)[0].photos) == 3


def test_another_process_reads_a_set_as_it_was_logged(log, tmp_path):
    put(log, *FILES)
    code = (
        "import sys; from pathlib import Path; from prepcheck import tasks; from prepcheck.settings import Settings\n"
        "store, _ = tasks.open_log(Path(sys.argv[1]), Settings(), create=False)\n"
        "print(tasks.job_story(store, '1').spots[0].passes[0].inspections[0].photos)"
    )
    assert run(code, tmp_path) == "('light 1.jpg', 'light 2.jpg', 'light 3.jpg')\n"


# passes


def test_what_changed_is_told_again(log):
    put(log, b"first")
    put(log, b"second", pass_no=2, told=since(1, 2))
    assert [one.since for one in inspections(log)] == [None, since(1, 2)]


@pytest.mark.parametrize(
    ("told", "code"),
    [
        (since(1), None),
        (since(1, 2), "residue_may_go_deep"),
        (since(1, reason="too blurred"), "not_compared"),
    ],
)
def test_the_log_raises_the_flags_that_follow_from_a_comparison(log, told, code):
    put(log, b"first")
    logged = put(log, b"second", pass_no=2, told=told)
    assert [flag.code for flag in logged.record.flags] == ["no_scale", *([code] if code else [])]


def test_the_flag_of_deep_residue_says_how_many_places_and_passes(log):
    put(log, b"first")
    flag = put(log, b"second", pass_no=2, told=since(1, 2, 3)).record.flags[-1]
    assert (flag.blocking, flag.measured) == (False, "2 places, seen in up to 3 passes")


def test_what_changed_is_no_part_of_a_cached_answer(log):
    put(log, b"first")
    logged = put(log, b"second", pass_no=2, told=since(1, 2))
    cached = tasks.cached_result(log[0], logged.record.photo.sha256, MODEL, SETTINGS)
    assert cached is not None
    assert (logged.record.since_last_pass, cached.since_last_pass) == (since(1, 2), None)


def test_a_comparison_with_an_inspection_that_is_not_there_is_refused_and_nothing_is_logged(log):
    with pytest.raises(UnknownRecord, match="inspection 7: no such inspection"):
        put(log, b"first", told=since(7))
    assert inspections(log) == []


def earlier(log, pass_no: int = 9, spot: str = "1") -> list[int]:
    return [one.number for one in log[0].earlier_passes("J-0001", spot, pass_no)]


def test_the_newest_inspection_of_each_earlier_pass_is_found_oldest_pass_first(log):
    for pass_no in (2, 1, 1, 3):
        put(log, b"%d" % pass_no, pass_no=pass_no)
    assert (earlier(log), earlier(log, 3), earlier(log, 1)) == ([3, 1, 4], [3, 1], [])


def test_passes_of_another_spot_are_not_found(log):
    put(log, b"first", spot="2")
    assert earlier(log) == []


def test_a_spot_is_found_by_its_name_in_any_case(log):
    put(log, b"first", spot="Seam")
    assert earlier(log, spot="SEAM") == [1]


def test_a_corrected_inspection_and_one_to_retake_are_passed_over(log):
    put(log, b"first")
    put(log, b"first", spot="2", corrects=1)
    record = record_for(b"blurred", spot(1, "retake"))
    tasks.log_inspection(*log, record, b"blurred", **{**PLACE, "pass_no": 2})
    assert earlier(log) == []


def test_one_spot_of_a_job_is_told_by_its_number_or_name(log):
    put(log, b"first", spot="2")
    put(log, b"second", spot="Neck")
    told = [tasks.job_story(log[0], "1", name).spots for name in ("3", "neck", "2")]
    assert [[one.number for one in spots] for spots in told] == [[3], [3], [2]]


def test_a_spot_that_a_job_does_not_have_is_said_with_those_it_has(log):
    put(log, b"first", spot="Neck")
    with pytest.raises(UnknownRecord, match=r"9: no such spot in J-0001\. Known: 1 Neck"):
        tasks.job_story(log[0], "1", "9")
