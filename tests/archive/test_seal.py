"""What a seal puts into a bag."""

from __future__ import annotations

import hashlib
import io
import json
import subprocess
from pathlib import Path

import pytest
import rfc8785
from PIL import Image

from prepcheck.archive.seal import LEFT_OUT, ModelIn, PhotoIn, check_page
from prepcheck.archive.statement import sha256
from prepcheck.archive.verify import COPIES
from prepcheck.merkle import root
from prepcheck.photo.exif import read_exif
from tests.archive import sealed as s
from tests.archive.test_without_position import photo


@pytest.fixture(scope="module")
def bag(tmp_path_factory) -> Path:
    return s.sealed(tmp_path_factory.mktemp("shop") / "bag", s.evidence(reports={"report.pdf": b"%PDF"})).path


def told(bag: Path, name: str):
    return json.loads((bag / name).read_bytes())


def test_every_json_file_is_canonical(bag):
    for path in bag.rglob("*.json"):
        if "models" not in path.parent.name:  # a card is kept as it ships
            assert rfc8785.dumps(json.loads(path.read_bytes())) == path.read_bytes(), path


def test_the_head_tells_the_job_the_tree_and_the_program(bag):
    head = told(bag, "head.json")
    assert (head["job"], head["entries"], head["size"]) == ("J-0001", 4, 6)
    assert head["root"] == root([bytes.fromhex(leaf.hash) for leaf in s.log()]).hex()
    assert head["program"].startswith("prepcheck ")
    assert head["time_is"] == "the shop's own word"
    assert head["previous"] is None


def test_the_head_names_the_payload_manifest(bag):
    assert told(bag, "head.json")["manifest_sha256"] == sha256((bag / "manifest-sha256.txt").read_bytes())


def test_the_signature_is_over_head_and_tag_manifest_in_lines_of_sha256sum(bag):
    lines = [f"{sha256((bag / name).read_bytes())}  {name}\n" for name in ("head.json", "tagmanifest-sha256.txt")]
    key = s.shop(bag.parent)
    assert (bag / "head.sig").read_bytes() == key.sign(("prepcheck seal 1\n" + "".join(lines)).encode())


def test_openssl_finds_that_the_signature_holds(bag, tmp_path):
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(told(bag, "head.json")["public_key"]))
    pem = public.public_bytes(serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo)
    (tmp_path / "key.pem").write_bytes(pem)
    lines = [f"{sha256((bag / name).read_bytes())}  {name}\n" for name in ("head.json", "tagmanifest-sha256.txt")]
    (tmp_path / "message").write_text("prepcheck seal 1\n" + "".join(lines))
    command = ["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", tmp_path / "key.pem", "-rawin"]
    try:
        done = subprocess.run(
            [*command, "-in", tmp_path / "message", "-sigfile", bag / "head.sig"], capture_output=True, text=True
        )
    except FileNotFoundError:
        pytest.skip("openssl is not there")
    assert "Verified Successfully" in done.stdout


def test_only_entries_of_the_job_and_names_of_its_people_are_in_the_bag(bag):
    log = told(bag, "data/log.json")
    assert [entry["index"] for entry in log["entries"]] == [1, 2, 4, 5]
    assert [json.loads(entry["text"])["name"] for entry in log["people"]] == ["Ola"]
    assert "another job's note" not in (bag / "data/log.json").read_text()


def test_an_entry_can_be_checked_by_hand(bag):
    entry = told(bag, "data/log.json")["entries"][0]
    salted = b"\0" + bytes.fromhex(entry["salt"]) + entry["text"].encode()
    assert hashlib.sha256(salted).hexdigest() == entry["hash"]


def test_records_lie_under_the_number_of_their_inspection(bag):
    assert (bag / "data/records/inspection-000001.json").read_bytes() == s.RECORD


def test_models_are_named_with_hash_and_card(bag):
    (line,) = told(bag, "data/models.json")["models"]
    assert (line["name"], line["sha256"]) == ("eye-3", "e" * 64)
    assert (bag / "data" / line["card"]).read_bytes() == b'{"limits": "told here"}'


def test_a_model_without_a_card_at_hand_is_still_named(tmp_path):
    bag = s.sealed(tmp_path / "bag", s.evidence(models=[ModelIn("eye-0", "0" * 64, None)])).path
    assert told(bag, "data/models.json")["models"] == [{"card": None, "name": "eye-0", "sha256": "0" * 64}]


def test_reports_go_in_as_they_are(bag):
    assert (bag / "data/report/report.pdf").read_bytes() == b"%PDF"


def test_the_public_keys_go_in_and_no_private_one(bag):
    private = json.loads((bag.parent / "keys/shop-key.json").read_text())["private_key"]
    assert [key["public_key"] for key in told(bag, "data/keys.json")["keys"]] == [s.shop(bag.parent).public]
    assert all(private.encode() not in path.read_bytes() for path in bag.rglob("*") if path.is_file())


