"""Practice in a log: what is marked is fixed before an answer is made, and stays."""

from __future__ import annotations

import hashlib
from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from prepcheck import tasks
from prepcheck.errors import NotAllowed, NotAPhoto, UnknownRecord, WrongUse
from prepcheck.practice import from_png, to_png
from prepcheck.tasks.practice import (
    find_practice,
    list_practice,
    mark_practice,
    open_room,
    show_practice,
    start_practice,
)
from prepcheck.terms import State
from prepcheck.trade.entries import PracticeCompared, PracticeMarked, PracticeStarted
from tests import painted
from tests.command import photo_bytes
from tests.tasks.shop import QUICK, minute

PLATE = painted.plate((State.OXIDE, 320, 240, 40))
DATA, OTHER = photo_bytes(PLATE), photo_bytes(painted.plate())
EYE = painted.model()


def no_truth(sha256):
    return None


@pytest.fixture
def log(tmp_path):
    return tasks.open_log(tmp_path / "store", QUICK)


@pytest.fixture
def room(tmp_path, log):
    return open_room(tmp_path / "store", log, no_truth, QUICK)


@pytest.fixture
def session(room):
    return start_practice(room, [("a.jpg", DATA), ("b.jpg", OTHER)], person="Mika", at=minute(0))


def oxide(x=320, y=240, radius=40):
    """Return a mark of one disc."""
    mark = np.zeros(PLATE.shape, np.uint8)
    cv2.circle(mark, (x, y), radius, 255, -1)
    return mark


def marked(room, session, position=1, made=None, person="Mika"):
    return mark_practice(room, session.number, position, oxide() if made is None else made, person=person, at=minute(1))


def shown(room, session, position=1):
    return show_practice(room, session, position, EYE, at=minute(2))


def kinds(room):
    return [event.entry.kind for event in room.store.events(None)]


def test_a_session_is_named_by_its_entry_and_found_again(room, session):
    found = find_practice(room, session.number)
    assert (found.person, found.at, [one.name for one in found.photos]) == (
        "Mika",
        minute(0).isoformat(),
        ["a.jpg", "b.jpg"],
    )
    assert (found.next, found.marks) == (1, {})


def test_a_photo_that_is_nowhere_yet_is_kept(room, session):
    assert room.photo_bytes(hashlib.sha256(DATA).hexdigest()) == DATA


def test_a_photo_of_the_log_is_not_kept_twice(tmp_path, log, room):
    sha256 = log[1].put(DATA, "JPEG")
    start_practice(room, [("a.jpg", sha256)], person="Mika", at=minute(0))
    assert not room.own.has(sha256)


def test_a_mark_is_fixed_with_hash_and_time_before_any_answer(room, session):
    found = marked(room, session)
    (event,) = [one for one in room.store.events(None) if isinstance(one.entry, PracticeMarked)]
    assert (event.at, event.person) == (minute(1).isoformat(), "Mika")
    kept = room.own.get(event.entry.mark_sha256)
    assert hashlib.sha256(kept).hexdigest() == event.entry.mark_sha256
    assert (from_png(kept, (640, 480), (480, 640), "") == oxide()).all()
    assert (found.next, kinds(room)) == (2, ["practice_started", "practice_marked"])


def test_no_answer_is_shown_before_the_mark(room, session):
    with pytest.raises(NotAllowed, match="is not marked yet"):
        shown(room, session)
    assert kinds(room) == ["practice_started"]


def test_a_mark_cannot_be_changed_afterwards(room, session):
    first = marked(room, session)
    with pytest.raises(WrongUse, match="is marked already"):
        marked(room, session, made=oxide(100))
    assert find_practice(room, session.number) == first


def test_of_two_marks_that_came_at_once_the_first_counts(room, session):
    marked(room, session)
    other = PracticeMarked(
        session=session.number, photo_sha256=session.photos[0].sha256, mark_sha256=hashlib.sha256(b"late").hexdigest()
    )
    room.store.add_event(None, other, "Mika", minute(2))
    kept = find_practice(room, session.number).marks[session.photos[0].sha256].mark_sha256
    assert kept == hashlib.sha256(to_png(oxide())).hexdigest()


def test_nobody_marks_in_the_session_of_somebody_else(room, session):
    with pytest.raises(NotAllowed, match="somebody else"):
        marked(room, session, person="Rune")


def test_the_same_person_may_write_their_name_in_other_letters(room, session):
    assert marked(room, session, person="MIKA").marks


def test_a_mark_of_another_size_is_refused(room, session):
    with pytest.raises(WrongUse, match="another size"):
        marked(room, session, made=np.zeros((10, 10), np.uint8))


def test_a_true_mark_finds_the_patch_and_is_logged_once(room, session):
    found = marked(room, session)
    told = shown(room, found)
    shown(room, find_practice(room, session.number))
    (event,) = [one for one in room.store.events(None) if isinstance(one.entry, PracticeCompared)]
    entry = event.entry
    assert (entry.patches, entry.patches_found, entry.marked, entry.marked_off) == (1, 1, 1, 0)
    assert entry.both == np.count_nonzero(told.tool.both)
    assert entry.source_sha256 == EYE.origin.sha256
    assert (told.truth, told.tool_beside_truth) == (None, None)


