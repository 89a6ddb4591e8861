"""The shop's key on the command line."""

from __future__ import annotations

import json

from tests.archive.sealed import shop


def test_showing_makes_a_key_and_reads_out_its_number(command):
    done = command("key", "show")
    key = shop(command.folder / "store")
    assert done.out.startswith(f"Key of this shop, to read out: {key.fingerprint}\n")
    assert key.public in done.out


def test_json_tells_all_public_keys_and_no_private_one(command):
    command("key", "rotate")
    told = json.loads(command("key", "show", "--json").out)
    assert [one["public_key"] for one in told] == [key.public_key for key in shop(command.folder / "store").public_keys]
    assert "private" not in str(told)


def test_rotating_tells_the_new_number_and_the_one_before(command):
    before = shop(command.folder / "store").fingerprint
    out = command("key", "rotate").out
    assert out.startswith(f"Key of this shop, to read out: {shop(command.folder / 'store').fingerprint}\n")
    assert f"before it: {before}" in out


def test_a_backup_says_how_it_is_put_back(command):
    done = command("key", "backup", "key-backup.json")
    assert "to put it back, copy it to" in done.out
    assert (command.folder / "key-backup.json").read_bytes() == (
        command.folder / "store/keys/shop-key.json"
    ).read_bytes()


def test_a_backup_replaces_nothing(command):
    command("key", "backup", "key-backup.json")
    done = command("key", "backup", "key-backup.json")
    assert (done.code, "replaces nothing" in done.complaint) == (2, True)


def test_a_key_that_others_can_read_is_one_line_that_says_what_to_do(command):
    shop(command.folder / "store")
    (command.folder / "store/keys/shop-key.json").chmod(0o644)
    done = command("key", "show")
    assert (done.code, "chmod go-rwx" in done.complaint) == (3, True)
