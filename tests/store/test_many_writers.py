"""Several processes at once, and one that is killed, lose nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from prepcheck import tasks
from prepcheck.settings import Settings
from tests.store.logs import check_database
from tests.store.records import start

WRITER = """
import sys
from pathlib import Path
from prepcheck import tasks
from prepcheck.settings import Settings
from prepcheck.store import NewJob
from tests.store.logs import check_database
from tests.store.records import AT, PLACE, record_for, spot
folder, who, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
store, archive = tasks.open_log(folder, Settings())
for n in range(count):
    job = tasks.open_job(store, NewJob(f"{who} {n}"), person=who, at=AT)
    data = f"{who} {n}".encode()
    place = {**PLACE, "job": job.number, "person": f"welder {n % 3}"}
    logged = tasks.log_inspection(store, archive, record_for(data, spot()), data, **place)
    print(job.number, logged.inspection, flush=True)
"""


def test_three_processes_that_open_a_new_log_together_lose_no_row(tmp_path: Path):
    count = 20
    writers = [start(WRITER, tmp_path, who, count) for who in ("Ida", "Jon", "Marta")]
    said = [writer.communicate(timeout=100) for writer in writers]
    assert [writer.returncode for writer in writers] == [0, 0, 0], said
    lines = "".join(out for out, _ in said).split("\n")[:-1]
    store, _ = tasks.open_log(tmp_path, Settings(), create=False)
    jobs = tasks.list_jobs(store)
    assert sorted(line.job.number for line in jobs) == [f"J-{n:04d}" for n in range(1, 3 * count + 1)]
    assert sorted(int(line.split()[1]) for line in lines) == list(range(1, 3 * count + 1))
    assert {line.inspections for line in jobs} == {1}


def test_people_first_seen_by_several_processes_are_written_once(tmp_path: Path):
    writers = [start(WRITER, tmp_path, who, 6) for who in ("Ida", "IDA", "ida")]
    assert [writer.communicate(timeout=100) and writer.returncode for writer in writers] == [0, 0, 0]
    store, _ = tasks.open_log(tmp_path, Settings(), create=False)
    assert len({line.job.opened_by for line in tasks.list_jobs(store)}) == 1


@pytest.mark.parametrize("lines", [1, 9, 23])
def test_a_killed_writer_loses_nothing_that_it_reported(tmp_path: Path, lines: int):
    with start(WRITER, tmp_path, "Ida", 10_000) as writer:
        assert writer.stdout is not None
        reported = [writer.stdout.readline() for _ in range(lines)]
        writer.kill()
        reported += writer.stdout.read().splitlines(keepends=True)
    numbers = [line.split()[0] for line in reported if line.endswith("\n")]
    store, archive = tasks.open_log(tmp_path, Settings(), create=False)
    for number in numbers:
        (inspection,) = tasks.job_story(store, number).spots[0].passes[0].inspections
        archive.get(inspection.photo_sha256)
    check_database(store)
