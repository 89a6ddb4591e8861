"""Sealing on the command line: what a welder reads, and what lies in the bag."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.command import Command, write_plate


@pytest.fixture
def job(command, palette) -> Command:
    """A job with one photo."""
    command.open_job()
    assert command.log(write_plate(command.folder / "plate.jpg")).code in (0, 1)
    return command


def seal(command: Command, *arguments: object):
    return command("seal", "1", "--person", "Ola", "--no-report", *arguments)


def bags(command: Command) -> list[Path]:
    return sorted(path for path in command.folder.iterdir() if path.name.startswith("J-0001-sealed"))


def test_a_bag_is_named_by_job_and_time_where_no_place_is_given(job):
    assert seal(job).code == 0
    (bag,) = bags(job)
    assert re.fullmatch(r"J-0001-sealed-\d{4}-\d\d-\d\d-\d{6}", bag.name)
    assert job("verify", bag.name).code == 0


def test_what_was_sealed_is_told(job):
    said = seal(job, "--out", "bag").out
    assert "Sealed: " in said
    assert "2 entries of the job, 1 photos" in said
    assert re.search(r"key (\d{5} ){7}\d{5}\n", said)
    assert "shop's own word" in said


def test_json_tells_the_same(job):
    told = json.loads(seal(job, "--out", "bag", "--json").out)
    assert told["bag"]["entries"] == 2
    assert told["bag"]["sealed"]["bag"] == "bag"


def test_a_zip_file_is_made_by_option_or_by_name(job):
    assert seal(job, "--zip").code == 0
    assert seal(job, "--out", "bag.ZIP").code == 0
    assert [path.suffix for path in bags(job)] == [".zip"]
    assert (job.folder / "bag.ZIP").read_bytes()[:2] == b"PK"
    assert job("verify", "bag.ZIP").code == 0


def test_the_report_is_included_unless_told_otherwise(job):
    assert job("seal", "1", "--person", "Ola", "--out", "bag").code == 0
    names = {path.name for path in (job.folder / "bag/data/report").iterdir()}
    assert "J-0001-report.html" in names
    assert job("verify", "bag").code == 0
    assert seal(job, "--out", "bare").code == 0
    assert not (job.folder / "bare/data/report").exists()


def test_the_report_in_the_bag_is_in_the_shops_units(job):
    job("log", "wall", "1", "--gauge", "25.4 mm", "--person", "Ida")
    (job.folder / "shop.toml").write_text('[report]\nunits = "us"\n')
    assert job("seal", "1", "--person", "Ola", "--out", "bag", "--settings", "shop.toml").code == 0
    page = (job.folder / "bag/data/report/J-0001-report.html").read_text(encoding="utf-8")
    assert "1.00 in" in page
    assert "25.4 mm" not in page


def test_other_files_are_included_beside_the_report(job):
    (job.folder / "permit.pdf").write_bytes(b"%PDF invented")
    assert seal(job, "--out", "bag", "--include", "permit.pdf").code == 0
    assert (job.folder / "bag/data/report/permit.pdf").read_bytes() == b"%PDF invented"


def test_two_files_of_one_name_are_refused(job):
    (job.folder / "a").mkdir()
    for path in ("permit.pdf", "a/permit.pdf"):
        (job.folder / path).write_bytes(b"x")
    done = seal(job, "--include", "permit.pdf", "--include", "a/permit.pdf")
    assert (done.code, "have this name" in done.complaint) == (2, True)


def test_a_file_that_is_not_there_is_one_line(job):
    done = seal(job, "--include", "nothing.pdf")
    assert (done.code, "cannot be read" in done.complaint) == (3, True)
    assert bags(job) == []


def test_the_original_goes_in_with_position_only(job):
    assert seal(job, "--out", "bag", "--with-position").code == 0
    (photo,) = (job.folder / "bag/data/photos").iterdir()
    assert photo.read_bytes() == (job.folder / "plate.jpg").read_bytes()


def test_an_unknown_job_is_one_line(job):
    done = job("seal", "7", "--person", "Ola", "--no-report")
    assert (done.code, "no such job" in done.complaint) == (2, True)


def test_what_is_there_is_not_replaced(job):
    (job.folder / "bag").mkdir()
    done = seal(job, "--out", "bag")
    assert (done.code, "never replaced" in done.complaint) == (2, True)


def test_sealing_twice_goes_on(job):
    assert seal(job, "--out", "first").code == 0
    assert seal(job, "--out", "second").code == 0
    assert job("verify", "second", "--after", "first").code == 0
    assert job("verify", "first", "--after", "second").code == 1
