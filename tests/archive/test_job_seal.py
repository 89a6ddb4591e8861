"""Sealing a job of the log: what goes in, what refuses, and that a kill or a full disk leaves nothing half."""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest

from prepcheck import tasks
from prepcheck.archive import Archive
from prepcheck.archive.bag_write import bag_place
from prepcheck.archive.job_seal import gather, seal_job
from prepcheck.archive.keys import shop_key
from prepcheck.archive.statement import sha256
from prepcheck.errors import NameClash, StoreFault, StoreFull, UnknownRecord, WrongUse
from prepcheck.settings import Settings
from prepcheck.store import LOG_FILE
from prepcheck.store.store import Store
from prepcheck.trade.entries import Note
from tests.archive import sealed as s
from tests.archive.test_without_position import photo
from tests.store.logs import copy_log, tamper
from tests.store.records import AT, PLACE, ROOT, new_log, record_for, set_of, spot

LATER = AT + timedelta(hours=1)
ONE, TWO = photo("JPEG"), photo("JPEG", quality=60)


def job(folder: Path) -> tuple[Store, Archive]:
    """Make a log with a job: two inspections, one of them of a set, a disagreement and a note."""
    folder.mkdir(exist_ok=True)
    store, archive = new_log(folder)
    tasks.log_inspection(store, archive, record_for(ONE, spot(), position=(47.1, 9.6)), ONE, **PLACE)
    where = {**PLACE, "pass_no": 2}
    tasks.log_inspection(store, archive, set_of(ONE, TWO), ONE, more_bytes=[TWO], **where)
    tasks.disagree(store, 1, standing="bright", reason="wiped it off", person="Rune", at=AT)
    store.add_event("J-0001", Note(text="ground with a new disc"), "Ola", AT)
    return store, archive


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """The folder of the log, made once and copied for each test."""
    folder = tmp_path_factory.mktemp("made")
    job(folder)
    return folder


@pytest.fixture
def logged(made, tmp_path) -> tuple[Store, Archive]:
    shutil.copytree(made, tmp_path / "store")
    copy_log(made, tmp_path / "store")
    return tasks.open_log(tmp_path / "store", Settings())


def seal(logged: tuple[Store, Archive], out: Path, minutes: int = 60, **options):
    return seal_job(*logged, "J-0001", out, person="Ola", at=AT + timedelta(minutes=minutes), **options)


def test_a_sealed_job_has_no_fault_and_all_that_was_logged(logged, tmp_path):
    done = seal(logged, tmp_path / "bag", report_files={"report.pdf": b"%PDF"})
    assert s.faults(tmp_path / "bag", key=done.fingerprint) == []
    assert (done.bag.entries, done.bag.photos) == (5, 2)
    story = json.loads((tmp_path / "bag/data/job.json").read_bytes())
    assert story["events"][0]["entry"]["text"] == "ground with a new disc"
    assert len(list((tmp_path / "bag/data/records").iterdir())) == 2


def test_the_names_of_all_who_took_part_are_in_the_bag(logged, tmp_path):
    seal(logged, tmp_path / "bag")
    people = json.loads((tmp_path / "bag/data/log.json").read_bytes())["people"]
    assert {json.loads(one["text"])["name"] for one in people} == {"Ida", "Ola", "Rune"}


def test_no_position_is_in_the_bag_by_default(logged, tmp_path):
    seal(logged, tmp_path / "bag")
    assert all(b"47.1" not in path.read_bytes() for path in (tmp_path / "bag").rglob("*.json"))
    lines = json.loads((tmp_path / "bag/data/photos.json").read_bytes())["photos"]
    assert [line["sha256"] for line in lines] == [sha256(ONE), sha256(TWO)]
    assert not any(line["original"] for line in lines)


def test_a_zip_file_holds_the_same(logged, tmp_path):
    seal(logged, tmp_path / "bag.zip", as_zip=True)
    assert s.faults(tmp_path / "bag.zip") == []


def test_the_seal_is_logged_with_the_bag_and_the_head(logged, tmp_path):
    done = seal(logged, tmp_path / "bag")
    (told,) = logged[0].seals()
    assert (told.sealed, told.person, told.job) == (done.bag.sealed, "Ola", "J-0001")
    assert told.sealed.manifest_sha256 == sha256((tmp_path / "bag/tagmanifest-sha256.txt").read_bytes())


def test_one_seal_after_the_other_goes_on(logged, tmp_path):
    seal(logged, tmp_path / "first")
    logged[0].add_event("J-0001", Note(text="handed over"), "Ola", LATER + timedelta(minutes=5))
    seal(logged, tmp_path / "second", 70)
    seal(logged, tmp_path / "third.zip", 80, as_zip=True)
    assert s.faults(tmp_path / "second", after=tmp_path / "first") == []
    assert s.faults(tmp_path / "third.zip", after=tmp_path / "first") == []
    assert s.faults(tmp_path / "first") == []


