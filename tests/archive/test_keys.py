"""The shop's key: made once, kept for its owner alone, handed over with a signature."""

from __future__ import annotations

import json
import os
import threading
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from prepcheck.archive import keys
from prepcheck.errors import NameClash, StoreFault
from tests.archive.sealed import AT

# RFC 8032, section 7.1, TEST 1 to 3. Key pair 1 and private key 2: SEEN; the rest from memory and equal when computed
# (6.10 of the reference tables): private key, public key, message, signature.
RFC_8032 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
]
owners_only = pytest.mark.skipif(os.name == "nt", reason="rights of files are others on Windows")


def file(store: Path) -> Path:
    return store / "keys" / "shop-key.json"


@pytest.mark.parametrize(("private", "public", "message", "signature"), RFC_8032)
def test_the_published_signatures_are_made_and_hold(private, public, message, signature):
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(private))
    shop = keys.ShopKey(key, (keys.PublicKey(public_key=public, since="2026"),))
    assert shop.sign(bytes.fromhex(message)).hex() == signature
    assert keys.holds(public, bytes.fromhex(signature), bytes.fromhex(message))


@pytest.mark.parametrize(("private", "public", "message", "signature"), RFC_8032)
def test_a_published_signature_does_not_hold_for_anything_else(private, public, message, signature):
    assert not keys.holds(public, bytes.fromhex(signature), bytes.fromhex(message) + b"!")


@pytest.mark.parametrize("public", ["00" * 31, "ff" * 32, "", "zz" * 32])
def test_what_is_no_key_signs_nothing(public):
    assert not keys.holds(public, b"\0" * 64, b"")


def test_a_key_is_made_on_first_use_and_stays(tmp_path):
    assert keys.shop_key(tmp_path, AT).public == keys.shop_key(tmp_path, AT).public


def test_two_shops_have_two_keys(tmp_path):
    assert keys.shop_key(tmp_path / "a", AT).public != keys.shop_key(tmp_path / "b", AT).public


def test_many_that_make_the_first_key_at_once_get_the_same_one(tmp_path):
    found: set[str] = set()
    threads = [threading.Thread(target=lambda: found.add(keys.shop_key(tmp_path, AT).public)) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 1
    assert [path.name for path in (tmp_path / "keys").iterdir()] == ["shop-key.json"]


@owners_only
def test_file_and_folder_are_for_their_owner_alone(tmp_path):
    os.umask(0)
    try:
        keys.shop_key(tmp_path, AT)
    finally:
        os.umask(0o022)
    assert file(tmp_path).stat().st_mode & 0o777 == 0o600
    assert file(tmp_path).parent.stat().st_mode & 0o777 == 0o700


@owners_only
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620, 0o666])
def test_a_key_that_others_can_use_is_refused(tmp_path, mode):
    keys.shop_key(tmp_path, AT)
    file(tmp_path).chmod(mode)
    with pytest.raises(StoreFault, match="by others than its owner"):
        keys.shop_key(tmp_path, AT)


@owners_only
def test_a_folder_that_others_can_use_is_refused(tmp_path):
    keys.shop_key(tmp_path, AT)
    file(tmp_path).parent.chmod(0o755)
    with pytest.raises(StoreFault, match="by others than its owner"):
        keys.shop_key(tmp_path, AT)


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"version": 2}', "x" * 10, "[" * 100_000])
def test_a_damaged_key_is_refused_and_not_replaced(tmp_path, text):
    keys.shop_key(tmp_path, AT)
    file(tmp_path).write_text(text)
    with pytest.raises(StoreFault, match="no whole key"):
        keys.shop_key(tmp_path, AT)
    assert file(tmp_path).read_text() == text


def test_a_private_key_that_is_not_the_last_public_one_is_refused(tmp_path):
    keys.shop_key(tmp_path, AT)
    told = json.loads(file(tmp_path).read_text())
    file(tmp_path).write_text(json.dumps({**told, "private_key": "11" * 32}))
    with pytest.raises(StoreFault, match="no whole key"):
        keys.shop_key(tmp_path, AT)


def test_the_fingerprint_is_eight_groups_of_five_digits(tmp_path):
    groups = keys.shop_key(tmp_path, AT).fingerprint.split(" ")
    assert [len(group) for group in groups] == [5] * 8
    assert all(group.isdecimal() for group in groups)


def test_the_fingerprint_of_a_published_key_as_computed_by_hand():
    # the public key of RFC 8032, TEST 1; computed apart, with sha256sum and the big integers of another language
    assert keys.fingerprint(RFC_8032[0][1]) == "86851 50966 57447 05613 11816 57942 02430 42745"


def test_printing_a_key_does_not_show_the_private_part(tmp_path):
    key = keys.shop_key(tmp_path, AT)
    assert json.loads(file(tmp_path).read_text())["private_key"] not in repr(key)


def test_a_new_key_is_signed_by_the_old_one_which_is_given_up(tmp_path):
    old = keys.shop_key(tmp_path, AT)
    new = keys.rotate(tmp_path, AT)
    assert [key.public_key for key in new.public_keys] == [old.public, new.public]
    assert keys.chain_holds(new.public_keys)
    assert keys.shop_key(tmp_path, AT).public == new.public
    assert old._private.private_bytes_raw().hex() not in file(tmp_path).read_text()


def test_rotating_twice_keeps_all_public_keys(tmp_path):
    first = keys.shop_key(tmp_path, AT)
    keys.rotate(tmp_path, AT)
    assert keys.rotate(tmp_path, AT).public_keys[0] == first.public_keys[0]
    assert len(keys.shop_key(tmp_path, AT).public_keys) == 3


@pytest.mark.parametrize("change", [{"since": "1999"}, {"public_key": "11" * 32}, {"signed_by_earlier": ""}])
def test_a_changed_handover_does_not_hold(tmp_path, change):
    first, second = keys.rotate(tmp_path, AT).public_keys
    assert not keys.chain_holds((first, second.model_copy(update=change)))


@owners_only
def test_rotating_keeps_the_rights(tmp_path):
    keys.rotate(tmp_path, AT)
    assert file(tmp_path).stat().st_mode & 0o777 == 0o600


def test_a_backup_put_back_is_the_same_key(tmp_path):
    key = keys.backup(tmp_path / "store", tmp_path / "backup.json", AT)
    file(tmp_path / "store").unlink()
    file(tmp_path / "store").write_bytes((tmp_path / "backup.json").read_bytes())
    file(tmp_path / "store").chmod(0o600)
    assert keys.shop_key(tmp_path / "store", AT).public == key.public


@owners_only
def test_a_backup_is_for_its_owner_alone(tmp_path):
    keys.backup(tmp_path / "store", tmp_path / "backup.json", AT)
    assert (tmp_path / "backup.json").stat().st_mode & 0o777 == 0o600


def test_a_backup_replaces_nothing(tmp_path):
    (tmp_path / "backup.json").write_text("something else")
    with pytest.raises(NameClash, match="replaces nothing"):
        keys.backup(tmp_path / "store", tmp_path / "backup.json", AT)


def test_a_place_that_cannot_hold_a_key_is_one_line(tmp_path):
    (tmp_path / "store").write_text("not a folder")
    with pytest.raises(StoreFault):
        keys.shop_key(tmp_path / "store", AT)


def test_a_backup_into_no_folder_is_one_line(tmp_path):
    with pytest.raises(StoreFault):
        keys.backup(tmp_path / "store", tmp_path / "nowhere" / "backup.json", AT)
