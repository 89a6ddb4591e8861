"""A log on a real PostgreSQL server that the tests start: what differs from a file. Services tier.

``PREPCHECK_TEST_STORE=postgresql`` runs the tests of everything else on a server.
"""

from __future__ import annotations

import hashlib
import json
import re
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, suppress
from itertools import count
from pathlib import Path

import psycopg
import pytest
import sqlalchemy as sa

from prepcheck import tasks
from prepcheck.archive import Archive
from prepcheck.errors import StoreBusy, StoreFault, StoreFull, StoreNewer, UnknownRecord
from prepcheck.settings import Settings, StoreSettings
from prepcheck.store import NewJob, StoreAddress, leaves, migrate, tables
from prepcheck.store.server import server_fault
from prepcheck.store.store import Store
from prepcheck.trade.entries import Note
from tests.store.postgres_server import PASSWORD, NoServer, Server, running
from tests.store.records import AT, PLACE, record_for, run, set_of, since, spot, start

pytestmark = pytest.mark.services
HURRIED = Settings(store=StoreSettings(busy_seconds=0.2))
_names = count(1)


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    try:
        with running() as started:
            yield started
    except NoServer as missing:
        pytest.skip(str(missing))


@pytest.fixture
def address(server: Server, tmp_path: Path) -> StoreAddress:
    """A new, empty database."""
    name = f"shop_{next(_names)}"
    server.run(f"CREATE DATABASE {name}")
    return StoreAddress(tmp_path, server.address(name))


@pytest.fixture
def log(address: StoreAddress) -> tuple[Store, Archive]:
    """A new log with the job J-0001 in it."""
    opened = tasks.open_log(address, Settings())
    tasks.open_job(opened[0], NewJob("Bowser, crack at the filler neck"), person="Ida", at=AT)
    return opened


def put(log: tuple[Store, Archive], data: bytes = b"photo", **place: object) -> None:
    tasks.log_inspection(*log, record_for(data, spot()), data, **{**PLACE, **place})


def write(store: Store, *steps: str | Callable[[sa.Connection], object]) -> None:
    """Run statements, and what else happens between them, in one transaction of the store."""
    with store.writing() as connection:
        for step in steps:
            connection.exec_driver_sql(step) if isinstance(step, str) else step(connection)


def direct(store: Store) -> psycopg.Connection:
    """Connect as another program does; each statement counts at once."""
    return psycopg.connect(store.address.database, autocommit=True)


# the same log as in a file


def fill(log: tuple[Store, Archive]) -> None:
    put(log, person="Zoë")
    record = set_of(b"left", b"right")
    entry = {**PLACE, "pass_no": 2, "person": "jon"}
    tasks.log_inspection(*log, record, b"left", more_bytes=[b"right"], since=since(1, 2), **entry)
    put(log, b"again", spot="Neck", person="JON", note="new disc")
    store = log[0]
    tasks.disagree(store, 1, standing="bright", reason="a stain", person="Jon", at=AT)
    tasks.open_job(store, NewJob("Lid", "hinge", "5083", 0.1 + 0.2, "diesel", "CO-OP 114"), person="Ida", at=AT)
    store.add_event("J-0002", Note(text="ground"), "Ida", AT, "welder")
    store.set_credentials("Ida", "keeper", "$argon2id$x", by="Ida", at=AT, allow=lambda people: None)
    store.erase_person("Jon", reason="asked", by="Ida", at=AT)


def test_leaves_and_heads_are_the_same_to_the_byte_as_those_of_a_file(log, tmp_path, monkeypatch):
    def salted() -> None:
        numbers = count(1)
        monkeypatch.setattr(leaves.secrets, "token_bytes", lambda size: next(numbers).to_bytes(size, "big"))

    made = []
    for place in (log[0].address, tmp_path / "file"):
        log[0].engine.dispose()
        salted()
        if isinstance(place, StoreAddress):
            with direct(log[0]) as other:
                other.execute("DROP SCHEMA public CASCADE; CREATE SCHEMA public")
        opened = tasks.open_log(place, Settings())
        tasks.open_job(opened[0], NewJob("Bowser, crack at the filler neck"), person="Ida", at=AT)
        fill(opened)
        store = opened[0]
        made.append((store.leaves(), store.tree_head(), store.jobs(), store.story("J-0001"), store.people()))
    assert made[0] == made[1]
    assert (
        made[0][1].size == 12
    )  # two jobs, three people, three inspections, and one of each other kind but for two events