def test_a_bag_of_another_job_goes_on_from_it_too(logged, tmp_path):
    store, _ = logged
    from prepcheck.store import NewJob

    seal(logged, tmp_path / "first")
    tasks.open_job(store, NewJob("Boat tank"), person="Ida", at=LATER)
    seal_job(*logged, "J-0002", tmp_path / "other", person="Ola", at=LATER)
    assert s.faults(tmp_path / "other", after=tmp_path / "first") == []


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE people SET name = 'Somebody'",
        "UPDATE jobs SET title = 'Another title'",
        "UPDATE jobs SET wall_mm = 9",
        "UPDATE events SET role = 'keeper'",
        "UPDATE events SET at = '2026-11-24T09:00:00+00:00'",
        "UPDATE events SET person_id = (SELECT min(id) FROM people WHERE id <> person_id)",
        "UPDATE inspections SET at = '2026-11-24T09:00:00+00:00'",
        "UPDATE inspections SET note = 'said later'",
        "UPDATE inspections SET flags = '[]'",
        "UPDATE spots SET name = 'another place'",
        "UPDATE passes SET pass_no = pass_no + 10",
        "UPDATE disagreements SET standing = 'cannot tell'",
        "INSERT INTO disagreements SELECT 9, inspection_id, person_id, 'bright', reason, at FROM disagreements",
        "DELETE FROM disagreements",
    ],
)
def test_a_fact_changed_beside_the_tree_is_not_sealed(logged, tmp_path, statement):
    behind_its_back(logged, statement)
    with pytest.raises(StoreFault, match=r"job\.json"):
        seal(logged, tmp_path / "bag")
    assert nothing_sealed(logged, tmp_path)


def test_two_that_seal_the_same_moment_are_both_gone_on_from(logged, tmp_path, monkeypatch):
    others = tasks.open_log(tmp_path / "store", Settings())
    real = logged[0].add_seal

    def late(*told, **named):
        seal(others, tmp_path / "theirs")
        return real(*told, **named)

    monkeypatch.setattr(logged[0], "add_seal", late)
    seal(logged, tmp_path / "ours")
    monkeypatch.undo()
    seal(logged, tmp_path / "next", 70)
    assert s.faults(tmp_path / "next", after=tmp_path / "ours") == []
    assert s.faults(tmp_path / "next", after=tmp_path / "theirs") == []


def test_gathering_reads_only(logged):
    before = logged[0].tree_head()
    assert gather(logged[0], "J-0001").job == "J-0001"
    assert logged[0].tree_head() == before


# what refuses


def nothing_sealed(logged, folder: Path) -> bool:
    return logged[0].seals() == [] and [path.name for path in folder.iterdir()] == ["store"]


def test_an_unknown_job_is_not_sealed(logged, tmp_path):
    with pytest.raises(UnknownRecord, match="no such job"):
        seal_job(*logged, "J-0009", tmp_path / "bag", person="Ola", at=LATER)
    assert nothing_sealed(logged, tmp_path)


def test_somebody_has_to_seal(logged, tmp_path):
    with pytest.raises(WrongUse, match="name is empty"):
        seal_job(*logged, "J-0001", tmp_path / "bag", person=" ", at=LATER)
    assert nothing_sealed(logged, tmp_path)


@pytest.mark.parametrize("name", ["a" * 201, "bag\nname", "bag\x1b"])
def test_a_name_that_cannot_be_logged_is_refused(logged, tmp_path, name):
    with pytest.raises(WrongUse, match="no name for a bag"):
        seal(logged, tmp_path / name)
    assert nothing_sealed(logged, tmp_path)


def test_a_lost_photo_is_not_passed_over(logged, tmp_path):
    next(logged[1].folder.rglob(f"{sha256(TWO)}.*")).unlink()
    with pytest.raises(UnknownRecord, match="no such photo"):
        seal(logged, tmp_path / "bag")
    assert nothing_sealed(logged, tmp_path)


def test_a_changed_photo_is_not_sealed(logged, tmp_path):
    path = next(logged[1].folder.rglob(f"{sha256(TWO)}.*"))
    s.opened_file(path).write_bytes(b"other")
    with pytest.raises(StoreFault, match="was changed"):
        seal(logged, tmp_path / "bag")
    assert nothing_sealed(logged, tmp_path)


