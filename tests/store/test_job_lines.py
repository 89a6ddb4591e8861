"""The list of jobs says what the whole log says, however long that is; and what filters it."""

from __future__ import annotations

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from prepcheck import tasks
from prepcheck.errors import UnknownRecord, WrongUse
from prepcheck.record import Record
from prepcheck.store import JobLine, NewJob
from prepcheck.store import tables as t
from prepcheck.store.store import Store
from prepcheck.terms import Standing
from prepcheck.trade.entries import Note
from tests.store.logs import REFUSED, other_program
from tests.store.records import AT, PLACE, drawn_by_person, record_for, spot

STANDINGS = [str(one) for one in Standing]


def open_jobs(store: Store, count: int) -> None:
    for number in range(count):
        tasks.open_job(store, NewJob(f"Lid {number}"), person="Ida", at=AT)


def put(log, data: bytes, standing: str = "residue left", **place) -> int:
    return tasks.log_inspection(*log, record_for(data, spot(1, standing)), data, **{**PLACE, **place}).inspection


def numbers(lines: list[JobLine]) -> list[str]:
    return [line.job.number for line in lines]


def counted_anew(store: Store) -> dict[str, tuple[int, int, str | None, str | None]]:
    """Tell how each job stands from the inspections themselves, another way than the store keeps it."""
    told = {}
    for line in store.jobs():
        story = store.story(line.job.number)
        last = max(story.inspections, key=lambda one: one.number, default=None)
        seen = (None, None) if last is None else (last.standing.value, last.at)
        told[line.job.number] = (len(story.spots), len(story.inspections), *seen)
    return told


def kept(store: Store) -> dict[str, tuple[int, int, str | None, str | None]]:
    lines = store.jobs()
    return {one.job.number: (one.spots, one.inspections, one.last_standing, one.last_at) for one in lines}


def test_a_job_without_a_photo_has_nothing_counted(log):
    (line,) = log[0].jobs()
    assert (line.spots, line.inspections, line.last_standing, line.last_at) == (0, 0, None, None)


def test_the_line_of_a_job_is_that_of_its_newest_inspection(log):
    put(log, b"a", "residue left")
    put(log, b"b", "bright", spot="2", at=AT.replace(hour=11))
    (line,) = log[0].jobs()
    assert (line.spots, line.inspections, line.last_standing) == (2, 2, Standing.BRIGHT)
    assert line.last_at == "2026-11-24T11:12:00+00:00"


def test_the_standing_is_that_of_the_spot_as_a_person_drew_it(log):
    drawn = drawn_by_person(spot(2, "bright", by="person"), refused={1: "a reflection"})
    record = record_for(b"photo", spot(1, "residue left"), by_person=drawn)
    tasks.log_inspection(*log, record, b"photo", **PLACE)
    assert log[0].jobs()[0].last_standing is Standing.BRIGHT


def test_the_standing_of_a_photo_without_a_spot_is_its_own(log):
    tasks.log_inspection(*log, record_for(b"photo"), b"photo", **PLACE)
    assert log[0].jobs()[0].last_standing is Standing.RETAKE


STEP = st.tuples(
    st.integers(1, 3), st.sampled_from(["1", "2", "Neck", "neck"]), st.integers(1, 3), st.sampled_from(STANDINGS)
)


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=st.lists(STEP, max_size=6))
def test_what_is_kept_of_each_job_is_what_counting_anew_gives(log, steps):
    while log[0].count_jobs() < 3:
        open_jobs(log[0], 1)
    for number, (job, name, pass_no, standing) in enumerate(steps):
        put(log, f"{number} {steps}".encode(), standing, job=f"J-{job:04d}", spot=name, pass_no=pass_no)
    assert kept(log[0]) == counted_anew(log[0])


