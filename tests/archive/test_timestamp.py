"""Timestamps of others, made by a local authority: asked for, checked, kept in the bag."""

from __future__ import annotations

import shutil
import subprocess
import sys
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from prepcheck.archive.timestamp import BadTimestamp, keep_reply, query, read_reply
from prepcheck.errors import BrokenBag, MissingDecoder, NameClash, WrongUse
from tests.archive import sealed as s

OPENSSL = shutil.which("openssl")
pytestmark = pytest.mark.skipif(OPENSSL is None, reason="no openssl to play the authority")

SETTINGS = """
[tsa]
default_tsa = here
[here]
serial = {folder}/serial
certs = {folder}/authority.pem
signer_cert = {folder}/authority.pem
signer_key = {folder}/authority.key
signer_digest = sha256
default_policy = 1.2.3.4
digests = sha256, sha512
ess_cert_id_chain = no
ess_cert_id_alg = sha256
"""
EXTENSIONS = "extendedKeyUsage=critical,timeStamping\nkeyUsage=critical,digitalSignature\n"


class Authority:
    """A timestamp authority with a root of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.root = folder / "root.pem"
        self._make()

    def reply(self, request: bytes) -> bytes:
        """Answer a query."""
        (self.folder / "query").write_bytes(request)
        openssl("ts", "-reply", "-config", self.folder / "ts.cnf", "-queryfile", self.folder / "query",
                "-out", self.folder / "reply")  # fmt: skip
        return (self.folder / "reply").read_bytes()

    def _make(self) -> None:
        f = self.folder
        openssl("req", "-x509", "-newkey", "ed25519", "-nodes", "-keyout", f / "root.key", "-out", self.root,
                "-subj", "/CN=Invented root", "-days", "3650")  # fmt: skip
        openssl("req", "-newkey", "rsa:2048", "-nodes", "-keyout", f / "authority.key", "-out", f / "authority.csr",
                "-subj", "/CN=Invented time authority")  # fmt: skip
        (f / "extensions").write_text(EXTENSIONS)
        openssl("x509", "-req", "-in", f / "authority.csr", "-CA", self.root, "-CAkey", f / "root.key", "-CAcreateserial",
                "-extfile", f / "extensions", "-out", f / "authority.pem", "-days", "3650")  # fmt: skip
        (f / "serial").write_text("01\n")
        (f / "ts.cnf").write_text(SETTINGS.format(folder=f))


def openssl(*arguments: object) -> None:
    subprocess.run([str(OPENSSL), *map(str, arguments)], check=True, capture_output=True)


@pytest.fixture(scope="module")
def authority(tmp_path_factory) -> Authority:
    return Authority(tmp_path_factory.mktemp("authority"))


@pytest.fixture(scope="module")
def stranger(tmp_path_factory) -> Authority:
    return Authority(tmp_path_factory.mktemp("stranger"))


@pytest.fixture(params=["bag", "bag.zip"])
def bag(request, tmp_path) -> Path:
    """A bag sealed just now, as folder and as zip file."""
    what = s.evidence()
    ago = (datetime.now(UTC) - s.AT).total_seconds() // 60
    return s.sealed(tmp_path / request.param, what, at=int(ago), as_zip=request.param.endswith("zip")).path


@pytest.fixture
def reply(bag, authority) -> bytes:
    return authority.reply(query(bag))


def test_a_reply_is_kept_in_the_bag_which_still_has_no_fault(bag, reply, authority):
    stamp = keep_reply(bag, reply, authority.root.read_bytes())
    assert abs(stamp.at - datetime.now(UTC)) < timedelta(minutes=5)
    assert (stamp.authority, stamp.proved) == ("CN=Invented time authority", True)
    assert s.faults(bag, authority=authority.root.read_bytes()) == []


def test_the_time_then_rests_on_the_authority(bag, reply, authority):
    keep_reply(bag, reply)
    said = s.looked(bag, authority=authority.root.read_bytes()).time_rests_on
    assert said.startswith("a timestamp: signed no later than ")
    assert said.endswith("says CN=Invented time authority")


def test_without_a_certificate_the_time_is_still_the_shops_own_word(bag, reply):
    assert not keep_reply(bag, reply).proved
    said = s.looked(bag).time_rests_on
    assert said.startswith("the shop's own word: a timestamp in the bag names ")
    assert said.endswith("not proved until its authority's certificate is given")


def test_a_time_changed_in_the_reply_is_a_fault(bag, reply, authority):
    keep_reply(bag, reply)
    year = b"\x18\x0f" + str(datetime.now(UTC).year).encode()
    path = bag / "head.tsr" if bag.is_dir() else bag
    assert path.read_bytes().count(year) == 1
    s.opened_file(path).write_bytes(path.read_bytes().replace(year, b"\x18\x0f2031"))
    assert ("time", "head.tsr") in s.faults(bag, authority=authority.root.read_bytes())


def test_an_authority_that_is_not_the_trusted_one_is_a_fault(bag, reply, stranger):
    keep_reply(bag, reply)
    found = s.looked(bag, authority=stranger.root.read_bytes())
    assert [(fault.kind, fault.where) for fault in found.faults] == [("time", "head.tsr")]
    assert found.time_rests_on.startswith("the shop's own word")


def test_a_reply_of_an_authority_that_is_not_the_trusted_one_is_not_kept(bag, reply, stranger):
    with pytest.raises(WrongUse, match="no timestamp of this bag"):
        keep_reply(bag, reply, stranger.root.read_bytes())
    assert "no timestamp" in s.looked(bag).time_rests_on


def test_a_reply_for_another_bag_is_not_kept(bag, authority, tmp_path):
    other = s.sealed(tmp_path / "other", at=61).path
    with pytest.raises(WrongUse, match="no timestamp of this bag"):
        keep_reply(bag, authority.reply(query(other)))


@pytest.mark.parametrize("data", [b"", b"nonsense", b"\x30\x03\x02\x01\x02"])
def test_what_is_no_reply_is_not_kept(bag, data):
    with pytest.raises(WrongUse, match="no timestamp of this bag"):
        keep_reply(bag, data)


def test_a_refusal_is_no_timestamp(bag, authority):
    signature = b"x" * 64
    refused = authority.reply(b"no query at all")
    with pytest.raises(BadTimestamp):
        read_reply(refused, signature)


@pytest.mark.parametrize("at", range(10, 1500, 97))
def test_a_changed_byte_never_raises_anything_else(bag, reply, at):
    changed = bytearray(reply)
    changed[at % len(changed)] ^= 0x41
    try:
        read_reply(bytes(changed), b"x" * 64)
    except BadTimestamp:
        return
    raise AssertionError("a timestamp of something else was taken")


def test_a_second_timestamp_does_not_replace_the_first(bag, reply, authority):
    keep_reply(bag, reply)
    with pytest.raises(NameClash, match="not replaced"):
        keep_reply(bag, authority.reply(query(bag)))


def test_a_timestamp_before_the_seal_is_a_fault(tmp_path, authority):
    later = int((datetime.now(UTC) - s.AT).total_seconds() // 60) + 60
    bag = s.sealed(tmp_path / "bag", at=later).path
    keep_reply(bag, authority.reply(query(bag)))
    assert s.faults(bag) == [("time", "head.tsr")]


def test_what_is_no_certificate_is_wrong_use(bag, reply):
    with pytest.raises(WrongUse, match="no certificate"):
        keep_reply(bag, reply, b"nonsense")


def test_what_has_no_signature_gets_no_query(tmp_path):
    with pytest.raises(BrokenBag, match="no signature"):
        query(tmp_path)


def test_a_zip_file_keeps_its_other_entries_byte_for_byte(tmp_path, authority):
    bag = s.sealed(tmp_path / "bag.zip", at=int((datetime.now(UTC) - s.AT).total_seconds() // 60), as_zip=True).path
    before = contents(bag)
    keep_reply(bag, authority.reply(query(bag)))
    after = contents(bag)
    assert set(after) - set(before) == {"bag/head.tsr"}
    assert {name: after[name] for name in before} == before


def contents(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as file:
        return {name: file.read(name) for name in file.namelist()}


def test_without_the_extra_the_timestamp_stays_and_that_is_said(bag, reply, monkeypatch):
    keep_reply(bag, reply)
    monkeypatch.setitem(sys.modules, "rfc3161_client", None)
    found = s.looked(bag)
    assert found.faults == ()
    assert found.time_rests_on.endswith("needs prepcheck[timestamp]")
    with pytest.raises(MissingDecoder, match="optional part"):
        query(bag)
