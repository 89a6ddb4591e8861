"""Where photos belong: what says it, and what is wrong with it before any work starts."""

from __future__ import annotations

import pytest

from prepcheck.batch.placing import Wanted, read_placing
from prepcheck.batch.sources import Item
from prepcheck.errors import WrongUse
from tests.store.records import new_log

CALL = {"job": "1", "spot": None, "person": "Ida"}


@pytest.fixture
def store(tmp_path):
    (tmp_path / "store").mkdir()
    return new_log(tmp_path / "store")[0]


def placing(tmp_path, table=None, names=None, **call):
    path = tmp_path / "places.csv"
    if table is not None:
        path.write_text(table, encoding="utf-8")
    return read_placing(call={**CALL, **call}, names=names, sidecar=None if table is None else path)


def test_the_call_places_all_photos_alike(tmp_path):
    assert placing(tmp_path, spot="2").of("a.jpg") == Wanted("J-0001", "2", "Ida")


def test_a_name_counts_more_than_the_call_and_the_table_more_than_the_name(tmp_path):
    made = placing(tmp_path, "file,spot\n1_1_5.jpg,9\n", "{job}_{spot}_{pass_no}", spot="2", job="7")
    assert [made.of(name) for name in ("1_1_5.jpg", "1_3_5.jpg", "other.jpg")] == [
        Wanted("J-0001", "9", "Ida", 5),
        Wanted("J-0001", "3", "Ida", 5),
        Wanted("J-0007", "2", "Ida"),
    ]


def test_a_photo_without_job_spot_or_person_has_no_place(tmp_path):
    assert placing(tmp_path).of("a.jpg") is None


def test_the_table_states_scales(tmp_path):
    made = placing(tmp_path, "file,mm_per_px\na.jpg,0.25\nb.jpg,\n")
    assert [made.scale_of(name) for name in ("a.jpg", "b.jpg", "c.jpg")] == [0.25, None, None]


def test_scales_alone_say_nothing_of_a_place(tmp_path):
    (tmp_path / "t.csv").write_text("file,mm_per_px\na.jpg,0.25\n")
    assert not read_placing(call={"job": None}, names=None, sidecar=tmp_path / "t.csv").says_anything


def check(made, store, *names, new_people=True):
    return made.check([Item(name) for name in names], store, new_people=new_people)


def test_photos_with_a_place_are_counted(tmp_path, store):
    assert check(placing(tmp_path, names="{spot}_{pass_no}"), store, "1_1.jpg", "1_2.jpg", "x.jpg") == 2


def test_a_file_of_the_table_that_is_not_there_is_told(tmp_path, store):
    with pytest.raises(WrongUse, match=r"line 3: gone\.jpg is not among the photos"):
        check(placing(tmp_path, "file,spot\na.jpg,1\ngone.jpg,1\n"), store, "a.jpg")


def test_a_file_of_the_table_may_come_later_when_that_is_said(tmp_path, store):
    made = placing(tmp_path, "file,spot\ngone.jpg,1\n")
    assert made.check([], store, new_people=True, photos_come=True) == 0


def test_a_job_that_the_log_does_not_know_is_told(tmp_path, store):
    with pytest.raises(WrongUse, match=r"line 2: a\.jpg: J-0009: no such job"):
        check(placing(tmp_path, "file,job,spot\na.jpg,9,1\n"), store, "a.jpg")


def test_a_person_whom_the_log_does_not_know_is_told(tmp_path, store):
    with pytest.raises(WrongUse, match=r"line 2: a\.jpg: Mikka: is nobody the log knows"):
        check(placing(tmp_path, "file,spot,person\na.jpg,1,Mikka\n"), store, "a.jpg", new_people=False)


def test_a_person_is_known_in_any_letter_case(tmp_path, store):
    opener = store.people()[0].name
    table = f"file,spot,person\na.jpg,1,{opener.upper()}\n"
    assert check(placing(tmp_path, table), store, "a.jpg", new_people=False) == 1


def test_a_name_that_says_what_cannot_be_is_told(tmp_path, store):
    with pytest.raises(WrongUse, match=r"1_0\.jpg: 0: a pass number goes from 1"):
        check(placing(tmp_path, names="{spot}_{pass_no}"), store, "1_0.jpg")
