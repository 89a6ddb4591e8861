"""Lawful erasure on the command line."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from prepcheck import tasks
from prepcheck.agreement.fields import write_fields
from prepcheck.agreement.form import write_form
from tests.agreement.forms import small
from tests.cli.shop import Shop
from tests.store.records import PLACE, record_for, spot
from tests.tasks.shop import QUICK, new_shop


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """The workshop with a note and a photo."""
    store = new_shop(tmp_path)
    _, archive = tasks.open_log(tmp_path, QUICK)
    tasks.log_inspection(store, archive, record_for(b"face", spot()), b"face", **PLACE)
    shop = Shop(tmp_path)
    shop.good("log", "note", "1", "call Ms Unlikely", "--person", "Ola")
    return shop


def keeper(shop: Shop) -> list[object]:
    return ["--by", "Rune", "--pin-file", shop.pin_file("Rune"), "--reason", "asked to be forgotten"]


def test_a_person_is_erased_from_what_is_told(shop):
    assert shop.good("erase", "person", "Ola", *keeper(shop)).startswith("Erased; entry 2 says so.")
    told = shop.good("job", "show", "1")
    assert "erased person 1: note: call Ms Unlikely" in told
    assert "Ola" not in told


def test_a_jobs_title_is_erased_from_what_is_told(shop):
    assert shop.good("erase", "job", "1", *keeper(shop)) == "Erased; entry 2 says so.\n"
    assert shop.good("job", "list").split()[:2] == ["J-0001", "erased"]


def test_an_entry_is_erased_from_what_is_told(shop):
    assert shop.good("erase", "entry", "1", *keeper(shop)) == "Erased; entry 2 says so.\n"
    told = shop.good("job", "show", "1")
    assert "Ola: erased" in told
    assert "Rune (keeper): erased: entry 1; asked to be forgotten" in " ".join(told.split())
    assert "Unlikely" not in told


def test_a_photo_is_erased_and_what_was_measured_stays(shop):
    sha256 = hashlib.sha256(b"face").hexdigest()
    assert shop.good("erase", "photo", sha256, *keeper(shop)).startswith("Erased; entry 2 says so. Copies in bags")
    told = " ".join(shop.good("job", "show", "1").split())
    assert "Rune (keeper): erased: photo; asked to be forgotten" in told
    assert "residue left, score 82" in told
    assert list((shop.folder / "photos").rglob("*.jpg")) == []


def test_a_name_is_erased_from_a_count_elsewhere_when_it_is_named(shop, tmp_path_factory):
    count = tmp_path_factory.mktemp("count")
    (count / "forms").mkdir()
    one = small()
    (count / "points.json").write_bytes(write_fields([one]))
    (count / "forms" / "tank.csv").write_bytes(write_form(one, "Ola"))
    told = shop.good("erase", "person", "Ola", "--counts", count, *keeper(shop))
    assert f"Count {count}: 1 file changed or taken away.\nLooked through 1 count. The log does not know of" in told
    assert "person,erased person 1" in (count / "forms" / "tank.csv").read_text()


def test_what_the_log_cannot_know_of_is_said(shop):
    told = shop.good("erase", "person", "Ola", *keeper(shop))
    assert "Looked through 0 counts. The log does not know of folders elsewhere: look yourself through" in told


@pytest.mark.parametrize("what", [["person", "Ola"], ["job", "1"], ["entry", "1"], ["photo", "0" * 64]])
def test_only_a_keeper_erases(shop, what):
    done = shop("erase", *what, "--by", "Mika", "--pin-file", shop.pin_file("Mika"), "--reason", "x")
    assert (done.code, "Mika: is no keeper" in done.err) == (2, True)
