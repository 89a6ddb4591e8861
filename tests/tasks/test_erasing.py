"""Lawful erasure: hash and reason stay, and the log still verifies."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest

from prepcheck import tasks
from prepcheck.agreement.fields import write_fields
from prepcheck.agreement.folder import read_count
from prepcheck.agreement.form import write_form
from prepcheck.archive import FolderArchive
from prepcheck.errors import Held, NotAllowed, UnknownRecord, WrongUse
from prepcheck.merkle import root
from prepcheck.store import Leaf
from prepcheck.store.store import Store
from prepcheck.trade.entries import Erased, LeakEntry, Note
from prepcheck.trade.work import parse_work
from tests.agreement.forms import filled, small
from tests.store.logs import all_bytes
from tests.store.records import PLACE, record_for, spot
from tests.tasks.shop import JOB, PINS, QUICK, done, minute, new_shop, planned, release

LEAK_TEST = """
title = "Leak test"
[[step]]
name = "test"
title = "Test"
hold_point = true
evidence = ["leak"]
"""
KEEPER: dict[str, Any] = {
    "reason": "asked to be forgotten", "by": "Rune", "pin": PINS["Rune"], "at": minute(30), "settings": QUICK,
}  # fmt: skip


@pytest.fixture
def shop(tmp_path: Path) -> Store:
    return new_shop(tmp_path)


def leaf_of(before: list[Leaf], part: str) -> int:
    return next(one.index for one in before if one.text and part in one.text)


def check_only(store: Store, before: list[Leaf], erased: int) -> None:
    """Check that of all leaves only one lost its text, and that every hash and the old root stand."""
    after = store.leaves()
    assert [one.hash for one in after[: len(before)]] == [one.hash for one in before]
    assert [one.index for one in after if one.text is None] == [erased]
    assert (after[erased].salt, after[erased].erased) == ("", "asked to be forgotten")
    assert store.tree_head().root == root([bytes.fromhex(one.hash) for one in after]).hex()


def test_a_leak_that_was_erased_does_not_release_its_hold_point(tmp_path):
    store = planned(tmp_path, parse_work(LEAK_TEST, "leak test"))
    done(store, "test", 1)
    for at, leaks in ((2, ()), (3, ("toe of the weld",))):
        look = LeakEntry(method="bubbles", leaks=leaks, started_at=minute(at))
        found = tasks.log_entry(store, JOB, look, person="Ola", at=minute(at))
    tasks.erase_entry(store, found.number, **KEEPER)
    with pytest.raises(Held, match="was erased: look for leaks again"):
        release(store, "test", 31)


# people


def test_an_erased_person_is_told_of_a_number(shop):
    tasks.log_entry(shop, JOB, Note(text="x"), person="Ola", at=minute(1))
    tasks.erase_person(shop, "ola", **KEEPER)
    story = tasks.job_story(shop, JOB)
    assert (story.job.opened_by, story.events[0].person) == ("erased person 1", "erased person 1")
    assert [one.name for one in tasks.list_people(shop)] == ["Rune", "Mika"]


def test_an_erased_name_is_nowhere_in_the_log(shop):
    tasks.log_entry(shop, JOB, Note(text="x"), person="Thorvald Unlikely", at=minute(1))
    tasks.erase_person(shop, "Thorvald Unlikely", **KEEPER)
    assert b"Unlikely" not in all_bytes(shop)


def test_only_the_leaf_of_the_name_loses_its_text(shop):
    before = shop.leaves()
    tasks.erase_person(shop, "Mika", **KEEPER)
    check_only(shop, before, leaf_of(before, '"name":"Mika"'))


def test_the_pin_of_an_erased_person_is_gone(shop, tmp_path):
    tasks.erase_person(shop, "Mika", **KEEPER)
    with shop.reading() as connection:
        pins = connection.exec_driver_sql("SELECT pin FROM credentials WHERE person_id = 3").scalars().all()
    assert pins == [""]


def test_an_erasure_says_what_with_which_hash_and_why(shop):
    before = shop.leaves()
    (event,) = tasks.erase_person(shop, "Mika", **KEEPER).events
    hashed = before[leaf_of(before, '"name":"Mika"')].hash
    assert event.entry == Erased(what="the name of person 3", sha256=hashed, reason="asked to be forgotten")
    assert (event.person, event.role) == ("Rune", "keeper")


def test_somebody_new_may_bear_an_erased_name(shop):
    tasks.erase_person(shop, "Ola", **KEEPER)
    tasks.log_entry(shop, JOB, Note(text="x"), person="Ola", at=minute(31))
    assert shop.events(JOB)[-1].person == "Ola"
    assert tasks.job_story(shop, JOB).job.opened_by == "erased person 1"


def test_nobody_can_log_as_an_erased_person(shop):
    tasks.erase_person(shop, "Ola", **KEEPER)
    tasks.log_entry(shop, JOB, Note(text="x"), person="erased person 1", at=minute(31))
    with shop.reading() as connection:
        assert connection.exec_driver_sql("SELECT count(DISTINCT person_id) FROM events").scalar() == 2


def test_a_keeper_cannot_erase_themselves(shop):
    with pytest.raises(WrongUse, match="cannot erase themselves"):
        tasks.erase_person(shop, "rune", **KEEPER)


def test_only_a_keeper_erases(shop):
    with pytest.raises(NotAllowed, match="is no keeper"):
        tasks.erase_person(shop, "Ola", **{**KEEPER, "by": "Mika", "pin": PINS["Mika"]})


def test_erasing_needs_a_reason(shop):
    with pytest.raises(WrongUse, match="the reason is empty"):
        tasks.erase_person(shop, "Ola", **{**KEEPER, "reason": ""})


def test_who_is_not_there_is_not_erased(shop):
    with pytest.raises(UnknownRecord, match="no such person"):
        tasks.erase_person(shop, "Max", **KEEPER)


# counts and practice


def a_count(store: Store, person: str, sha256: str = "a" * 64) -> Path:
    """Make a count in the store's folder that somebody finished, and return its folder."""
    folder, one = store.folder / "counts" / "first", small("a.jpg", sha256)
    (folder / "forms").mkdir(parents=True)
    (folder / "images").mkdir()
    (folder / "points.json").write_bytes(write_fields([one]))
    (folder / "images" / "a.jpg").write_bytes(b"face")
    (folder / "forms" / "a.csv").write_text(filled(write_form(one), ["1", "1", "1"], person))
    return folder


