"""How the database is opened."""

from __future__ import annotations

import sqlite3

import pytest

from prepcheck import tasks
from prepcheck.store import LOG_FILE, NewJob, engine
from prepcheck.store.engine import journal_mode
from tests.store.records import AT

pytestmark = pytest.mark.usefixtures("sqlite_only")


@pytest.mark.parametrize(
    ("version", "mode"), [((3, 40, 1), "delete"), ((3, 51, 2), "delete"), ((3, 51, 3), "wal"), ((3, 53, 0), "wal")]
)
def test_the_write_ahead_log_is_used_only_where_sqlite_has_its_reset_mended(version, mode):
    # sqlite.org/wal.html: the WAL-reset bug is in 3.7.0 to 3.51.2
    assert journal_mode(version) == mode


def test_the_file_is_in_the_journal_mode_of_this_sqlite(log):
    store, _ = log
    with store.reading() as connection:
        found = connection.exec_driver_sql("PRAGMA journal_mode").scalar()
    assert found == journal_mode(sqlite3.sqlite_version_info)


def test_each_commit_is_synced(log):
    store, _ = log
    with store.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() in (2, 3)  # FULL, EXTRA: sqlite.org/pragma


def test_a_writer_holds_the_lock_from_its_first_read_on(log):
    store, _ = log
    other = sqlite3.connect(store.folder / LOG_FILE, timeout=0)
    with store.writing(), pytest.raises(sqlite3.OperationalError, match="locked"):
        other.execute("BEGIN IMMEDIATE")
    other.close()


def test_a_reader_does_not_keep_a_writer_from_beginning(log):
    store, _ = log
    with store.reading() as connection:
        connection.exec_driver_sql("SELECT count(*) FROM jobs").scalar()
        other = sqlite3.connect(store.folder / LOG_FILE, timeout=0)
        other.execute("BEGIN IMMEDIATE")
        assert other.in_transaction
        other.close()


@pytest.fixture
def wal_log(log, monkeypatch):
    """A log whose SQLite is taken for one with a safe write-ahead log."""
    monkeypatch.setattr(engine, "SAFE_WAL", (3, 0, 0))
    return log


def test_a_log_moves_to_the_write_ahead_log_and_back_with_the_version_of_sqlite(wal_log, monkeypatch):
    store, _ = wal_log
    tasks.open_job(store, NewJob("Next"), person="Ida", at=AT)
    with store.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
    monkeypatch.setattr(engine, "SAFE_WAL", (99,))
    assert len(tasks.list_jobs(store)) == 2
    with store.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "delete"


def test_a_write_ahead_log_is_synced_at_each_commit(wal_log):
    store, _ = wal_log
    with store.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL


def test_what_is_erased_is_overwritten_on_the_disk(log):
    with log[0].reading() as connection:
        assert connection.exec_driver_sql("PRAGMA secure_delete").scalar() == 1