def behind_its_back(logged, *statements: str) -> None:
    """Change the log as somebody does who opens the file with another program and takes its guards away."""
    for statement in statements:
        tamper(logged[0], statement)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE leaves SET text = replace(text, 'new disc', 'old disc') WHERE kind = 'event'",
        "UPDATE events SET body = replace(body, 'new disc', 'old disc')",
        "UPDATE results SET record = replace(record, 'Grind again', 'All good')",
        "UPDATE leaves SET nth = nth + 1 WHERE kind = 'event'",
        "UPDATE leaves SET text = NULL, salt = '' WHERE kind = 'event'",
        "DELETE FROM leaves WHERE kind = 'disagreement'",
        "DELETE FROM leaves",
        "UPDATE leaves SET text = '{' WHERE kind = 'person'",
        "UPDATE leaves SET text = '[]' WHERE kind = 'event'",
        "UPDATE leaves SET hash = 'q' WHERE kind = 'event'",
        "UPDATE results SET record = '{}'",
    ],
)
def test_a_log_changed_behind_its_back_is_not_sealed(logged, tmp_path, statement):
    behind_its_back(logged, statement)
    with pytest.raises(StoreFault, match=r"sealed|did not write"):
        seal(logged, tmp_path / "bag")
    assert nothing_sealed(logged, tmp_path)


@pytest.mark.usefixtures("sqlite_only")
@pytest.mark.parametrize("version", ["v0001", "v0002"])
def test_a_log_of_an_older_version_tells_its_job_as_it_was_logged(tmp_path, version):
    shutil.copyfile(ROOT / f"tests/store/log_{version}.sqlite", tmp_path / LOG_FILE)
    store, _ = tasks.open_log(tmp_path, Settings())
    what = gather(store, "J-0001")
    bag = s.sealed(tmp_path / "bag", what, s.shop(tmp_path), at=10**6)
    assert what.records
    assert ("log", "data/job.json") not in s.faults(bag.path)


def test_a_log_whose_tail_was_cut_after_a_seal_is_not_sealed_again(logged, tmp_path):
    seal(logged, tmp_path / "bag")
    behind_its_back(logged, "DELETE FROM leaves WHERE id = 6")
    with pytest.raises(StoreFault):
        seal(logged, tmp_path / "second")
    assert not (tmp_path / "second").exists()


def test_an_earlier_bag_is_never_replaced(logged, tmp_path):
    seal(logged, tmp_path / "bag")
    before = (tmp_path / "bag/head.json").read_bytes()
    with pytest.raises(NameClash, match="never replaced"):
        seal(logged, tmp_path / "bag", 70)
    assert (tmp_path / "bag/head.json").read_bytes() == before
    assert len(logged[0].seals()) == 1


def test_a_key_that_others_can_read_seals_nothing(logged, tmp_path):
    if os.name == "nt":
        pytest.skip("rights of files are others on Windows")
    seal(logged, tmp_path / "first")
    (tmp_path / "store/keys/shop-key.json").chmod(0o644)
    with pytest.raises(StoreFault, match="by others than its owner"):
        seal(logged, tmp_path / "second")


def test_a_key_that_is_gone_is_not_replaced_in_silence(logged, tmp_path):
    seal(logged, tmp_path / "first")
    (tmp_path / "store/keys/shop-key.json").unlink()
    with pytest.raises(StoreFault, match="key that signed earlier seals is not there"):
        seal(logged, tmp_path / "second", 70)
    assert not (tmp_path / "second").exists()
    shop_key(tmp_path / "store", LATER)  # what prepcheck key show does
    seal(logged, tmp_path / "second", 70)
    assert ("key", "head.json") in s.faults(tmp_path / "second", after=tmp_path / "first")


def test_a_clock_behind_the_newest_entry_seals_nothing(logged, tmp_path):
    with pytest.raises(StoreFault, match="Set the clock right"):
        seal(logged, tmp_path / "bag", -60)
    assert nothing_sealed(logged, tmp_path)


def test_a_clock_that_was_once_wrong_does_not_keep_a_job_from_being_sealed(logged, tmp_path):
    store, _ = logged
    store.add_event("J-0001", Note(text="a day ahead"), "Ola", LATER + timedelta(days=1))
    store.add_event("J-0001", Note(text="set right"), "Ola", LATER)
    done = seal(logged, tmp_path / "bag", 70)
    assert [kind for kind, _ in s.faults(tmp_path / "bag")] == ["time"] * len(done.doubts)
    assert any("back-dated, or the clock was put back" in doubt for doubt in done.doubts)


# erasure


def test_an_erased_note_leaves_hash_and_reason(logged, tmp_path):
    seal(logged, tmp_path / "first")
    logged[0].erase_event(1, reason="asked for", by="Ola", at=LATER)
    seal(logged, tmp_path / "second", 70)
    found = s.looked(tmp_path / "second", after=tmp_path / "first")
    assert found.faults == ()
    assert any("was erased: asked for" in line for line in found.told)
    assert all(b"new disc" not in path.read_bytes() for path in (tmp_path / "second").rglob("*.json"))