def test_an_erased_name_stands_on_no_form_of_the_stores_counts(shop):
    folder = a_count(shop, "Ola")
    done = tasks.erase_person(shop, "ola", **KEEPER)
    assert [one.person for one in read_count(folder).counts] == ["erased person 1"]
    assert [(one.folder, one.files) for one in done.counts] == [(folder, 1)]


def test_only_a_keeper_changes_forms(shop):
    folder = a_count(shop, "Ola")
    with pytest.raises(NotAllowed):
        tasks.erase_person(shop, "Ola", **{**KEEPER, "by": "Mika", "pin": PINS["Mika"]})
    assert [one.person for one in read_count(folder).counts] == ["Ola"]


def test_a_name_that_stands_on_forms_alone_is_erased_and_told_of(shop):
    folder = a_count(shop, "Thorvald Unlikely")
    (event,) = tasks.erase_person(shop, "Thorvald Unlikely", **KEEPER).events
    assert [one.person for one in read_count(folder).counts] == [f"erased by entry {event.number}"]
    assert event.entry == Erased(
        what="a name that stood on forms of counts alone", sha256="", reason="asked to be forgotten"
    )


def test_erasing_in_counts_leaves_all_leaves_before_it(shop):
    a_count(shop, "Thorvald Unlikely")
    before = shop.leaves()
    tasks.erase_person(shop, "Thorvald Unlikely", **KEEPER)
    assert shop.leaves()[: len(before)] == before


def test_an_erased_photo_is_gone_from_counts_and_from_practice(pictured):
    store, archive = pictured
    folder = a_count(store, "Ola", PHOTO)
    practised = FolderArchive(store.folder / "practice")
    practised.put(b"face", "JPEG")
    tasks.erase_photo(store, archive, PHOTO, **KEEPER)
    assert (list((folder / "images").iterdir()), practised.has(PHOTO)) == ([], False)


def test_a_photo_that_lies_in_a_count_alone_is_erased_and_told_of(shop):
    folder = a_count(shop, "Ola", PHOTO)
    _, archive = tasks.open_log(shop.folder, QUICK)
    (event,) = tasks.erase_photo(shop, archive, PHOTO, **KEEPER).events
    assert (event.entry.what, event.entry.sha256) == ("photo", PHOTO)
    assert list((folder / "images").iterdir()) == []


# jobs


def test_an_erased_job_keeps_its_number_and_what_is_no_persons(shop):
    from prepcheck.store import NewJob

    told = NewJob("Tank of Ms Unlikely", "her boat", "5083", 5.0, "diesel", "UNLIKELY 7")
    tasks.open_job(shop, told, person="Ola", at=minute(1))
    before = shop.leaves()
    event = tasks.erase_job(shop, "2", **KEEPER)
    check_only(shop, before, leaf_of(before, "Unlikely"))
    job = tasks.job_story(shop, "2").job
    assert (job.title, job.part, job.customer_reference) == ("erased", "", "")
    assert (job.number, job.alloy, job.wall_mm, job.previous_contents) == ("J-0002", "5083", 5.0, "diesel")
    assert event.entry.sha256 == before[leaf_of(before, "Unlikely")].hash


