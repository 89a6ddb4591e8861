"""Timestamps on the command line; the authority itself is played in tests/archive/test_timestamp.py."""

from __future__ import annotations

import pytest

from tests.archive import sealed as s
from tests.archive.test_timestamp import OPENSSL, Authority


@pytest.fixture
def bag(command):
    return s.sealed(command.folder / "bag").path


def test_the_query_is_written_and_says_where_to_send_it(command, bag):
    done = command("timestamp", "bag", "--request", "bag.tsq")
    assert done.code == 0
    assert "application/timestamp-query" in done.out
    assert (command.folder / "bag.tsq").read_bytes()[:1] == b"\x30"


def test_a_query_replaces_nothing(command, bag):
    (command.folder / "bag.tsq").write_text("something else")
    done = command("timestamp", "bag", "--request", "bag.tsq")
    assert (done.code, "is there already" in done.complaint) == (2, True)


@pytest.mark.parametrize("options", [(), ("--request", "a", "--reply", "b")])
def test_either_a_query_or_a_reply_is_asked_for(command, bag, options):
    done = command("timestamp", "bag", *options)
    assert (done.code, "either --request or --reply" in done.complaint) == (2, True)


def test_what_is_no_reply_is_one_line(command, bag):
    (command.folder / "bag.tsr").write_text("nonsense")
    done = command("timestamp", "bag", "--reply", "bag.tsr")
    assert (done.code, "no timestamp of this bag" in done.complaint) == (2, True)


def test_a_reply_that_is_not_there_is_one_line(command, bag):
    done = command("timestamp", "bag", "--reply", "nothing.tsr")
    assert (done.code, "cannot be read" in done.complaint) == (3, True)


@pytest.mark.skipif(OPENSSL is None, reason="no openssl to play the authority")
def test_from_query_to_a_proved_time(command, bag, tmp_path_factory):
    authority = Authority(tmp_path_factory.mktemp("authority"))
    command("timestamp", "bag", "--request", "bag.tsq")
    (command.folder / "bag.tsr").write_bytes(authority.reply((command.folder / "bag.tsq").read_bytes()))
    done = command("timestamp", "bag", "--reply", "bag.tsr")
    assert (done.code, "Its signature was not looked at" in done.out) == (0, True)
    found = command("verify", "bag", "--authority", authority.root)
    assert "time: a timestamp: signed no later than" in found.out
    assert found.code == 0