def test_an_erased_person_is_named_no_more(logged, tmp_path):
    logged[0].erase_person("Rune", reason="asked for", by="Ola", at=LATER)
    seal(logged, tmp_path / "bag", 70)
    assert s.faults(tmp_path / "bag") == []
    assert all(b"Rune" not in path.read_bytes() for path in (tmp_path / "bag").rglob("*.json"))


def test_an_erased_photo_leaves_hash_and_reason(logged, tmp_path):
    seal(logged, tmp_path / "first")
    logged[0].tell_photo_erased(sha256(TWO), reason="a face", by="Ola", at=LATER)
    s.opened_file(next(logged[1].folder.rglob(f"{sha256(TWO)}.*"))).unlink()
    seal(logged, tmp_path / "second", 70)
    found = s.looked(tmp_path / "second", after=tmp_path / "first")
    assert found.faults == ()
    assert any("erased: a face" in line and sha256(TWO) in line for line in found.told)


# nothing half


@pytest.mark.parametrize("as_zip", [False, True])
@pytest.mark.parametrize("sync", range(1, 8, 2))
def test_a_full_disk_while_sealing_leaves_nothing(logged, tmp_path, monkeypatch, as_zip, sync):
    seal(logged, tmp_path / "store/warm")  # so that the key is there
    left, real = [sync], os.fsync

    def refuse(descriptor: int) -> None:
        left[0] -= 1
        if left[0] <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        real(descriptor)

    monkeypatch.setattr(os, "fsync", refuse)
    done = _sealed_or_full(logged, tmp_path / "bag", as_zip)
    monkeypatch.undo()
    assert done == (tmp_path / "bag").exists()
    assert len(logged[0].seals()) == 1 + done
    assert not list(tmp_path.glob(".bag*"))


def _sealed_or_full(logged, out: Path, as_zip: bool) -> bool:
    try:
        seal(logged, out, 70, as_zip=as_zip)
    except StoreFull:
        return False
    return True


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no kill to survive here")
def test_a_kill_at_any_moment_leaves_no_half_bag_and_no_seal_without_one(tmp_path):
    command = [sys.executable, "-m", "tests.archive.killed", str(tmp_path)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert [one["faults"] for one in told] == [[]] * len(told)
    for one in told:
        assert one["logged"] == int(one["there"]) + len(one["finished"])
        assert one["after"] == bool(one["logged"])
    assert [one["ended"] for one in told] == [False] * (len(told) - 1) + [True]
    assert [one["beside"] for one in told] == [[]] * len(told)
    assert any(one["finished"] for one in told)  # killed between log and name, and finished by the next seal


@pytest.mark.usefixtures("sqlite_only")
def test_what_a_log_lies_in_is_where_the_key_lies(logged, tmp_path):
    seal(logged, tmp_path / "bag")
    assert (tmp_path / "store" / LOG_FILE).exists()
    assert (tmp_path / "store/keys/shop-key.json").exists()


def part(folder: Path, owner: str, name: str = "J-0001-sealed") -> Path:
    """Make what a kill left beside a bag."""
    left = folder / f".{name}.{owner}0123abcd.part"
    left.mkdir()
    (left / "bagit.txt").write_text("cut off")
    return left


def test_the_next_seal_removes_what_a_killed_one_left_under_whatever_name(logged, tmp_path):
    left = part(tmp_path, shop_key(tmp_path / "store", AT).mark)
    seal(logged, tmp_path / "bag")
    assert not left.exists()


def test_what_another_shops_seal_left_stays(logged, tmp_path):
    left = part(tmp_path, "f" * 8)
    seal(logged, tmp_path / "bag")
    assert left.exists()


def test_a_bag_that_is_being_written_stays(logged, tmp_path):
    mark = shop_key(tmp_path / "store", AT).mark
    with bag_place(tmp_path / "other", as_zip=False, owner=mark) as sink:
        sink.write("bagit.txt", b"not yet whole")
        seal(logged, tmp_path / "bag")
        sink.write("more.txt", b"still there")
    assert {path.name for path in (tmp_path / "other").iterdir()} == {"bagit.txt", "more.txt"}


def test_a_bag_that_was_logged_and_could_not_be_named_stays(logged, tmp_path):
    seal(logged, tmp_path / "bag")
    beside = tmp_path / f".bag.{shop_key(tmp_path / 'store', AT).mark}0123abcd.part"
    (tmp_path / "bag").rename(beside)
    (tmp_path / "bag").mkdir()
    seal(logged, tmp_path / "next", 70)
    assert beside.exists()
