"""``prepcheck report``: from the log to the files, in the units and on the paper asked for."""

from __future__ import annotations

import hashlib
import json
import re

import pytest

from tests.command import write_plate
from tests.report.job import pdf_text

pytestmark = pytest.mark.usefixtures("palette")


@pytest.fixture
def shop(command, tmp_path):
    """A job with two passes of a spot, a wall reading and a note."""
    command.open_job()
    for pass_no, patches in ((1, [(2, 160, 120, 24)]), (2, [])):
        photo = write_plate(tmp_path / f"pass {pass_no}.jpg", *patches)
        command.log(photo, "--mm-per-px", 0.5, pass_no=pass_no)
    wall = ("log", "wall", "J-0001", "--gauge", "3.9 mm", "--place", "neck", "--person", "Ida")
    said = command(*wall)
    assert said.code == 0, said.err
    assert command("log", "note", "J-0001", "Customer asked twice", "--person", "Ida").code == 0
    return command


def test_pdf_and_page_tell_the_job(shop, tmp_path):
    done = shop("report", "1", "--out", "papers")
    assert done.code == 0, done.err
    assert [line.split()[-1] for line in done.out.splitlines()] == [
        "papers/J-0001-report.pdf", "papers/J-0001-report.html",
    ]  # fmt: skip
    said = pdf_text.text((tmp_path / "papers/J-0001-report.pdf").read_bytes())
    page = (tmp_path / "papers/J-0001-report.html").read_text(encoding="utf-8")
    for fact in ("Customer asked twice", "3.90 mm", "pass 1.jpg", "Ida"):
        assert "".join(fact.split()) in said
        assert fact in page
    assert page.count("data:image/jpeg") == 3  # two passes side by side, the last one large


def test_the_page_names_the_photos_by_the_hash_of_their_bytes(shop, tmp_path):
    shop("report", "J-0001", "--html")
    page = (tmp_path / "J-0001-report.html").read_text(encoding="utf-8")
    assert hashlib.sha256((tmp_path / "pass 2.jpg").read_bytes()).hexdigest() in page


def test_us_units_hold_everywhere_in_the_page(shop, tmp_path):
    shop("report", "J-0001", "--html", "--units", "us")
    page = (tmp_path / "J-0001-report.html").read_text(encoding="utf-8")
    body = re.sub(r"<style>.*?</style>|base64,[^\"]*", "", page, flags=re.S)
    assert "0.154 in" in body
    assert re.search(r"\d (mm|cm|kPa)\b", body) is None


def test_units_and_paper_may_be_the_shops_settings(shop, tmp_path):
    (tmp_path / "shop.toml").write_text('[report]\nunits = "us"\npaper = "letter"\n')
    shop("report", "J-0001", "--settings", "shop.toml")
    pdf = (tmp_path / "J-0001-report.pdf").read_bytes()
    assert "0.154in" in pdf_text.text(pdf)
    assert b"/MediaBox [0 0 612.00 792.00]" in pdf  # US letter, 8.5 x 11 in at 72 points
    shop("report", "J-0001", "--settings", "shop.toml", "--units", "metric", "--paper", "a4")
    pdf = (tmp_path / "J-0001-report.pdf").read_bytes()
    assert "3.90mm" in pdf_text.text(pdf)
    assert b"/MediaBox [0 0 595.28 841.89]" in pdf  # ISO 216 A4, 210 x 297 mm


def test_tables_and_json_hold_the_scores_of_the_log(shop, tmp_path):
    shop("report", "J-0001", "--csv", "--json")
    told = json.loads((tmp_path / "J-0001-report.json").read_text(encoding="utf-8"))
    logged = shop.story()
    assert [one["bright_share"] for spot in told["spots"] for p in spot["passes"] for one in p["inspections"]] == [
        one["bright_share"] for one in logged
    ]
    assert (tmp_path / "J-0001-inspections.csv").exists()
    assert not (tmp_path / "J-0001-report.pdf").exists()


def test_the_logs_head_at_that_time_is_named(shop, tmp_path):
    shop("report", "J-0001", "--json")
    told = json.loads((tmp_path / "J-0001-report.json").read_text(encoding="utf-8"))
    assert re.fullmatch("[0-9a-f]{64}", told["log"]["root"])
    assert told["log"]["size"] >= 4


def test_a_photo_whose_bytes_were_changed_is_said_to_be(shop, tmp_path):
    for kept in (tmp_path / "store/photos").rglob("*.jpg"):
        kept.chmod(0o644)
        kept.write_bytes(b"changed")
    assert shop("report", "J-0001", "--html").code == 0
    page = (tmp_path / "J-0001-report.html").read_text(encoding="utf-8")
    assert "the photo is not shown: was changed since it was logged." in page


def test_an_unknown_job_is_wrong_use(shop):
    done = shop("report", "J-0042")
    assert done.code == 2
    assert "J-0042" in done.complaint


@pytest.mark.parametrize("option", [("--units", "yards"), ("--paper", "a5")])
def test_unknown_units_or_paper_are_wrong_use(shop, option):
    assert shop("report", "J-0001", *option).code == 2