def test_the_page_is_the_same_in_every_bag(bag, tmp_path):
    assert (bag / "check.html").read_bytes() == check_page()


# photos


def with_photo(folder: Path, data: bytes, format: str, **options: bool) -> tuple[Path, dict[str, object]]:
    """Seal a job with one photo; return the bag and the photo's line."""
    hash = sha256(data)
    record = rfc8785.dumps({"photo": {"name": "a", "sha256": hash, "format": format}}).decode()
    inspection = {"kind": "inspection", "number": 1, "at": s.minutes(5), "person": 1, "job": s.JOB}
    text = {**inspection, "photos": [hash], "record_sha256": sha256(record.encode())}
    story = s.story([text], {1: record}, "erased person 1")
    what = s.evidence([s.leaf(0, 1, text)], records={1: record}, photos=[PhotoIn(hash, format, ("a",))], story=story)
    at = s.AT.replace(hour=11)
    from prepcheck.archive.seal import seal

    bag = seal(what, s.shop(folder), folder / "bag", at=at, photo_bytes=lambda _: data, **options).path
    assert s.faults(bag) == []
    return bag, told(bag, "data/photos.json")["photos"][0]


def test_a_photo_goes_in_as_a_copy_without_position_with_its_original_hash(tmp_path):
    data = photo("JPEG")
    bag, line = with_photo(tmp_path, data, "JPEG")
    copy = (bag / "data" / line["file"]).read_bytes()
    with Image.open(io.BytesIO(copy)) as image:
        assert read_exif(image.info["exif"]).position is None
    assert (line["sha256"], line["file_sha256"], line["original"]) == (sha256(data), sha256(copy), False)
    assert f"photos that are copies without position: 1. {COPIES}" in s.looked(bag).told


def test_with_position_the_original_goes_in(tmp_path):
    data = photo("JPEG")
    bag, line = with_photo(tmp_path, data, "JPEG", with_position=True)
    assert (bag / "data" / line["file"]).read_bytes() == data
    assert line["original"]


@pytest.mark.parametrize("format", ["HEIC", "MP4", "TIFF"])
def test_what_cannot_be_copied_without_position_is_left_out_with_hash_and_reason(tmp_path, format):
    bag, line = with_photo(tmp_path, b"not looked into", format)
    assert line["file"] is None
    assert (line["sha256"], line["left_out"]) == (sha256(b"not looked into"), LEFT_OUT)
    assert any(LEFT_OUT in said for said in s.looked(bag).told)


@pytest.mark.parametrize(("format", "suffix"), [("HEIC", ".heic"), ("MP4", ".mp4"), ("MOV", ".mov"), ("?", ".bin")])
def test_with_position_every_format_goes_in_under_its_suffix(tmp_path, format, suffix):
    _, line = with_photo(tmp_path, b"not looked into", format, with_position=True)
    assert str(line["file"]).endswith(suffix)


# one after the other


def test_a_later_seal_takes_over_what_earlier_ones_fixed(tmp_path):
    first = s.sealed(tmp_path / "first")
    kept = {path: path.read_bytes() for path in first.path.rglob("*") if path.is_file()}
    leaves = s.with_seal(s.log(), first.sealed, 60)
    second = s.sealed(tmp_path / "second", s.evidence(leaves, earlier=[s.logged(first.sealed)]), at=90)
    assert {path: path.read_bytes() for path in kept} == kept
    head = told(second.path, "head.json")
    assert head["previous"] == {
        "manifest_sha256": first.sealed.manifest_sha256, "root": first.sealed.root, "size": first.sealed.size
    }  # fmt: skip
    assert s.faults(second.path, after=first.path) == []


def test_a_third_seal_can_be_held_against_the_first(tmp_path):
    first = s.sealed(tmp_path / "first")
    leaves = s.with_seal(s.log(), first.sealed, 60)
    second = s.sealed(tmp_path / "second", s.evidence(leaves, earlier=[s.logged(first.sealed)]), at=70)
    leaves = s.with_seal(leaves, second.sealed, 70)
    earlier = [s.logged(first.sealed), s.logged(second.sealed, 70)]
    third = s.sealed(tmp_path / "third", s.evidence(leaves, earlier=earlier), at=80)
    assert s.faults(third.path, after=first.path) == []
    assert s.faults(third.path, after=second.path) == []


def test_sealing_the_same_at_the_same_time_gives_the_same_bag(tmp_path):
    one, other = s.sealed(tmp_path / "one"), s.sealed(tmp_path / "other")
    assert one.sealed.manifest_sha256 == other.sealed.manifest_sha256