def test_numbers_have_no_gaps_after_what_was_taken_back(log):
    with pytest.raises(StoreFault, match="append-only"):
        write(log[0], "INSERT INTO people VALUES (2, 'Max', 'max')", "DELETE FROM people")
    put(log, person="Ola")
    assert [person.number for person in log[0].people()] == [1, 2]
    assert [leaf.index for leaf in log[0].leaves()] == list(range(4))


def test_texts_are_ordered_byte_by_byte_whatever_the_language_of_the_server(log):
    with log[0].reading() as connection:
        found = connection.exec_driver_sql(
            "SELECT DISTINCT collation_name FROM information_schema.columns WHERE table_schema = 'public' "
            "AND data_type IN ('text', 'character varying') AND table_name <> 'prepcheck_version'"
        )
        assert found.scalars().all() == ["C"]


def test_a_number_beyond_the_keys_of_a_file_is_no_fault(log):
    with pytest.raises(UnknownRecord):
        log[0].record_text(2**63 - 1)


# append-only


@pytest.mark.parametrize("table", sorted(tables.metadata.tables))
def test_no_table_can_be_emptied(log, table):
    with direct(log[0]) as other, pytest.raises(psycopg.IntegrityError, match=f"the log is append-only: {table}"):
        other.execute(f"TRUNCATE {table} CASCADE")


def test_a_row_cannot_be_replaced_by_a_conflict(log):
    with direct(log[0]) as other, pytest.raises(psycopg.IntegrityError, match="the log is append-only: people"):
        other.execute("INSERT INTO people VALUES (1, 'Max', 'max') ON CONFLICT (id) DO UPDATE SET name = excluded.name")


# turns


def test_a_writer_waits_for_its_turn_as_long_as_set(log):
    held = threading.Event()

    def hold() -> None:
        with log[0].writing():
            held.set()
            time.sleep(0.4)

    other = threading.Thread(target=hold)
    other.start()
    held.wait()
    assert tasks.open_job(log[0], NewJob("Next"), person="Ida", at=AT).number == "J-0002"
    other.join()


def test_a_writer_that_waits_too_long_says_that_the_log_is_busy(log):
    with log[0].writing(), pytest.raises(StoreBusy, match="is locked by another program"):
        tasks.open_job(tasks.open_log(log[0].address, HURRIED)[0], NewJob("Next"), person="Ida", at=AT)
    assert len(log[0].jobs()) == 1


def test_a_writer_sees_what_the_one_before_it_wrote_while_it_waited(log):
    """A snapshot taken before the turn came would give the same number twice."""
    numbers: list[str] = []
    first = log[0].writing()
    connection = first.__enter__()
    waiting = threading.Thread(
        target=lambda: numbers.append(tasks.open_job(log[0], NewJob("Next"), person="Ida", at=AT).number)
    )
    waiting.start()
    time.sleep(0.3)
    connection.execute(
        sa.insert(tables.jobs).values(
            id=2, number="J-0002", title="Lid", part="", alloy="", previous_contents="", customer_reference="",
            opened_at="2026-11-24T10:12:00+00:00", opened_by=1,
        )
    )  # fmt: skip
    first.__exit__(None, None, None)
    waiting.join()
    assert numbers == ["J-0003"]


def test_a_reader_sees_one_moment_and_keeps_nobody_from_writing(log):
    with log[0].reading() as connection:
        before = connection.exec_driver_sql("SELECT count(*) FROM jobs").scalar()
        tasks.open_job(log[0], NewJob("Next"), person="Ida", at=AT)
        assert connection.exec_driver_sql("SELECT count(*) FROM jobs").scalar() == before == 1


