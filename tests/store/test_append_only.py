"""Rows of the log can be added, never changed or taken away."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from prepcheck import tasks
from prepcheck.errors import StoreFault
from prepcheck.store import leaves
from prepcheck.store.store import Store
from prepcheck.store.tables import metadata
from prepcheck.trade.entries import Note, StepReleased
from tests.store.logs import REFUSED, other_program
from tests.store.records import AT, PLACE, record_for, since, spot

TABLES = sorted(metadata.tables)


@pytest.fixture
def filled(log, monkeypatch) -> Store:
    """A log that has a row in each table."""
    monkeypatch.setattr(leaves, "BLOCK", 4)
    store, archive = log
    tasks.log_inspection(store, archive, record_for(b"photo", spot()), b"photo", **PLACE)
    later = {**PLACE, "pass_no": 2}
    tasks.log_inspection(store, archive, record_for(b"later", spot()), b"later", **later, since=since(1))
    tasks.disagree(store, 1, standing="bright", reason="a stain", person="Jon", at=AT)
    store.add_event("J-0001", Note(text="new disc"), "Ida", AT)
    store.set_credentials("Ida", "keeper", "hash", by="Ida", at=AT, allow=lambda people: None)
    store.try_pin("Ida", AT, lambda held: held.pin == "hash")
    return store


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("change", ["UPDATE {table} SET {key} = {key}", "DELETE FROM {table}"])
def test_no_row_can_be_changed_or_deleted_by_any_program(filled, table, change):
    key = metadata.tables[table].columns.keys()[0]
    with other_program(filled) as other:
        assert other.execute(f"SELECT count(*) FROM {table}").fetchone()[0] > 0
        with pytest.raises(REFUSED, match=f"the log is append-only: {table}"):
            other.execute(change.format(table=table, key=key))


@pytest.mark.usefixtures("sqlite_only")
def test_a_row_cannot_be_replaced_through_the_store(filled, log):
    store, _ = log
    with pytest.raises(StoreFault, match="append-only: people"), store.writing() as connection:
        connection.exec_driver_sql("INSERT OR REPLACE INTO people VALUES (1, 'Max', 'max')")


def test_a_row_must_point_to_rows_that_exist(log):
    store, _ = log
    with pytest.raises(StoreFault, match=r"(?i)foreign key"), store.writing() as connection:
        connection.exec_driver_sql("INSERT INTO passes VALUES (1, 77, 1)")


# what erases, and nothing but that

ERASING = [
    "UPDATE leaves SET text = NULL, salt = '', erased = 'asked' WHERE id = 2",
    "UPDATE people SET name = 'erased person 2', folded = '\n2' WHERE id = 2",
    "UPDATE jobs SET title = 'erased', part = '', customer_reference = '' WHERE id = 1",
    "UPDATE events SET body = NULL WHERE id = 1",
    "UPDATE credentials SET pin = '' WHERE id = 1",
]
NOT_ERASING = [
    "UPDATE leaves SET text = '{}' WHERE id = 2",
    "UPDATE leaves SET text = NULL WHERE id = 2",
    "UPDATE leaves SET text = NULL, salt = '' WHERE id = 2",
    "UPDATE leaves SET text = NULL, erased = 'asked' WHERE id = 2",
    "UPDATE leaves SET text = NULL, salt = NULL, erased = 'asked' WHERE id = 2",
    "UPDATE leaves SET text = NULL, salt = '', erased = NULL WHERE id = 2",
    "UPDATE leaves SET text = NULL, salt = '', erased = 'asked', hash = 'x' WHERE id = 2",
    "UPDATE leaves SET text = NULL, salt = '', erased = 'asked', nth = 7 WHERE id = 2",
    "UPDATE leaves SET text = NULL, salt = '', erased = 'asked', job_id = NULL WHERE id = 2",
    "UPDATE leaves SET text = NULL, salt = '', erased = 'asked', id = 99 WHERE id = 2",
    "UPDATE people SET name = 'Max', folded = 'max' WHERE id = 2",
    "UPDATE people SET name = 'erased person 2' WHERE id = 2",
    "UPDATE people SET name = 'erased person 1', folded = '\n1' WHERE id = 2",
    "UPDATE jobs SET title = 'Lid' WHERE id = 1",
    "UPDATE jobs SET title = 'erased', part = 'x', customer_reference = '' WHERE id = 1",
    "UPDATE jobs SET title = 'erased', part = '', customer_reference = '', alloy = '6061' WHERE id = 1",
    "UPDATE events SET body = '{}' WHERE id = 1",
    "UPDATE events SET body = NULL, at = 'never' WHERE id = 1",
    "UPDATE events SET body = NULL, job_id = NULL WHERE id = 1",
    "UPDATE events SET body = NULL WHERE id = 2",
    "UPDATE credentials SET pin = 'other' WHERE id = 1",
    "UPDATE credentials SET pin = '', role = 'welder' WHERE id = 1",
    'UPDATE pin_attempts SET "right" = 1',
]


@pytest.fixture
def other(filled) -> Iterator[Any]:
    """Another program that has the log open, with a released hold point in it as well."""
    filled.add_event("J-0001", StepReleased(step="clear"), "Ida", AT)
    with other_program(filled) as opened:
        yield opened


@pytest.mark.parametrize("change", ERASING)
def test_what_erases_is_let_through_once(other, change):
    assert other.execute(change).rowcount == 1
    with pytest.raises(REFUSED, match="the log is append-only"):
        other.execute(change)


@pytest.mark.parametrize("change", NOT_ERASING)
def test_what_changes_anything_else_is_not(other, change):
    with pytest.raises(REFUSED, match="the log is append-only"):
        other.execute(change)


@pytest.mark.parametrize("change", ERASING)
def test_what_was_erased_cannot_be_put_back(other, change):
    table = change.split()[1]
    other.execute(change)
    before = other.execute(f"SELECT * FROM {table}").fetchall()
    put = {
        "leaves": "text = 'x', salt = 'y', erased = ''",
        "people": "name = 'Jon', folded = 'jon'",
        "jobs": "title = 'x'",
        "events": "body = '{}'",
        "credentials": "pin = 'x'",
    }[table]
    with pytest.raises(REFUSED, match="the log is append-only"):
        other.execute(f"UPDATE {table} SET {put} WHERE {change.split('WHERE')[1]}")
    assert other.execute(f"SELECT * FROM {table}").fetchall() == before
