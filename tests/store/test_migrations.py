"""The log grows by named migrations, each whole or not at all."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic import command, op
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from prepcheck import tasks
from prepcheck.errors import StoreFault, StoreNewer
from prepcheck.progress.log import list_work
from prepcheck.settings import Settings
from prepcheck.store import Entry, NewJob, TreeHead, migrate, tables
from prepcheck.store.store import Store
from prepcheck.terms import Standing
from prepcheck.trade.entries import Note
from tests.store.logs import all_bytes, on_server, other_program, tables_in, triggers
from tests.store.records import AT, PLACE, record_for, set_of, spot, start

OLD = Path(__file__).with_name("log_v0001.sqlite")
"""A log written by the first version: job J-0001, one inspection of spot 1, one disagreement. Never written again."""

OLD_2 = Path(__file__).with_name("log_v0002.sqlite")
"""A log written by the second version: two jobs, three people, three inspections (a set with a comparison and a correction
among them), one disagreement. Never written again."""


def scripts() -> ScriptDirectory:
    config = Config()
    config.set_main_option("script_location", "prepcheck.store:migrations")
    return ScriptDirectory.from_config(config)


@pytest.fixture
def old(tmp_path: Path, sqlite_only: None) -> Path:
    shutil.copy(OLD, tmp_path / "log.sqlite")
    return tmp_path


def test_the_newest_migration_is_the_one_the_store_looks_for():
    assert scripts().get_current_head() == migrate.HEAD


def test_each_migration_is_named_like_its_file():
    assert all(Path(script.path).stem == script.revision for script in scripts().walk_revisions())


@pytest.mark.filterwarnings("ignore:.*expression-based index")  # which SQLite's are not told of
def test_the_migrations_lead_to_the_tables_of_the_code(log):
    store, _ = log
    with store.reading() as connection:
        context = MigrationContext.configure(connection, opts={"version_table": migrate.VERSION_TABLE})
        assert compare_metadata(context, tables.metadata) == []


def test_every_table_refuses_changes(log):
    ways = ("update", "delete", "truncate") if on_server() else ("update", "delete")
    assert triggers(log[0]) == {f"{table}_no_{what}" for table in tables.metadata.tables for what in ways}


def test_a_log_of_the_first_version_tells_the_same_story(old):
    store, _ = tasks.open_log(old, Settings(), create=False)
    story = tasks.job_story(store, "J-0001")
    (inspection,) = story.spots[0].passes[0].inspections
    assert (story.job.title, story.job.wall_mm) == ("Bowser, crack at the filler neck", 5.0)
    assert (inspection.standing, inspection.bright_share) == (Standing.RESIDUE_LEFT, 0.82)
    assert [told.person for told in inspection.disagreements] == ["Jon"]


def test_a_log_of_the_first_version_takes_new_rows(old):
    store, _ = tasks.open_log(old, Settings())
    assert tasks.open_job(store, NewJob("Next"), person="IDA", at=AT).number == "J-0002"


def test_an_inspection_of_the_first_version_has_its_one_photo(old):
    store, _ = tasks.open_log(old, Settings())
    (inspection,) = tasks.job_story(store, "J-0001").spots[0].passes[0].inspections
    assert (inspection.photos, inspection.since) == ((inspection.photo_name,), None)


def test_a_photo_used_in_the_first_version_is_known_in_a_set_of_this_one(old):
    store, _ = tasks.open_log(old, Settings())
    (inspection,) = tasks.job_story(store, "J-0001").spots[0].passes[0].inspections
    record = set_of(b"new", b"old")
    used = record.photos[1].model_copy(update={"sha256": inspection.photo_sha256})
    entry = Entry(record.model_copy(update={"photos": [record.photos[0], used]}), "J-0001", "1", 2, "Ida", AT, 1)
    assert [flag.code for flag in store.log(entry).record.flags] == ["no_scale", "used_before"]


@pytest.fixture
def old_2(tmp_path: Path, sqlite_only: None) -> Store:
    shutil.copy(OLD_2, tmp_path / "log.sqlite")
    return tasks.open_log(tmp_path, Settings())[0]


def test_a_log_of_the_second_version_tells_the_same_story(old_2):
    spots = tasks.job_story(old_2, "J-0001").spots
    first, second, corrected = (one for spot in spots for of_pass in spot.passes for one in of_pass.inspections)
    assert (first.number, first.corrected_by, [told.person for told in first.disagreements]) == (1, (3,), ["Jon"])
    assert (second.photos, second.note, second.since is None) == (("light 1.jpg", "light 2.jpg"), "new disc", False)
    assert (corrected.corrects, corrected.person) == (1, "Ida")


def test_every_row_of_the_second_version_gets_its_leaf_in_order(old_2):
    told = [json.loads(leaf.text) for leaf in old_2.leaves()]
    assert [(one["kind"], one["number"]) for one in told] == [
        *(("person", n) for n in (1, 2, 3)),
        *(("job", n) for n in (1, 2)),
        *(("inspection", n) for n in (1, 2, 3)),
        ("disagreement", 1),
    ]
    assert [one["job"] for one in told[3:]] == ["J-0001", "J-0002", *["J-0001"] * 4]


def test_a_leaf_made_by_the_migration_says_what_one_made_at_once_says(old_2, log):
    store, archive = log
    tasks.log_inspection(store, archive, record_for(b"old", spot()), b"old", **PLACE)
    (at_once,) = [one.text for one in store.leaves() if '"kind":"inspection"' in one.text]
    later = next(one.text for one in old_2.leaves() if '"kind":"inspection"' in one.text)
    assert later == at_once


def test_a_log_of_the_second_version_takes_new_rows_after_its_leaves(old_2):
    size = old_2.tree_head().size
    old_2.add_event("J-0001", Note(text="on"), "MARTA", AT)
    last = old_2.leaves()[-1]
    assert (last.index, last.nth, json.loads(last.text)["person"]) == (size, 6, 2)


def test_a_log_of_the_second_version_can_be_erased_from(old_2):
    old_2.erase_person("Jon", reason="asked", by="Ida", at=AT)
    assert [told.person for told in tasks.job_story(old_2, "1").spots[0].passes[0].inspections[0].disagreements] == [
        "erased person 3"
    ]


OLD_3 = Path(__file__).with_name("log_v0003.sqlite")
"""A log written by the third version: three jobs, two of them photographed, roles, entries, a person and an entry erased.
Never written again."""


@pytest.fixture
def old_3(tmp_path: Path, sqlite_only: None) -> Store:
    shutil.copy(OLD_3, tmp_path / "log.sqlite")
    return tasks.open_log(tmp_path, Settings())[0]


def test_a_log_of_the_third_version_keeps_its_tree(old_3):
    head = TreeHead(17, "55e389303f12bccf73c1680cbb9a08a1beb385c42910f6d02d3a4929bf83e425")  # as that version told it
    assert old_3.tree_head() == head


def test_a_log_of_the_third_version_tells_how_each_job_stands(old_3):
    told = [(one.job.number, one.spots, one.inspections, one.last_standing) for one in old_3.jobs()]
    assert told == [("J-0003", 0, 0, None), ("J-0002", 1, 1, Standing.RETAKE), ("J-0001", 2, 3, Standing.BRIGHT)]


def test_a_log_of_the_third_version_goes_on_counting(old_3, tmp_path):
    entry = Entry(record_for(b"next", spot()), "J-0001", "1", 3, "Ola", AT, 1)
    old_3.log(entry)
    line = old_3.jobs()[-1]
    assert (line.inspections, line.last_standing) == (4, Standing.RESIDUE_LEFT)


OLD_5 = Path(__file__).with_name("log_v0005.sqlite")
"""A log written by the fifth version: two jobs, five inspections by three people, one of whom was erased. Never written again."""


@pytest.fixture
def old_5(tmp_path: Path, sqlite_only: None) -> Store:
    shutil.copy(OLD_5, tmp_path / "log.sqlite")
    return tasks.open_log(tmp_path, Settings())[0]


def test_a_log_of_the_fifth_version_keeps_its_tree(old_5):
    head = TreeHead(13, "b1feab204939ed6eecf8a3e306d2c909e2801fe24d7551e573c10ffe484c87d7")  # as that version told it
    assert old_5.tree_head() == head


def test_a_log_of_the_fifth_version_tells_what_each_person_logged_and_goes_on(old_5):
    old_5.log(Entry(record_for(b"next", spot()), "J-0002", "1", 2, "Mika", AT, 1))
    told = {one.name: (one.inspections, one.jobs) for one in list_work(old_5)}
    assert told == {"Ida": (0, 0), "Rune": (0, 0), "Ola": (3, 2), "Mika": (2, 2), "erased person 5": (1, 1)}


def test_the_first_versions_are_still_made_as_they_were_on_sqlite(tmp_path, sqlite_only):
    """What a released migration makes never changes: the frozen logs were made by it."""
    engine = sa.create_engine(f"sqlite:///{tmp_path / 'new.sqlite'}")
    with engine.begin() as connection:
        config = Config()
        config.set_main_option("script_location", "prepcheck.store:migrations")
        config.attributes["connection"] = connection
        command.upgrade(config, "v0003_steps_and_tree")
    engine.dispose()
    assert made_of(tmp_path / "new.sqlite") == made_of(OLD_3)


def made_of(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as file:
        return [sql for (sql,) in file.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name")]


def test_opening_a_current_log_writes_nothing(log, tmp_path):
    before = all_bytes(log[0])
    tasks.open_log(tmp_path, Settings())
    assert all_bytes(log[0]) == before


def test_a_migration_that_raises_midway_leaves_nothing_and_can_be_tried_again(tmp_path, monkeypatch):
    def trip(*_: object) -> None:
        raise OSError("pulled the plug")

    monkeypatch.setattr(op, "create_index", trip)
    with pytest.raises(StoreFault):
        tasks.open_log(tmp_path, Settings())
    assert tables_in(tmp_path) == []
    monkeypatch.undo()
    store, _ = tasks.open_log(tmp_path, Settings())
    assert tasks.list_jobs(store) == []


KILLED = """
import os, signal, sys
from pathlib import Path
from alembic import op
from prepcheck import tasks
from prepcheck.settings import Settings
op.create_index = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
tasks.open_log(Path(sys.argv[1]), Settings())
"""


def test_a_migration_that_is_killed_can_be_tried_again(tmp_path):
    with start(KILLED, tmp_path) as process:
        process.communicate(timeout=60)
    assert process.returncode == -9
    store, _ = tasks.open_log(tmp_path, Settings())
    assert tasks.list_jobs(store) == []


def test_a_log_of_a_newer_version_is_left_alone(log, tmp_path):
    with other_program(log[0]) as other:
        other.execute(f"UPDATE {migrate.VERSION_TABLE} SET version_num = 'v9999_from_the_future'")
    before = all_bytes(log[0])
    with pytest.raises(StoreNewer, match=r"newer version of prepcheck \(v9999_from_the_future\)"):
        tasks.open_log(tmp_path, Settings())
    assert all_bytes(log[0]) == before