def test_a_reader_cannot_write(log):
    with pytest.raises(StoreFault, match="may not be written to"), log[0].reading() as connection:
        connection.exec_driver_sql("INSERT INTO people VALUES (9, 'x', 'x')")


def test_each_commit_is_for_good_even_where_the_server_is_set_otherwise(log):
    log[0].engine.dispose()
    with direct(log[0]) as other:
        other.execute("ALTER ROLE tester SET synchronous_commit = off")
    try:
        with log[0].writing() as connection:
            assert connection.exec_driver_sql("SHOW synchronous_commit").scalar() == "on"
    finally:
        with direct(log[0]) as other:
            other.execute("ALTER ROLE tester RESET synchronous_commit")


WRITER = """
import sys
from pathlib import Path
from prepcheck import tasks
from prepcheck.settings import Settings
from prepcheck.store import NewJob, StoreAddress
from tests.store.records import AT, PLACE, record_for, spot
folder, database, who, count = Path(sys.argv[1]), *sys.argv[2:4], int(sys.argv[4])
store, archive = tasks.open_log(StoreAddress(folder, database), Settings())
for n in range(count):
    job = tasks.open_job(store, NewJob(f"{who} {n}"), person=who, at=AT)
    data = f"{who} {n}".encode()
    place = {**PLACE, "job": job.number, "person": f"welder {n % 3}"}
    logged = tasks.log_inspection(store, archive, record_for(data, spot()), data, **place)
    print(job.number, logged.inspection, flush=True)
"""


def test_two_processes_that_make_a_log_together_and_write_at_once_lose_nothing(address):
    many = 25
    writers = [start(WRITER, address.folder, address.database, who, many) for who in ("Ida", "Jon")]
    said = [writer.communicate(timeout=100) for writer in writers]
    assert [writer.returncode for writer in writers] == [0, 0], said
    store, _ = tasks.open_log(address, Settings(), create=False)
    assert sorted(line.job.number for line in store.jobs()) == [f"J-{n:04d}" for n in range(1, 2 * many + 1)]
    reported = "".join(out for out, _ in said).split("\n")[:-1]
    assert sorted(int(line.split()[1]) for line in reported) == list(range(1, 2 * many + 1))
    told = [json.loads(leaf.text or "") for leaf in store.leaves()]
    assert [leaf.index for leaf in store.leaves()] == list(range(len(told)))
    assert sum(one["kind"] == "inspection" for one in told) == 2 * many


# what goes wrong

NAMED = "INSERT INTO people VALUES (2, 'Max', 'max')"


def cut_off(server: Server, connection: sa.Connection) -> None:
    """End a connection as the server's keeper does."""
    (mine,) = connection.exec_driver_sql("SELECT pg_backend_pid()").one()
    server.run(f"SELECT pg_terminate_backend({mine}, 5000)")


def test_a_server_that_crashes_in_mid_transaction_leaves_nothing_half_logged(server, log):
    put(log)
    before = log[0].tree_head()
    with pytest.raises(StoreFault, match="cannot be reached, and nothing was logged"):
        write(log[0], NAMED, lambda connection: server.stop(signal.SIGQUIT), "SELECT 1")
    with pytest.raises(StoreFault, match="cannot be reached"):
        log[0].jobs()
    server.start()
    assert log[0].tree_head() == before
    put(log, b"after", pass_no=2)


def test_a_connection_that_is_cut_off_leaves_nothing_half_logged(server, log):
    before = log[0].tree_head()
    with pytest.raises(StoreFault, match="nothing was logged"):
        write(log[0], NAMED, lambda connection: cut_off(server, connection), "SELECT 1")
    assert log[0].tree_head() == before


def test_a_connection_lost_at_the_commit_is_told_as_not_known(server, log):
    with pytest.raises(StoreFault, match="nobody knows whether it was"):
        write(log[0], NAMED, lambda connection: cut_off(server, connection))


