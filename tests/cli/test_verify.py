"""Verifying on the command line: the words, the exit codes, and that no log is needed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.archive import sealed as s
from tests.command import Command


@pytest.fixture
def bag(tmp_path) -> Path:
    return s.opened(s.sealed(tmp_path / "bag").path)


def test_no_fault_is_code_0_and_says_the_depth(command, bag):
    done = command("verify", "bag")
    assert done.code == 0
    assert done.out.endswith('No fault found at depth "signed".\n')
    assert "time: the shop's own word" in done.out
    assert "J-0001, sealed 2026-11-24 11:00:00 UTC, 4 entries of the job" in done.out


def test_faults_are_code_1_and_each_is_a_line(command, bag):
    (bag / "data/log.json").unlink()
    (bag / "more").write_text("x")
    done = command("verify", "bag")
    assert done.code == 1
    assert "fault (missing): data/log.json: is listed in manifest-sha256.txt and not there" in done.out
    assert "fault (added): more: is listed in no manifest" in done.out
    assert done.out.endswith("faults found.\n")


def test_one_fault_is_told_in_the_singular(command, bag):
    (bag / "more").write_text("x")
    assert command("verify", "bag").out.endswith("1 fault found.\n")


def test_what_cannot_be_read_is_code_3_and_one_line(command):
    done = command("verify", "nothing")
    assert done.code == 3
    assert "cannot be read" in done.complaint


@pytest.mark.parametrize(
    ("depth", "said"),
    [("complete", "no hash was computed"), ("intact", "no signature looked at"), ("signed", "the sequence of the log")],
)
def test_each_depth_says_what_was_looked_at(command, bag, depth, said):
    done = command("verify", "bag", "--depth", depth)
    assert (done.code, said in done.out) == (0, True)
    assert f'No fault found at depth "{depth}".' in done.out


def test_another_depth_is_wrong_use(command, bag):
    assert command("verify", "bag", "--depth", "deep").code == 2


def test_a_changed_byte_is_not_seen_at_depth_complete_which_says_so(command, bag):
    data = bytearray((bag / "data/keys.json").read_bytes())
    data[5] ^= 1
    (bag / "data/keys.json").write_bytes(data)
    assert command("verify", "bag", "--depth", "complete").code == 0
    assert command("verify", "bag", "--depth", "intact").code == 1


def test_the_expected_key_can_be_given_or_pinned(command, bag, monkeypatch):
    right, wrong = s.shop(bag.parent).fingerprint, s.shop(bag.parent / "other").fingerprint
    assert command("verify", "bag", "--key", right).code == 0
    assert command("verify", "bag", "--key", wrong).code == 1
    monkeypatch.setenv("PREPCHECK_KEY", wrong)
    done = command("verify", "bag")
    assert (done.code, "fault (key)" in done.out) == (1, True)
    assert command("verify", "bag", "--depth", "intact").code == 0


def test_what_is_no_key_is_wrong_use(command, bag):
    done = command("verify", "bag", "--key", "12")
    assert (done.code, "no fingerprint" in done.complaint) == (2, True)


def test_json_tells_all(command, bag):
    (bag / "more").write_text("x")
    done = command("verify", "bag", "--json")
    told = json.loads(done.out)
    assert done.code == 1
    assert told["faults"] == [{"kind": "added", "where": "more", "what": "is listed in no manifest"}]
    assert told["depth"] == "signed"
    assert told["head"]["job"] == "J-0001"


def test_no_store_is_made_or_needed(command, bag):
    assert command("verify", "bag").code == 0
    assert not (command.folder / "store").exists()


def test_a_name_with_control_characters_is_shown_escaped(command: Command, bag):
    (bag / "evil\x1b[31m\nname").write_text("x")
    out = command("verify", "bag").out
    assert "evil\\x1b[31m\\nname" in out
    assert "\x1b" not in out


def test_the_words_give_no_verdict(command, bag):
    out = command("verify", "bag").out.lower()
    assert not {"valid", "safe", "ok", "pass", "passed"} & set(out.replace(".", " ").split())


def test_a_certificate_that_is_not_there_is_one_line(command, bag):
    done = command("verify", "bag", "--authority", "nothing.pem")
    assert (done.code, "cannot be read" in done.complaint) == (3, True)