def test_a_mark_elsewhere_misses_it_and_is_off(room, session):
    entry = logged_beside(room, marked(room, session, made=oxide(320, 140, 20)))["tool"]
    assert (entry.patches_found, entry.marked_off, entry.both) == (0, 1, 0)


def logged_beside(room, session):
    shown(room, session)
    return {against: one for (_, against), one in find_practice(room, session.number).compared.items()}


@pytest.fixture
def knowing(tmp_path, log):
    """A room that knows the truth of the plate: the tool misses a pit that it takes for metal."""
    states = painted.plate((State.OXIDE, 320, 240, 40), (State.PIT, 320, 140, 20))
    ground = np.where(states == State.COATING, 0, 255).astype(np.uint8)
    (tmp_path / "states.png").write_bytes(b"the map")
    (tmp_path / "plate.jpg").write_bytes(DATA)
    truth = SimpleNamespace(states_path=tmp_path / "states.png", states=lambda: states, ground=lambda: ground)
    known = SimpleNamespace(path=tmp_path / "plate.jpg", origin="painted", truth=truth)
    sha256 = hashlib.sha256(DATA).hexdigest()
    return open_room(tmp_path / "store", log, lambda asked: known if asked == sha256 else None, QUICK)


def test_beside_a_known_truth_the_tools_own_error_is_told(knowing):
    session = start_practice(knowing, [("a.jpg", DATA)], person="Mika", at=minute(0))
    made = oxide()
    cv2.circle(made, (320, 140), 20, 255, -1)
    told = shown(knowing, marked(knowing, session, made=made))
    assert [not one.missed for one in told.truth.of("other")] == [True, True]
    assert [not one.missed for one in told.tool_beside_truth.of("other")] == [True, False]
    assert [one.missed for one in told.tool.of("marked")] == [False, True]


def test_a_known_truth_is_logged_with_its_own_source(knowing):
    session = start_practice(knowing, [("a.jpg", DATA)], person="Mika", at=minute(0))
    entries = logged_beside(knowing, marked(knowing, session))
    assert set(entries) == {"tool", "truth"}
    assert entries["truth"].source.endswith("painted")
    assert entries["truth"].source_sha256 == hashlib.sha256(b"the map").hexdigest()
    assert not knowing.own.has(hashlib.sha256(DATA).hexdigest())


def test_sessions_are_told_by_person(room, session):
    start_practice(room, [("b.jpg", OTHER)], person="Rune", at=minute(3))
    assert [one.person for one in list_practice(room)] == ["Mika", "Rune"]
    assert [one.number for one in list_practice(room, "mika")] == [session.number]


def test_who_was_erased_stands_no_longer_in_their_sessions(room, session):
    """The name is nowhere else: no file of practice holds it."""
    marked(room, session)
    tasks.add_person(room.store, "Ola", "keeper", "4711", at=minute(4), settings=QUICK)
    tasks.erase_person(room.store, "Mika", reason="asked", by="Ola", pin="4711", at=minute(5), settings=QUICK)
    assert find_practice(room, session.number).person.startswith("erased person")
    assert list_practice(room, "Mika") == []
    assert not [path for path in room.own.folder.rglob("*") if path.is_file() and b"Mika" in path.read_bytes()]


def test_an_erased_session_is_gone(room, session):
    tasks.add_person(room.store, "Ola", "keeper", "4711", at=minute(4), settings=QUICK)
    tasks.erase_entry(room.store, session.number, reason="asked", by="Ola", pin="4711", at=minute(5), settings=QUICK)
    with pytest.raises(UnknownRecord):
        find_practice(room, session.number)


def test_a_mark_of_no_session_is_passed_over(room, session):
    strange = PracticeMarked(session=99, photo_sha256="a" * 64, mark_sha256="b" * 64)
    room.store.add_event(None, strange, "Mika", minute(1))
    assert len(list_practice(room)) == 1


@pytest.mark.parametrize(
    ("photos", "words"),
    [([], "0 photos"), ([("a", DATA), ("b", DATA)], "chosen twice"), ([("a", DATA)] * 41, "41 photos")],
)
def test_photos_that_cannot_be_chosen_are_refused(room, photos, words):
    with pytest.raises(WrongUse, match=words):
        start_practice(room, photos, person="Mika", at=minute(0))
    assert kinds(room) == []


def test_what_is_no_photo_is_refused_and_not_kept(room):
    with pytest.raises(NotAPhoto):
        start_practice(room, [("a.jpg", b"no photo")], person="Mika", at=minute(0))
    assert not room.own.has(hashlib.sha256(b"no photo").hexdigest())


def test_a_photo_that_was_erased_is_told(room, session):
    room.own.erase(session.photos[0].sha256)
    with pytest.raises(UnknownRecord):
        room.check_photo(session.photos[0].sha256)
    with pytest.raises(UnknownRecord):
        marked(room, session)


@pytest.mark.parametrize("position", [0, -1, 3])
def test_a_photo_that_the_session_has_not_is_unknown(room, session, position):
    with pytest.raises(UnknownRecord, match="has 2 photos"):
        session.photo(position)


def test_the_first_entry_holds_what_was_chosen(room, session):
    entry = room.store.events(None)[0].entry
    assert isinstance(entry, PracticeStarted)
    assert [one.sha256 for one in entry.photos] == [hashlib.sha256(data).hexdigest() for data in (DATA, OTHER)]
