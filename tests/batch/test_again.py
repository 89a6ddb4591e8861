"""The log's photos once more: what is different is shown, corrections are new rows, nothing is lost."""

from __future__ import annotations

import json
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from prepcheck import passes
from prepcheck.batch.again import FILE, open_logged
from prepcheck.batch.again_log import log_changes
from prepcheck.batch.again_report import write_report
from prepcheck.batch.ledger import Ledger
from prepcheck.batch.log import LogCount
from prepcheck.batch.run import Way
from prepcheck.batch.work import LookSpec
from prepcheck.errors import UnknownRecord
from prepcheck.looking import Look, Place, look_at
from prepcheck.photo.align import Alignment
from prepcheck.settings import ScoreSettings, Settings
from prepcheck.store.address import StoreAddress
from prepcheck.terms import State
from tests import painted
from tests.batch.small import SETTINGS, SIZE, Here
from tests.command import two_spots, write_plate
from tests.store.records import AT, new_log

pytestmark = pytest.mark.usefixtures("palette_workers")
LOOK = Look(SETTINGS, painted.model(), mm_per_px=0.4)
LENIENT = LookSpec.of(Look(Settings(score=ScoreSettings(residue_limit=0.9, patch_limit_mm=60.0)), painted.model()))


@pytest.fixture(autouse=True)
def aligned(monkeypatch: pytest.MonkeyPatch) -> None:
    """Makes every photo lie on every other."""
    monkeypatch.setattr(passes, "align", lambda *_: Alignment(np.eye(3), 0.4, 80, "features"))


class Shop:
    """A log with two passes of one spot, the first with residue, and what looks at it again."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.out = folder / "store", folder / "out"
        self.folder.mkdir()
        self.out.mkdir()
        self.store, self.archive = new_log(self.folder)
        for pass_no, patches in ((1, [(State.OXIDE, 80, 60, 15)]), (2, [])):
            path = write_plate(folder / f"pass {pass_no}.jpg", *patches, size=SIZE)
            look_at(path, LOOK, self.place(pass_no), AT)

    def place(self, pass_no: int, **changes: int) -> Place:
        return Place(self.store, self.archive, "J-0001", "seam", pass_no, "Ida", **changes)

    def again(self, spec: LookSpec = LENIENT, *, log: bool = False) -> tuple[list[str], LogCount, dict]:
        """Look again; return what was worked on, what was logged, and the figures."""
        logged, archive = open_logged(StoreAddress(self.folder), None, spec)
        crew, way, count = Here(), Way(spec), LogCount()
        with closing(Ledger(self.out / FILE)) as ledger:
            logged.round(way, ledger).work(crew)
            count = log_changes(logged, archive, way, ledger, "Mika", AT) if log else count
            write_report(logged, ledger, self.out, spec)
        return crew.worked, count, json.loads((self.out / "again.json").read_text())

    def corrections(self) -> list[tuple[int, int | None, str]]:
        return [(one.number, one.corrects, one.person) for one in self.store.story("J-0001").inspections]


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return Shop(tmp_path)


def test_every_inspection_is_looked_at_again(shop):
    worked, _, _ = shop.again()
    assert worked == ["J-0001/spot 1/pass 1/inspection 1", "J-0001/spot 1/pass 2/inspection 2"]


def test_one_that_is_as_of_today_is_not(shop):
    assert shop.again(LookSpec.of(LOOK))[0] == []


def test_a_second_run_goes_on_where_the_first_was(shop):
    shop.again()
    assert shop.again()[0] == []


def test_the_report_counts_standings_before_and_now(shop):
    _, _, figures = shop.again()
    assert figures["standings"] == [
        {"before": "bright", "now": "bright", "count": 1},
        {"before": "residue left", "now": "bright", "count": 1},
    ]
    assert (figures["inspections"], figures["other_standing"], figures["not_looked_at"]) == (2, 1, 0)


def test_the_page_shows_the_change_with_its_picture(shop):
    shop.again()
    page = (shop.out / "again.html").read_text()
    assert page.count("data:image/jpeg") == 1
    assert "J-0001/spot 1/pass 1/inspection 1" in page


def test_a_stated_scale_is_stated_again(shop):
    _, _, figures = shop.again()
    assert {row["bright_share_now"] == row["bright_share_before"] for row in figures["rows"]} == {True}


def test_nothing_is_logged_unless_it_is_asked_for(shop):
    shop.again()
    assert len(shop.corrections()) == 2


def test_new_inspections_correct_the_old_ones_which_stay(shop):
    _, count, _ = shop.again(log=True)
    assert count == LogCount(logged=2)
    assert sorted(shop.corrections()) == [(1, None, "Ida"), (2, None, "Ida"), (3, 1, "Mika"), (4, 2, "Mika")]


def test_running_again_corrects_nothing_twice(shop):
    shop.again(log=True)
    _, count, figures = shop.again(log=True)
    assert (count, figures["inspections"], len(shop.corrections())) == (LogCount(before=2), 2, 4)


def test_a_photo_that_is_gone_is_an_error_of_its_own_and_tried_again(shop):
    (photo,) = (one.photo_sha256 for one in shop.store.story("J-0001").inspections if one.number == 1)
    shop.archive.erase(photo)
    _, count, figures = shop.again(log=True)
    assert (figures["not_looked_at"], count) == (1, LogCount(logged=1))
    assert "no such photo in the archive" in figures["rows"][0]["error"]
    assert shop.again()[0] == ["J-0001/spot 1/pass 1/inspection 1"]


def test_the_spot_of_before_is_found_among_several_outlines(shop, tmp_path):
    look_at(two_spots(tmp_path / "two.jpg"), LOOK, shop.place(3, outline=2), AT)
    shop.again(log=True)
    newest = max(shop.store.story("J-0001").inspections, key=lambda one: one.number)
    assert (newest.corrects, newest.outline) == (3, 2)


def test_a_log_without_the_job_is_told(shop):
    with pytest.raises(UnknownRecord, match="J-0009"):
        open_logged(StoreAddress(shop.folder), "9", LENIENT)


def test_the_ledger_of_another_log_is_told(shop, tmp_path):
    shop.again()
    (tmp_path / "other").mkdir()
    new_log(tmp_path / "other")
    shop.folder = tmp_path / "other"
    with pytest.raises(UnknownRecord, match="is of another log"):
        shop.again()