def test_a_job_is_erased_once(shop):
    tasks.erase_job(shop, JOB, **KEEPER)
    with pytest.raises(UnknownRecord, match="job 1: was erased already"):
        tasks.erase_job(shop, JOB, **KEEPER)


def test_a_job_that_was_named_erased_from_the_start_can_be_erased(shop):
    from prepcheck.store import NewJob

    for told in (NewJob("erased", customer_reference="UNLIKELY"), NewJob("erased")):
        number = tasks.open_job(shop, told, person="Ola", at=minute(1)).number
        tasks.erase_job(shop, number, **KEEPER)
        assert tasks.job_story(shop, number).job.customer_reference == ""


def test_a_job_that_is_not_there_is_not_erased(shop):
    with pytest.raises(UnknownRecord, match="no such job"):
        tasks.erase_job(shop, "9", **KEEPER)


# entries


def test_an_erased_entry_keeps_its_place_and_loses_its_text(shop):
    tasks.log_entry(shop, JOB, Note(text="call Ms Unlikely"), person="Ola", at=minute(1))
    before = shop.leaves()
    tasks.erase_entry(shop, 1, **KEEPER)
    check_only(shop, before, leaf_of(before, "Unlikely"))
    note, erasure = tasks.job_story(shop, JOB).events
    assert (note.number, note.entry) == (1, None)
    assert (erasure.entry.what, erasure.entry.reason) == ("entry 1", "asked to be forgotten")


@pytest.mark.parametrize("number", [0, -1, 9, 2**70])
def test_an_entry_that_is_not_there_is_not_erased(shop, number):
    with pytest.raises(UnknownRecord, match="no such entry"):
        tasks.erase_entry(shop, number, **KEEPER)


def test_an_entry_is_erased_once(shop):
    tasks.log_entry(shop, JOB, Note(text="x"), person="Ola", at=minute(1))
    tasks.erase_entry(shop, 1, **KEEPER)
    with pytest.raises(UnknownRecord, match="erased already"):
        tasks.erase_entry(shop, 1, **KEEPER)


def test_what_the_steps_rest_on_is_not_erased(tmp_path):
    store = planned(tmp_path)
    done(store, "clean", 1)
    for number in (1, 2):
        with pytest.raises(WrongUse, match="the job's steps rest on this entry"):
            tasks.erase_entry(store, number, **KEEPER)


# photos

PHOTO = hashlib.sha256(b"face").hexdigest()


@pytest.fixture
def pictured(shop, tmp_path):
    """The log with a photo in two of its jobs, and the archive."""
    from prepcheck.store import NewJob

    _, archive = tasks.open_log(tmp_path, QUICK)
    tasks.open_job(shop, NewJob("Lid"), person="Ola", at=minute(1))
    for job in (JOB, "J-0002"):
        tasks.log_inspection(shop, archive, record_for(b"face", spot()), b"face", **{**PLACE, "job": job})
    return shop, archive


def test_an_erased_photo_is_gone_from_the_archive_and_told_of_in_each_job(pictured):
    store, archive = pictured
    tasks.erase_photo(store, archive, PHOTO, **KEEPER)
    with pytest.raises(UnknownRecord):
        archive.get(PHOTO)
    erased = Erased(what="photo", sha256=PHOTO, reason="asked to be forgotten")
    assert [store.events(job)[-1].entry for job in (JOB, "J-0002")] == [erased, erased]


def test_what_was_measured_in_an_erased_photo_stays(pictured):
    store, archive = pictured
    before = store.leaves()
    tasks.erase_photo(store, archive, PHOTO, **KEEPER)
    assert store.leaves()[: len(before)] == before
    assert tasks.job_story(store, JOB).spots[0].passes[0].inspections[0].photo_sha256 == PHOTO


def test_an_erasure_that_was_cut_short_is_finished_by_asking_again(pictured, monkeypatch):
    store, archive = pictured
    with monkeypatch.context() as patch:
        patch.setattr(type(archive), "erase", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            tasks.erase_photo(store, archive, PHOTO, **KEEPER)
    assert tasks.erase_photo(store, archive, PHOTO, **KEEPER).events == ()
    with pytest.raises(UnknownRecord):
        archive.get(PHOTO)
    assert len(store.events(JOB)) == 1


@pytest.mark.parametrize("sha256", ["", "../../log", "A" * 64])
def test_what_is_no_hash_erases_nothing(pictured, sha256):
    store, archive = pictured
    with pytest.raises(WrongUse, match="is no SHA-256"):
        tasks.erase_photo(store, archive, sha256, **KEEPER)


def test_a_photo_that_no_job_shows_is_not_erased(pictured):
    store, archive = pictured
    with pytest.raises(UnknownRecord, match="no such photo in this log"):
        tasks.erase_photo(store, archive, "0" * 64, **KEEPER)
