"""What is read from the log about people's work."""

from __future__ import annotations

from pathlib import Path

import pytest

from prepcheck import tasks
from prepcheck.errors import UnknownRecord, WrongUse
from prepcheck.progress.log import find, kept_about, list_work, logged_photos, work_of
from prepcheck.store.store import Store
from tests.progress.made import BRIGHT, LEFT, Workshop, day, patch
from tests.tasks.shop import JOB, PINS, QUICK, START, new_shop


@pytest.fixture
def shop(tmp_path: Path) -> Workshop:
    """A log with a job that Ola opened."""
    made = Workshop(tmp_path)
    made.job()
    return made


def erase(store: Store, name: str) -> None:
    tasks.erase_person(store, name, reason="asked for", by="Rune", pin=PINS["Rune"], at=START, settings=QUICK)


def test_everybody_is_listed_with_what_they_logged(shop: Workshop) -> None:
    shop.log(LEFT, 1)
    shop.log(BRIGHT, 1, 2)
    shop.log(BRIGHT, 1, job=shop.job(), person="Rune")
    told = [(one.name, one.inspections, one.jobs, one.first, one.last) for one in list_work(shop.store)]
    assert told == [("Ola", 0, 0, None, None), ("Mika", 2, 1, day(1), day(2)), ("Rune", 1, 1, day(3), day(3))]


def test_who_was_erased_is_listed_as_erased(tmp_path: Path) -> None:
    store = new_shop(tmp_path)
    erase(store, "Ola")
    told = {one.name: one.erased for one in list_work(store)}
    assert told == {"erased person 1": True, "Rune": False, "Mika": False}


@pytest.mark.parametrize("name", ["Ola", "erased person 1"])
def test_of_who_was_erased_nothing_is_told(tmp_path: Path, name: str) -> None:
    store = new_shop(tmp_path)
    erase(store, "Ola")
    with pytest.raises(UnknownRecord, match="no such person in this log, or erased"):
        work_of(store, name)


def test_a_person_is_found_in_any_case(shop: Workshop) -> None:
    shop.log(BRIGHT)
    assert find(shop.store, " mIKA ")[1] == "Mika"


@pytest.mark.parametrize("name", ["", "a\x00b", "M" * 81])
def test_a_name_that_is_none_is_refused(shop: Workshop, name: str) -> None:
    with pytest.raises(WrongUse):
        find(shop.store, name)


def test_work_holds_all_shots_of_the_jobs_of_a_person_and_no_others(shop: Workshop) -> None:
    shop.log(LEFT, 1)
    shop.log(BRIGHT, 2, person="Rune")
    shop.log(BRIGHT, 1, person="Rune", job=shop.job())
    assert [(one.job, one.spot, one.person) for one in work_of(shop.store, "Mika").shots] == [
        (JOB, 1, "Mika"),
        (JOB, 2, "Rune"),
    ]


def test_a_shot_is_told_as_it_was_logged(shop: Workshop) -> None:
    number = shop.log(LEFT, 4, 2, at=day(3), largest=patch((50, 40)))
    (one,) = work_of(shop.store, "Mika").shots
    assert (one.number, one.spot, one.pass_no, one.standing, one.at) == (number, 4, 2, LEFT, day(3))
    assert (one.outline, one.title, one.person) == (1, "Bowser, seam (invented demo)", "Mika")


def test_a_correction_by_somebody_else_stays_the_work_of_who_ground(shop: Workshop) -> None:
    slip = shop.log(LEFT, 1, data=b"one")
    shop.log(LEFT, 2, data=b"one", person="Rune", corrects=slip)
    (one,) = work_of(shop.store, "Mika").shots
    assert (one.person, one.spot) == ("Mika", 2)


def test_own_standings_are_those_of_the_person(shop: Workshop) -> None:
    number = shop.log(LEFT)
    for person, standing in (("Mika", "bright"), ("Rune", "cannot tell")):
        tasks.disagree(shop.store, number, standing=standing, reason="looked", person=person, at=day(2))
    assert [(one.inspection, one.standing) for one in work_of(shop.store, "Mika").opinions] == [(number, BRIGHT)]


def test_photos_are_read_with_what_copies_are_known_by(shop: Workshop) -> None:
    number = shop.log(LEFT, 2, data=b"one", picture_hash="0f" * 8, taken="2026-09-02T08:00:00")
    (one,) = logged_photos(shop.store)
    assert (one.inspection, one.job, one.spot, one.pass_no, one.person) == (number, JOB, 2, 1, "Mika")
    assert (one.picture_hash, one.taken, one.outline, one.roots) == ("0f" * 8, "2026-09-02T08:00:00", 1, frozenset())


def test_photos_know_all_that_they_correct(shop: Workshop) -> None:
    first = shop.log(LEFT, 1, data=b"one")
    second = shop.log(LEFT, 2, data=b"one", corrects=first)
    shop.log(LEFT, 3, data=b"one", corrects=second)
    assert [one.roots for one in logged_photos(shop.store)] == [set(), {first}, {first, second}]


def test_what_is_kept_is_listed_by_kind_and_never_the_pin(tmp_path: Path) -> None:
    store = new_shop(tmp_path)
    tasks.check_pin(store, "Mika", PINS["Mika"], at=START, settings=QUICK)
    kept = kept_about(store, "mika")
    assert (kept.name, kept.role) == ("Mika", "releaser")
    assert [(kind.what, len(kind.items)) for kind in kept.kinds] == [
        ("roles and PINs received", 1),
        ("PINs typed, right or wrong", 1),
    ]
    assert "argon2" not in repr(kept)


def test_of_who_opened_a_job_the_job_is_kept(tmp_path: Path) -> None:
    kept = kept_about(new_shop(tmp_path), "Ola")
    assert [(kind.what, [item.number for item in kind.items]) for kind in kept.kinds] == [("jobs opened", [1])]


def test_every_column_that_names_a_person_is_listed(shop: Workshop) -> None:
    from prepcheck.progress import log
    from prepcheck.store import tables as t

    naming = {
        f"{table.name}.{key.parent.name}"
        for table in t.metadata.sorted_tables
        for key in table.foreign_keys
        if key.column.table.name == "people"
    }
    counted = {"person_lines.person_id"}  # made from the photos logged, which are listed
    assert {f"{table.name}.{person.name}" for _, table, person, _ in log._kinds()} == naming - counted
