"""Killed at any moment of a release, two at once, a full disk: nothing is lost, nothing is half."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from prepcheck import tasks
from prepcheck.errors import StoreFull
from prepcheck.merkle import leaf_hash, root
from prepcheck.store.store import Store
from prepcheck.trade.entries import Note, StepReleased
from tests.store.logs import check_database
from tests.store.records import start
from tests.tasks.shop import JOB, QUICK, done, minute, new_shop, planned, progress, release

RELEASE = """
import os, signal, sys
from pathlib import Path
import sqlalchemy as sa
from prepcheck import tasks
from tests.tasks.shop import QUICK, release
folder, kill_at = Path(sys.argv[1]), int(sys.argv[2])
store, _ = tasks.open_log(folder, QUICK)
seen = 0
def watch(connection, cursor, statement, *_):
    global seen
    seen += 1
    if seen == kill_at:
        os.kill(os.getpid(), signal.SIGKILL)
sa.event.listen(store.engine, "after_cursor_execute", watch)
sa.event.listen(store.engine, "commit", lambda connection: watch(connection, None, ""))
release(store, "clear", 6)
print(seen)
"""


def waiting(folder: Path) -> Store:
    """Make a log in which the hold point waits for its release."""
    store = planned(folder)
    done(store, "clean", 1)
    done(store, "clear", 5)
    return store


def check_tree(store: Store) -> None:
    """Check that the tree's leaves hash to what they say, and that each entry has its leaf."""
    leaves = store.leaves()
    assert [leaf_hash(bytes.fromhex(one.salt) + (one.text or "").encode()).hex() for one in leaves] == [
        one.hash for one in leaves
    ]
    assert store.tree_head().root == root([bytes.fromhex(one.hash) for one in leaves]).hex()
    check_database(store)
    with store.reading() as connection:
        of_events = "SELECT count(*) FROM events WHERE id NOT IN (SELECT row FROM leaves WHERE kind = 'event')"
        assert connection.exec_driver_sql(of_events).scalar() == 0


@pytest.fixture(scope="module")
def moments(tmp_path_factory: pytest.TempPathFactory) -> int:
    """How many statements and commits a release takes."""
    folder = tmp_path_factory.mktemp("whole")
    waiting(folder)
    with start(RELEASE, folder, 0) as whole:
        return int(whole.communicate(timeout=60)[0])


@pytest.mark.parametrize("share", [0, 0.15, 0.3, 0.45, 0.6, 0.75, 0.9, 1])
def test_a_release_that_is_killed_at_any_moment_is_there_as_a_whole_or_not_at_all(
    tmp_path: Path, moments: int, share: float
):
    store = waiting(tmp_path)
    before = store.tree_head()
    with start(RELEASE, tmp_path, 1 + round(share * (moments - 1))) as killed:
        killed.communicate(timeout=60)
    assert killed.returncode == -9
    told, released = progress(store, 7)["clear"], [e for e in store.events(JOB) if isinstance(e.entry, StepReleased)]
    assert (told, len(released)) in (("held", 0), ("released", 1))
    assert store.tree_head().size == before.size + len(released)
    check_tree(store)
    if not released:
        release(store, "clear", 6)
    assert progress(store, 7)["clear"] == "released"


AFTER = """
import os, signal, sys
from pathlib import Path
from prepcheck import tasks
from tests.tasks.shop import QUICK, release
store, _ = tasks.open_log(Path(sys.argv[1]), QUICK)
release(store, "clear", 6)
print("reported", flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_release_that_was_reported_is_kept_whatever_comes_after(tmp_path: Path):
    store = waiting(tmp_path)
    with start(AFTER, tmp_path) as killed:
        assert killed.communicate(timeout=60)[0] == "reported\n"
    assert progress(store, 7)["clear"] == "released"
    check_tree(store)


TWICE = """
import sys
from pathlib import Path
from prepcheck import tasks
from prepcheck.errors import WrongUse
from tests.tasks.shop import QUICK, release
store, _ = tasks.open_log(Path(sys.argv[1]), QUICK)
try:
    release(store, "clear", 6, person=sys.argv[2])
    print("released")
except WrongUse as error:
    print(error.what)
"""


def test_of_two_people_who_release_at_once_one_is_told_of_the_other(tmp_path: Path):
    store = waiting(tmp_path)
    both = [start(TWICE, tmp_path, who) for who in ("Mika", "Rune")]
    said = sorted(process.communicate(timeout=60)[0].strip() for process in both)
    assert said[0] == "released"
    assert said[1].startswith("was released by")
    assert len([event for event in store.events(JOB) if isinstance(event.entry, StepReleased)]) == 1


GUESS = """
import sys
from pathlib import Path
from prepcheck import tasks
from prepcheck.errors import PinLocked, WrongPin
from tests.tasks.shop import QUICK, minute
store, _ = tasks.open_log(Path(sys.argv[1]), QUICK)
for n in range(6):
    try:
        tasks.check_pin(store, "Mika", f"{n:04d}", at=minute(1), settings=QUICK)
    except (PinLocked, WrongPin) as error:
        print(error.code)
"""


def test_two_who_guess_at_once_have_five_guesses_together(tmp_path: Path):
    new_shop(tmp_path)
    both = [start(GUESS, tmp_path) for _ in range(2)]
    said = "".join(process.communicate(timeout=60)[0] for process in both).split()
    assert (said.count("wrong_pin"), said.count("pin_locked")) == (5, 7)


NOTES = """
import sys
from pathlib import Path
from prepcheck import tasks
from prepcheck.trade.entries import Note
from tests.tasks.shop import JOB, QUICK, minute
store, _ = tasks.open_log(Path(sys.argv[1]), QUICK)
for n in range(20):
    tasks.log_entry(store, JOB, Note(text=f"{sys.argv[2]} {n}"), person=sys.argv[2], at=minute(1))
"""


def test_three_who_log_at_once_lose_no_entry_and_no_leaf(tmp_path: Path):
    store = new_shop(tmp_path)
    before = store.tree_head().size
    writers = [start(NOTES, tmp_path, who) for who in ("Ola", "Ida", "Jon")]
    assert [writer.communicate(timeout=60) and writer.returncode for writer in writers] == [0, 0, 0]
    leaves = store.leaves(JOB)
    assert len(store.events(JOB)) == 60
    assert [leaf.nth for leaf in leaves] == list(range(1, len(leaves) + 1))
    assert store.tree_head().size == before + 60 + 2  # and two people named for the first time
    check_tree(store)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 700 kB."""
    folder, mount = tmp_path / "disk", shutil.which("mount")
    folder.mkdir()
    if mount is None or os.getuid() != 0:
        pytest.skip("needs root to mount a small disk")
    made = subprocess.run([mount, "-t", "tmpfs", "-o", "size=700k", "tmpfs", folder], capture_output=True, text=True)
    if made.returncode != 0:
        pytest.skip(f"cannot mount a small disk: {made.stderr.strip()}")
    yield folder
    subprocess.run(["umount", folder], check=True)


def log_until_full(store: Store) -> int:
    for count in range(2000):
        try:
            tasks.log_entry(store, JOB, Note(text="x" * 1900), person="Ola", at=minute(1), settings=QUICK)
        except StoreFull:
            return count
    raise AssertionError("the small disk never filled up")


@pytest.mark.usefixtures("sqlite_only")
def test_a_disk_that_fills_up_keeps_every_entry_with_its_leaf(small_disk: Path):
    store = new_shop(small_disk)
    logged = log_until_full(store)
    assert logged > 20
    assert len(store.events(JOB)) == logged
    check_tree(store)