KILLED = """
import os, signal, sys
from pathlib import Path
from prepcheck import tasks
from prepcheck.settings import Settings
from prepcheck.store import StoreAddress, append
from tests.store.records import PLACE, record_for, spot
log = tasks.open_log(StoreAddress(Path(sys.argv[1]), sys.argv[2]), Settings())
append._outlines = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
tasks.log_inspection(*log, record_for(b"photo", spot()), b"photo", **PLACE)
"""


def test_a_killed_writer_gives_its_turn_back_and_leaves_nothing(log):
    with start(KILLED, log[0].folder, log[0].address.database) as process:
        process.communicate(timeout=60)
    assert process.returncode == -signal.SIGKILL
    assert log[0].jobs()[0].inspections == 0
    put(log)
    assert log[0].jobs()[0].inspections == 1


def test_a_migration_that_raises_midway_leaves_nothing_and_can_be_tried_again(address, monkeypatch):
    from alembic import op

    def trip(*_: object) -> None:
        raise OSError("pulled the plug")

    monkeypatch.setattr(op, "create_index", trip)
    with pytest.raises(StoreFault, match="cannot be used"):
        tasks.open_log(address, Settings())
    with psycopg.connect(address.database) as other:
        assert other.execute("SELECT count(*) FROM pg_tables WHERE schemaname = 'public'").fetchone() == (0,)
    monkeypatch.undo()
    assert tasks.open_log(address, Settings())[0].jobs() == []


def test_a_database_of_something_else_is_left_alone(address):
    with psycopg.connect(address.database, autocommit=True) as other:
        other.execute("CREATE TABLE recipes (name text)")
    with pytest.raises(StoreFault, match="is a database, but no log of prepcheck"):
        tasks.open_log(address, Settings())


def test_reading_makes_no_log_where_there_is_none(address):
    with pytest.raises(UnknownRecord, match="holds no log yet"):
        tasks.open_log(address, Settings(), create=False)
    with psycopg.connect(address.database) as other:
        assert other.execute("SELECT count(*) FROM pg_tables WHERE schemaname = 'public'").fetchone() == (0,)


def test_a_log_of_a_newer_version_is_left_alone(log):
    with direct(log[0]) as other:
        other.execute(f"UPDATE {migrate.VERSION_TABLE} SET version_num = 'v9999_from_the_future'")
    with pytest.raises(StoreNewer, match=r"newer version of prepcheck \(v9999_from_the_future\)"):
        tasks.open_log(log[0].address, Settings())


def test_a_database_that_is_not_there_is_said(server, tmp_path):
    with pytest.raises(StoreFault, match='database "nowhere" does not exist'):
        tasks.open_log(StoreAddress(tmp_path, server.address("nowhere")), Settings())


def test_a_user_without_the_right_password_is_not_let_in_and_it_is_not_shown(server, address):
    database = re.sub("tester@", "guarded:wrong-secret@", address.database)
    with pytest.raises(StoreFault, match="password authentication failed") as caught:
        tasks.open_log(StoreAddress(address.folder, database), Settings())
    assert "wrong-secret" not in caught.value.message


@pytest.mark.parametrize("given", ["address", "variable", "file"])
def test_a_password_is_taken_from_the_address_the_environment_or_a_file(server, address, monkeypatch, tmp_path, given):
    with psycopg.connect(address.database, autocommit=True) as other:
        other.execute("GRANT ALL ON SCHEMA public TO guarded")
    database = address.database.replace("tester@", "guarded@")
    if given == "address":
        database = database.replace("guarded@", f"guarded:{PASSWORD}@")
    elif given == "variable":
        monkeypatch.setenv("PGPASSWORD", PASSWORD)
    else:
        file = tmp_path / "passwords"
        file.write_text(f"127.0.0.1:{server.port}:*:guarded:{PASSWORD}\n")
        file.chmod(0o600)
        monkeypatch.setenv("PGPASSFILE", str(file))
    assert tasks.open_log(StoreAddress(tmp_path, database), Settings())[0].jobs() == []


