"""A log of a million inspections, on SQLite and on a PostgreSQL server that this starts: how long it takes to read it.

``python -m tests.bench.bench_store [--rows 1000000] [--on sqlite|postgresql|both]`` (tier: by hand with services; a million
rows need about 10 GB of disk and several minutes to generate). The rows go straight into the database; what is measured goes
through the store as commands and page use it. Every figure is the median of several calls, with the spread. Each call opens
its own connection. On a quiet machine please.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import random
import resource
import secrets
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack, closing
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import psycopg

from prepcheck import __version__, tasks
from prepcheck.archive import open_archive
from prepcheck.archive.job_seal import gather, seal_job
from prepcheck.archive.verify import verify
from prepcheck.merkle import leaf_hash
from prepcheck.progress.gather import tell_person
from prepcheck.progress.log import list_work
from prepcheck.settings import Settings
from prepcheck.store import LOG_FILE, StoreAddress
from prepcheck.store.leaves import canonical
from prepcheck.store.store import Store
from prepcheck.store.tables import metadata
from prepcheck.tasks.shop_fit import disagreed
from prepcheck.terms import Standing
from prepcheck.web.pages.desk import Desk
from prepcheck.web.pages.jobs import jobs_page
from tests.store.postgres_server import running
from tests.store.records import MODEL, SETTINGS, record_for, spot

SPOTS, PASSES = 4, 5
OF_JOB = SPOTS * PASSES
"""Inspections in a job, one in each pass of each spot: a job of a week."""
START = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)
PEOPLE = ("Ola", "Mika", "Rune", "Ida", "Jon", "Marta")
RARE = 2_000
"""One job in so many ends in `cannot tell`; of the others one in ten ends with residue left, and in all it is seen on the way."""
FIRST = [
    table for table in metadata.sorted_tables if table.name not in ("credentials", "pin_attempts", "disagreements")
]


def main() -> None:
    """Generate, measure, print."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--rows", type=int, default=1_000_000)
    asked.add_argument("--on", choices=("sqlite", "postgresql", "both"), default="both")
    asked.add_argument("--folder", type=Path, default=None, help="Where to generate; a folder of its own otherwise.")
    told = asked.parse_args()
    with ExitStack() as open_:
        place = told.folder or Path(open_.enter_context(tempfile.TemporaryDirectory()))
        place.mkdir(exist_ok=True)
        if not (place / LOG_FILE).exists():
            _timed("generated on SQLite", lambda: generate(place, told.rows // OF_JOB))
        if told.on != "postgresql":
            measure("SQLite", tasks.open_log(place, Settings())[0], place)
        if told.on != "sqlite":
            server = open_.enter_context(running(max_wal_size="4GB", shared_buffers="256MB"))
            server.run("CREATE DATABASE shop")
            address = StoreAddress(place, server.address("shop"))
            store, _ = tasks.open_log(address, Settings())
            _timed("copied to PostgreSQL", lambda: copy(place / LOG_FILE, address.database))
            measure("PostgreSQL", store, place)


# ---- measuring


def measure(name: str, store: Store, place: Path) -> None:
    """Print how long reading takes, and what it needs."""
    count = len(store.jobs())
    middle, last = f"J-{count // 2:04d}", f"J-{count:04d}"
    print(f"\n{name}: {count:,} jobs, {count * OF_JOB:,} inspections")
    _row("newest 50 jobs", lambda: store.jobs(newest=50))
    _row(f"50 jobs before {middle}", lambda: store.jobs(newest=50, before=middle))
    for standing in Standing:
        _row(f"newest 50 jobs last seen '{standing}'", lambda standing=standing: store.jobs(standing, newest=50))
    _row(f"job page of {middle}, {OF_JOB} inspections", lambda: store.story(middle))
    _row(f"job page of {last}", lambda: store.story(last))
    _row("entries of a job", lambda: store.events(middle))
    _row("earlier passes of a spot", lambda: store.earlier_passes(middle, "2", 5))
    _row("an answer found again", lambda: _cached(store))
    _row("people", store.people)
    _row("people list", lambda: list_work(store))
    desk = Desk(store, open_archive(place), Settings(), datetime.now(UTC), "Ola")
    _row("first page, 30 jobs with their entries", lambda: jobs_page(desk))
    _row(f"page of 30 jobs before {middle}", lambda: jobs_page(desk, middle))
    print("not limited:")
    _row("one inspection logged", lambda: _log_one(store), times=9)
    _row("one entry logged", lambda: _note_one(store), times=9)
    _row("all jobs", store.jobs, times=3)
    _row("drift: who disagreed, before and since", lambda: disagreed(store, datetime(2027, 1, 1, tzinfo=UTC)), times=3)
    progress = Settings().progress
    _row(f"people show, one of {len(PEOPLE)}", lambda: tell_person(store, "Ola", progress), times=1)
    _row("people compare, two of them", lambda: [tell_person(store, one, progress) for one in PEOPLE[:2]], times=1)
    _row("head of the tree", store.tree_head, times=3)
    _row("evidence of a job gathered", lambda: gather(store, middle, None), times=1)
    _seal(store, place, middle)
    print(f"  most memory of this process so far: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:,.0f} MiB")


def _seal(store: Store, place: Path, job: str) -> None:
    """Seal a job whose photos are made on the spot, as the log only has their hashes."""
    photos: Any = _Photos(store, job)
    at = datetime.now(UTC) + timedelta(days=9000)

    def bag() -> Path:
        out = place / f"bag-{secrets.token_hex(4)}.zip"
        seal_job(store, photos, job, out, person="Ola", at=at, as_zip=True)
        return out

    _row("a job sealed", bag, times=1)
    out = bag()
    _row("its bag verified", lambda: verify(out), times=3)


class _Photos:
    def __init__(self, store: Store, job: str) -> None:
        self._numbers = {one.photo_sha256: one.number for one in store.story(job).inspections}

    def get(self, sha256: str) -> bytes:
        return _photo(self._numbers[sha256])


def _cached(store: Store) -> None:
    sha256 = hashlib.sha256(_photo(7)).hexdigest()
    assert tasks.cached_result(store, sha256, MODEL, SETTINGS) is not None


def _log_one(store: Store) -> None:
    from prepcheck.store import Entry

    data = secrets.token_bytes(32)
    record = record_for(data, spot(), picture_hash=secrets.token_hex(8))
    store.log(Entry(record, "J-0001", "1", 9, "Ola", datetime.now(UTC), 1))


def _note_one(store: Store) -> None:
    from prepcheck.trade.entries import Note

    store.add_event("J-0001", Note(text="ground"), "Ola", datetime.now(UTC))


def _row(what: str, work: Callable[[], object], times: int = 15) -> None:
    work()
    took = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        took.append(1000 * (time.perf_counter() - start))
    print(f"  {what:<44} {statistics.median(took):>10.1f} ms  ({min(took):.1f} to {max(took):.1f})", flush=True)


def _timed(what: str, work: Callable[[], object]) -> None:
    start = time.perf_counter()
    work()
    print(f"{what} in {time.perf_counter() - start:,.0f} s", flush=True)


# ---- generating


def generate(folder: Path, jobs: int) -> None:
    """Fill a new SQLite log, past its store."""
    tasks.open_log(folder, Settings())
    with closing(sqlite3.connect(folder / LOG_FILE)) as file:
        for pragma in ("synchronous = OFF", "journal_mode = OFF", "cache_size = -1500000"):
            file.execute(f"PRAGMA {pragma}")
        put = _Inserter(file)
        leaves = _Leaves(put)
        for number, name in enumerate(PEOPLE, start=1):
            put.row("people", id=number, name=name, folded=name.casefold())
            leaves.add(None, "person", number, {"name": name})
        rng = random.Random(7)
        for job in range(1, jobs + 1):
            _job(put, leaves, rng, job)
            if job % 1000 == 0:
                put.flush()
                print(f"\r{job:,} of {jobs:,} jobs", end="", file=sys.stderr)
        put.flush()
        file.execute("ANALYZE")
        file.commit()
    print(file=sys.stderr)


def _job(put: _Inserter, leaves: _Leaves, rng: random.Random, job: int) -> None:
    at, number, person = _at(job, 0), f"J-{job:04d}", 1 + job % len(PEOPLE)
    told = {"title": f"Bowser {job}", "part": "sump", "alloy": "5083", "wall_mm": None, "previous_contents": "diesel"}
    more = {**told, "customer_reference": ""}
    put.row("jobs", id=job, number=number, **more, opened_at=at, opened_by=person)
    leaves.add(job, "job", job, {**more, "at": at, "person": person, "job": number})
    for place in range(OF_JOB):
        _inspection(put, leaves, rng, job, place, person)
    last, standing, last_at = job * OF_JOB, _standing(job, OF_JOB - 1), _at(job, OF_JOB - 1)
    counts = {"spots": SPOTS, "inspections": OF_JOB}
    put.row("job_lines", job_id=job, **counts, last_id=last, last_standing=standing, last_at=last_at)
    ends = {"first_id": last - OF_JOB + 1, "last_id": last}
    put.row("person_lines", person_id=person, job_id=job, inspections=OF_JOB, **ends)
    body = {"kind": "note", "text": "new disc"}
    put.row("events", id=job, job_id=job, person_id=person, role="", kind="note", at=at, body=_plain(body))
    leaves.add(job, "event", job, {"at": at, "role": "", "person": person, "job": number, "entry": body})


def _inspection(put: _Inserter, leaves: _Leaves, rng: random.Random, job: int, place: int, person: int) -> None:
    row = (job - 1) * OF_JOB + place + 1
    spot_no, pass_no = place // PASSES + 1, place % PASSES + 1
    spot_id, standing, at = (job - 1) * SPOTS + spot_no, _standing(job, place), _at(job, place)
    made = _Made(row, standing, f"{rng.getrandbits(64):016x}")
    if pass_no == 1:
        put.row("spots", id=spot_id, job_id=job, number=spot_no, name="", folded=None)
    put.row("passes", id=row, spot_id=spot_id, pass_no=pass_no)
    put.row("photos", **{**_photo_columns(), "sha256": made.sha256, "picture_hash": made.picture_hash})
    origin = {"version": __version__, "model_sha256": MODEL, "settings_sha256": SETTINGS, "inputs_sha256": ""}
    hashed = hashlib.sha256(made.text.encode()).hexdigest()
    result = {"record": made.text, "record_sha256": hashed, "computed_at": at, "score": 82.0, "standing": standing}
    put.row("results", id=row, photo_sha256=made.sha256, **origin, **result)
    where = {"pass_id": row, "person_id": person, "photo_sha256": made.sha256, "result_id": row, "at": at}
    put.row("inspections", id=row, **where, photo_name="bowser.jpg", outline=1, note="", flags="[]", corrects=None)
    photo = {"position": 1, "photo_sha256": made.sha256, "name": "bowser.jpg"}
    put.row("inspection_photos", id=row, inspection_id=row, **photo)
    outline = {"outlined_by": "tool", "standing": standing, "spot_id": spot_id, "points": "[[0,0],[9,0],[9,9]]"}
    put.row("outlines", id=row, inspection_id=row, number=1, refused=None, **outline)
    told = {"at": at, "job": f"J-{job:04d}", "outline": 1, "pass": pass_no, "person": person, "spot": spot_no}
    of_photo = {"photos": [made.sha256], "record_sha256": hashlib.sha256(made.canonical.encode()).hexdigest()}
    none = {"corrects": None, "flags": [], "inputs_sha256": "", "note": "", "since_sha256": None, "spot_name": ""}
    leaves.add(job, "inspection", row, {**told, **of_photo, **none})


class _Made:
    """The record of a photo, out of one that was made once for each standing."""

    def __init__(self, row: int, standing: str, picture_hash: str) -> None:
        self.sha256 = hashlib.sha256(_photo(row)).hexdigest()
        self.picture_hash = picture_hash
        self.text, self.canonical = (self._mine(text) for text in _templates(standing))

    def _mine(self, text: str) -> str:
        return text.replace(_ANY_PHOTO, self.sha256).replace(_ANY_HASH, self.picture_hash)


_ANY_PHOTO, _ANY_HASH = hashlib.sha256(b"any photo").hexdigest(), "0123456789abcdef"


@cache
def _templates(standing: str) -> tuple[str, str]:
    record = record_for(b"any photo", spot(1, standing), picture_hash=_ANY_HASH)
    return record.model_dump_json(), canonical(record.model_dump(mode="json"))


@cache
def _photo_columns() -> dict[str, Any]:
    photo = record_for(b"any photo").photo
    return {name: getattr(photo, name) for name in metadata.tables["photos"].columns.keys()}  # noqa: SIM118


def _plain(thing: Any) -> str:
    """Canonical JSON, for texts and whole numbers."""
    return json.dumps(thing, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def _standing(job: int, place: int) -> str:
    if place < OF_JOB - 1:
        return "bright" if place % PASSES == PASSES - 1 else "residue left"
    if job % RARE == 1:
        return "cannot tell"
    return "residue left" if job % 10 == 0 else "bright"


def _at(job: int, place: int) -> str:
    return (START + timedelta(minutes=20 * job + place)).isoformat(timespec="seconds")


def _photo(row: int) -> bytes:
    return f"photo {row}".encode()


class _Inserter:
    """Gathers rows by table, and inserts them in the order in which tables need each other."""

    def __init__(self, file: sqlite3.Connection) -> None:
        self._file = file
        self._rows: dict[str, list[dict[str, Any]]] = {table.name: [] for table in FIRST}

    def row(self, table: str, **values: Any) -> None:
        self._rows[table].append(values)

    def flush(self) -> None:
        for table, rows in self._rows.items():
            if rows:
                names = ", ".join(rows[0])
                marks = ", ".join(f":{name}" for name in rows[0])
                self._file.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", rows)
                rows.clear()
        self._file.commit()


class _Leaves:
    """Makes the leaves as `prepcheck.store.leaves` does."""

    def __init__(self, put: _Inserter) -> None:
        self._put = put
        self._count = 0
        self._nth: dict[int | None, int] = {}

    def add(self, job: int | None, kind: str, row: int, told: dict[str, Any]) -> None:
        self._count += 1
        nth = self._nth[job] = self._nth.get(job, 0) + 1
        text, salt = _plain({"kind": kind, "number": row, "nth": nth, **told}), secrets.token_bytes(16)
        hashed = leaf_hash(salt + text.encode()).hex()
        place = {"job_id": job, "nth": nth, "kind": kind, "row": row}
        self._put.row("leaves", id=self._count, **place, salt=salt.hex(), text=text, hash=hashed, erased="")


def copy(file: Path, database: str) -> None:
    """Copy every row of a SQLite log into an empty log on a server."""
    with closing(sqlite3.connect(file)) as log, psycopg.connect(database) as server:
        for table in metadata.sorted_tables:
            names = ", ".join(f'"{name}"' for name in table.columns.keys())  # noqa: SIM118
            with server.cursor().copy(f"COPY {table.name} ({names}) FROM STDIN") as into:
                for row in log.execute(f"SELECT {names} FROM {table.name} ORDER BY 1"):
                    into.write_row(row)
    with psycopg.connect(database, autocommit=True) as server:
        server.execute("VACUUM ANALYZE")  # as autovacuum does by itself in a log that grows


if __name__ == "__main__":
    main()