def test_what_is_taken_back_is_not_counted(log, monkeypatch):
    put(log, b"a")
    before = kept(log[0])
    monkeypatch.setattr("prepcheck.store.append.add_leaf", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        put(log, b"b")
    assert kept(log[0]) == before


@pytest.mark.parametrize(
    "change",
    [
        "last_standing = 'bright'",
        "inspections = inspections - 1",
        "inspections = inspections + 2, last_id = last_id + 1",
        "inspections = inspections + 1",
        "inspections = inspections + 1, last_id = last_id + 1, spots = 0",
        "inspections = inspections + 1, last_id = last_id + 1, job_id = 9",
    ],
)
def test_the_line_of_a_job_only_moves_forward(log, change):
    put(log, b"a")
    with other_program(log[0]) as other, pytest.raises(REFUSED, match="append-only: job_lines"):
        other.execute(f"UPDATE job_lines SET {change}")


# what each person logged in a job


def of_people(store: Store) -> list[tuple[int, int, int, int, int]]:
    with store.reading() as connection:
        rows = connection.execute(
            sa.select(t.person_lines).order_by(t.person_lines.c.person_id, t.person_lines.c.job_id)
        )
        return [tuple(row) for row in rows]


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=st.lists(st.tuples(st.integers(1, 3), st.sampled_from(["Ida", "Ola", "Jon"])), max_size=6))
def test_what_is_kept_of_each_person_is_what_counting_anew_gives(log, steps):
    while log[0].count_jobs() < 3:
        open_jobs(log[0], 1)
    for number, (job, person) in enumerate(steps):
        put(log, f"{number} {steps}".encode(), job=f"J-{job:04d}", person=person)
    i, of_job = t.inspections, t.spots.c.job_id
    anew = sa.select(i.c.person_id, of_job, sa.func.count(), sa.func.min(i.c.id), sa.func.max(i.c.id))
    anew = anew.select_from(i.join(t.passes).join(t.spots)).group_by(i.c.person_id, of_job)
    with log[0].reading() as connection:
        counted = sorted(tuple(row) for row in connection.execute(anew))
    assert of_people(log[0]) == counted


@pytest.mark.parametrize(
    "change",
    [
        "inspections = inspections - 1",
        "inspections = inspections + 1",
        "inspections = inspections + 1, last_id = last_id + 1, person_id = 9",
        "inspections = inspections + 1, last_id = last_id + 1, first_id = 0",
    ],
)
def test_the_line_of_a_person_only_moves_forward(log, change):
    put(log, b"a")
    with other_program(log[0]) as other, pytest.raises(REFUSED, match="append-only: person_lines"):
        other.execute(f"UPDATE person_lines SET {change}")


# filters


def test_the_newest_jobs_come_first_and_only_as_many_as_asked_for(log):
    open_jobs(log[0], 4)
    assert numbers(tasks.list_jobs(log[0], newest=2)) == ["J-0005", "J-0004"]
    assert numbers(tasks.list_jobs(log[0], newest=2, before="4")) == ["J-0003", "J-0002"]
    assert numbers(tasks.list_jobs(log[0], before="J-0001")) == []
    assert (log[0].count_jobs(), log[0].count_jobs("J-0004"), log[0].count_jobs("J-0001")) == (5, 3, 0)


def test_pages_of_jobs_together_are_the_whole_list(log):
    open_jobs(log[0], 6)
    pages, before = [], None
    while page := tasks.list_jobs(log[0], newest=3, before=before):
        pages += page
        before = page[-1].job.number
    assert pages == tasks.list_jobs(log[0])


@pytest.mark.parametrize("standing", STANDINGS)
def test_jobs_are_filtered_by_how_they_were_last_seen(log, standing):
    open_jobs(log[0], 5)
    for job, last in enumerate([*STANDINGS, standing], start=1):
        put(log, b"first %d" % job, "residue left", job=str(job))
        put(log, b"last %d" % job, last, job=str(job), pass_no=2)
    found = tasks.list_jobs(log[0], standing=standing.upper())
    assert numbers(found) == ["J-0005", f"J-{STANDINGS.index(standing) + 1:04d}"]
    assert found == [line for line in tasks.list_jobs(log[0]) if line.last_standing == standing]


def test_a_filter_that_means_nothing_is_refused(log):
    for asked in ({"standing": "clean"}, {"newest": 0}, {"newest": -1}, {"newest": 10**9}):
        with pytest.raises(WrongUse):
            tasks.list_jobs(log[0], **asked)
    with pytest.raises(UnknownRecord):
        tasks.list_jobs(log[0], before="J-0099")


def test_the_line_of_a_job_is_found_through_an_index(log):
    """Whatever the standing, and however many jobs there are."""
    with log[0].reading() as connection:
        names = {index["name"] for index in sa.inspect(connection).get_indexes("job_lines")}
    assert "job_lines_by_standing" in names


def test_entries_of_several_jobs_are_those_of_each(log):
    open_jobs(log[0], 2)
    for number in ("1", "3"):
        tasks.log_entry(log[0], number, Note(text=f"of job {number}"), person="Ida", at=AT)
    jobs = ["J-0001", "J-0002", "J-0003"]
    assert log[0].events_of(jobs) == {job: log[0].events(job) for job in jobs}


def test_records_of_many_inspections_are_those_of_each(log, monkeypatch):
    monkeypatch.setattr("prepcheck.store.read._AT_ONCE", 2)
    made = [put(log, b"%d" % number) for number in range(5)]
    told = {number: Record.model_validate_json(log[0].record_text(number)) for number in made}
    texts = log[0].record_texts([*made, 99])
    assert {number: Record.model_validate_json(text) for number, text in texts.items()} == told