def test_a_user_who_may_only_read_is_told_so_and_may_read(server, log):
    with direct(log[0]) as other:
        other.execute("GRANT SELECT ON ALL TABLES IN SCHEMA public TO guarded")
    database = log[0].address.database.replace("tester@", f"guarded:{PASSWORD}@")
    store, _ = tasks.open_log(StoreAddress(log[0].folder, database), Settings())
    assert len(store.jobs()) == 1
    with pytest.raises(StoreFault, match="may not be written to"):
        tasks.open_job(store, NewJob("Next"), person="Ida", at=AT)


def test_a_database_of_another_encoding_is_refused(server, tmp_path):
    server.run("CREATE DATABASE latin TEMPLATE template0 ENCODING 'LATIN1' LOCALE 'C'")
    with pytest.raises(StoreFault, match="keeps text as LATIN1"):
        tasks.open_log(StoreAddress(tmp_path, server.address("latin")), Settings())


def test_a_server_without_a_connection_left_is_busy(server, log):
    with ExitStack() as held:
        for _ in range(60):  # as many as the server takes; some of them are kept for its keeper
            with suppress(psycopg.OperationalError):
                held.enter_context(closing(direct(log[0])))
        with pytest.raises(StoreFault, match=r"too many clients|connection slots"):
            log[0].jobs()
    assert len(log[0].jobs()) == 1


def test_a_full_disk_of_the_server_is_a_full_store_and_nothing_is_logged(log):
    """The server is made to say so by a trigger: filling a real disk would stop it for all other tests."""
    with direct(log[0]) as other:
        other.execute(
            "CREATE FUNCTION full_disk() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'could not extend file' USING ERRCODE = 'disk_full'; END $$;"
            "CREATE TRIGGER full_disk BEFORE INSERT ON outlines FOR EACH ROW EXECUTE FUNCTION full_disk()"
        )
    before = log[0].tree_head()
    with pytest.raises(StoreFull, match="has no room left on its server; nothing was logged"):
        put(log)
    assert log[0].tree_head() == before


@pytest.mark.parametrize(
    ("error", "kind", "said"),
    [
        (psycopg.errors.SerializationFailure(), StoreBusy, "by another program at the same moment; nothing was logged"),
        (psycopg.errors.DeadlockDetected(), StoreBusy, "by another program at the same moment; nothing was logged"),
        (psycopg.errors.TooManyConnections(), StoreBusy, "no connection left"),
        (psycopg.errors.DataCorrupted(), StoreFault, "is damaged"),
        (psycopg.errors.AdminShutdown("going down"), StoreFault, r"nothing was logged \(going down\)"),
        (psycopg.errors.ReadOnlySqlTransaction(), StoreFault, "may not be written to"),
        (psycopg.OperationalError("server closed\nmore"), StoreFault, r"nothing was logged \(server closed\)"),
    ],
)  # SQLSTATE: PostgreSQL documentation, appendix A
def test_each_kind_of_refusal_has_its_words(error, kind, said):
    fault = server_fault(error, "postgresql://db/shop")
    assert type(fault) is kind
    assert re.search(said, fault.message), fault.message


def test_photos_and_keys_lie_in_the_folder(log):
    put(log)
    sha256 = hashlib.sha256(b"photo").hexdigest()
    assert [path.name for path in log[0].folder.rglob("*") if path.is_file()] == [f"{sha256}.jpg"]


# the command line


COMMAND = "from prepcheck.__main__ import main; import sys; sys.argv[0] = 'prepcheck'; main()"


def test_a_job_is_opened_listed_and_shown_over_an_address(address, monkeypatch):
    monkeypatch.setenv("PREPCHECK_STORE", f"{address.database}?folder={address.folder}")
    assert "J-0001 opened" in run(COMMAND, "job", "new", "Bowser", "--person", "Ola")
    assert json.loads(run(COMMAND, "job", "list", "--json"))["job"]["title"] == "Bowser"
    assert "Bowser" in run(COMMAND, "job", "show", "1")
    assert list(address.folder.iterdir()) == []
