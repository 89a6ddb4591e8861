"""Rows of the log can be added, never changed or taken away."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from prepcheck import tasks
from prepcheck.errors import StoreFault
from prepcheck.store.tables import metadata
from prepcheck.trade.entries import Note
from tests.store.records import AT, PLACE, record_for, since, spot

TABLES = sorted(metadata.tables)


@pytest.fixture
def filled(log, tmp_path: Path) -> Path:
    """The database file of a log that has a row in each table."""
    store, archive = log
    tasks.log_inspection(store, archive, record_for(b"photo", spot()), b"photo", **PLACE)
    later = {**PLACE, "pass_no": 2}
    tasks.log_inspection(store, archive, record_for(b"later", spot()), b"later", **later, since=since(1))
    tasks.disagree(store, 1, standing="bright", reason="a stain", person="Jon", at=AT)
    store.add_event("J-0001", Note(text="new disc"), "Ida", AT)
    store.set_credentials("Ida", "keeper", "hash", by="Ida", at=AT, allow=lambda people: None)
    store.try_pin("Ida", AT, lambda held: held.pin == "hash")
    return tmp_path / "log.sqlite"


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("change", ["UPDATE {table} SET rowid = rowid + 100", "DELETE FROM {table}"])
def test_no_row_can_be_changed_or_deleted_by_any_program(filled, table, change):
    connection = sqlite3.connect(filled)
    assert connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] > 0
    with pytest.raises(sqlite3.IntegrityError, match=f"the log is append-only: {table}"):
        connection.execute(change.format(table=table))
    connection.close()


def test_a_row_cannot_be_replaced_through_the_store(filled, log):
    store, _ = log
    with pytest.raises(StoreFault, match="append-only: people"), store.writing() as connection:
        connection.exec_driver_sql("INSERT OR REPLACE INTO people VALUES (1, 'Max', 'max')")


def test_a_row_must_point_to_rows_that_exist(log):
    store, _ = log
    with pytest.raises(StoreFault, match="FOREIGN KEY"), store.writing() as connection:
        connection.exec_driver_sql("INSERT INTO passes VALUES (1, 77, 1)")
