"""What is done is known for good, and in one order whatever the order of work was."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest

from prepcheck.batch.ledger import FILE, Ledger, Placed
from prepcheck.batch.sources import Item
from prepcheck.batch.work import Done
from prepcheck.errors import StoreBusy, StoreFault, StoreNewer
from prepcheck.record import broken_record
from prepcheck.terms import Standing
from tests.store.records import record_for, spot

A, B = "a" * 64, "b" * 64


@pytest.fixture
def ledger(tmp_path):
    with closing(Ledger(tmp_path / FILE)) as made:
        yield made


def answer(name="a.jpg", sha256=A, standing="bright", score=82.0):
    record = record_for(b"photo", spot()).model_copy(update={"standing": Standing(standing), "score": score})
    return Done(1, name, sha256, record.model_dump_json(), thumbnail=b"picture")


def error(name="a.jpg", sha256=A):
    return Done(1, name, sha256, broken_record(name, "not_a_photo", "is none").model_dump_json(), "not_a_photo")


def add(ledger, done, stamp="1", look="today"):
    ledger.add(Item(done.name, stamp=stamp), look, done)


def test_a_file_is_done_in_the_state_in_which_it_was_answered(ledger):
    add(ledger, answer())
    asked = [("1", "today"), ("2", "today"), ("1", "tomorrow")]
    assert [ledger.is_done(Item("a.jpg", stamp=stamp), look) for stamp, look in asked] == [True, False, False]


def test_a_file_that_could_not_be_read_is_not_done(ledger):
    add(ledger, error(sha256=""))
    assert not ledger.is_done(Item("a.jpg", stamp="1"), "today")


def test_a_damaged_photo_is_done(ledger):
    add(ledger, error())
    assert ledger.is_done(Item("a.jpg", stamp="1"), "today")


def test_other_bytes_of_a_file_are_kept_beside_the_present_ones(ledger):
    add(ledger, answer())
    add(ledger, answer(sha256=B), stamp="2")
    assert [[row.sha256 for row in rows] for rows in (ledger.rows(), ledger.earlier())] == [[B], [A]]


def test_the_answer_under_another_look_is_kept_beside_the_present_one(ledger):
    add(ledger, answer())
    add(ledger, answer(), look="tomorrow")
    assert [[row.look for row in rows] for rows in (ledger.rows(), ledger.earlier())] == [["tomorrow"], ["today"]]


def test_bytes_that_come_back_need_no_new_answer(ledger):
    add(ledger, answer())
    add(ledger, answer(sha256=B), stamp="2")
    assert ledger.known("a.jpg", "today") == {A, B}
    add(ledger, Done(1, "a.jpg", A), stamp="3")
    assert [row.sha256 for row in ledger.rows()] == [A]


def test_an_answer_takes_the_place_of_a_file_that_could_not_be_read(ledger):
    add(ledger, error(sha256=""))
    add(ledger, answer())
    assert (ledger.counts()["error"], list(ledger.earlier())) == (0, [])


def test_names_that_differ_in_anything_are_two_files(ledger):
    names = ["s\u00e4ge.jpg", "sa\u0308ge.jpg", "S\u00e4ge.jpg", "\udcff.jpg"]
    for name in names:
        add(ledger, answer(name))
    assert sorted(row.name for row in ledger.rows()) == sorted(names)


def test_rows_come_by_name_whatever_the_order_of_work(ledger):
    for name in ("c", "a", "b"):
        add(ledger, answer(name))
    assert [row.name for row in ledger.rows()] == ["a", "b", "c"]


def test_worst_comes_first(ledger):
    add(ledger, answer("clean", standing="bright"))
    add(ledger, answer("bad", standing="residue left", score=40.0))
    add(ledger, error("broken"))
    add(ledger, answer("less bad", standing="residue left", score=60.0))
    add(ledger, answer("unfit", standing="retake"))
    add(ledger, answer("doubtful", standing="cannot tell"))
    order = ["broken", "unfit", "bad", "less bad", "doubtful", "clean"]
    assert [row.name for row, _ in ledger.worst_first()] == order


def test_pictures_come_with_the_worst(ledger):
    add(ledger, answer())
    assert [small for _, small in ledger.worst_first()] == [b"picture"]


def test_counts_are_those_of_the_present_answers(ledger):
    add(ledger, answer(standing="bright"))
    add(ledger, answer(sha256=B, standing="retake"), stamp="2")
    assert ledger.counts() == {"error": 0, "retake": 1, "residue left": 0, "cannot tell": 0, "bright": 0}


def test_a_place_in_the_log_stays_with_its_answer(ledger):
    add(ledger, answer())
    (row,) = ledger.rows()
    ledger.place(row, Placed("J-0001", "1", 2, "Ola", 7))
    assert [one.placed for one in ledger.rows()] == [Placed("J-0001", "1", 2, "Ola", 7)]
    add(ledger, answer(sha256=B), stamp="2")
    assert [one.placed for one in ledger.rows()] == [None]


def test_what_was_added_is_there_after_the_process_was_killed(tmp_path):
    code = (
        "import os, sys; from pathlib import Path; from prepcheck.batch.ledger import Ledger\n"
        "from tests.batch.test_ledger import add, answer\n"
        "ledger = Ledger(Path(sys.argv[1]))\n"
        "for name in 'abc': add(ledger, answer(name))\n"
        "ledger._base.execute('BEGIN'); ledger._base.execute('DELETE FROM answers'); os.kill(os.getpid(), 9)"
    )
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path / FILE)], check=False)
    with closing(Ledger(tmp_path / FILE)) as ledger:
        assert (done.returncode, [row.name for row in ledger.rows()]) == (-9, ["a", "b", "c"])


def test_a_second_batch_is_kept_out(ledger, tmp_path):
    with pytest.raises(StoreBusy, match="another batch works in this folder"):
        Ledger(tmp_path / FILE)


def test_what_is_no_ledger_is_refused(tmp_path):
    (tmp_path / FILE).write_bytes(b"something else" * 99)
    with pytest.raises(StoreFault, match="is no ledger"):
        Ledger(tmp_path / FILE)


def test_the_ledger_of_a_newer_version_is_refused(tmp_path):
    with closing(sqlite3.connect(tmp_path / FILE)) as base:
        base.execute("PRAGMA user_version=99")
    with pytest.raises(StoreNewer):
        Ledger(tmp_path / FILE)
