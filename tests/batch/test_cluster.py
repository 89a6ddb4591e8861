"""A batch on a real Dask cluster over TLS whose parts are killed at random moments. Services tier.

How many kills: PREPCHECK_KILLS (5 otherwise).
"""

from __future__ import annotations

import asyncio
import gc
import os
import random
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from prepcheck.batch.cluster import Cluster
from prepcheck.batch.cluster_keys import make_keys
from prepcheck.batch.crew import Workers
from prepcheck.errors import ClusterFault
from tests.batch.machines import ROOT, Machines, free_port, kill, look_through, machines, make_photos, tables

pytestmark = [
    pytest.mark.services,
    pytest.mark.filterwarnings("ignore::DeprecationWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]

KILLS = int(os.environ.get("PREPCHECK_KILLS", "5"))
PHOTOS = 50 + 50 * KILLS


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_photos(tmp_path_factory.mktemp("shop") / "photos", PHOTOS)


@pytest.fixture(scope="module")
def undisturbed(photos: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The tables that one process of this computer makes when nobody disturbs it."""
    out, crew = tmp_path_factory.mktemp("shop") / "out", Workers(1)
    assert look_through(photos, out, crew) == PHOTOS
    crew.close()
    return tables(photos, out)


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Machines]:
    with machines(tmp_path) as made:
        yield made


def moment() -> float:
    return random.uniform(0.1, 1.2)


def test_a_cluster_gives_the_table_of_one_computer(cluster, photos, undisturbed, tmp_path):
    crew = cluster.crew()
    assert look_through(photos, tmp_path / "out", crew) == PHOTOS
    crew.close()
    assert tables(photos, tmp_path / "out") == undisturbed


def test_killed_workers_lose_nothing_and_repeat_no_row(cluster, photos, undisturbed, tmp_path):
    crew, stop = cluster.crew(), threading.Event()
    killed = 0

    def disturb() -> None:
        nonlocal killed
        while killed < KILLS and not stop.wait(moment()):
            cluster.kill_worker(killed % 2)
            killed += 1

    thread = threading.Thread(target=disturb)
    thread.start()
    done = look_through(photos, tmp_path / "out", crew)
    stop.set()
    thread.join()
    crew.close()
    print(f"{killed} workers killed")
    assert killed >= KILLS / 2
    assert done == PHOTOS
    assert tables(photos, tmp_path / "out") == undisturbed


def test_a_killed_scheduler_is_told_and_the_next_run_goes_on(cluster, photos, undisturbed, tmp_path, capfd):
    told: list[str] = []
    while len(told) < KILLS:
        crew = cluster.crew()
        killer = threading.Timer(moment(), cluster.kill_scheduler)
        killer.start()
        try:
            look_through(photos, tmp_path / "out", crew)
            break
        except ClusterFault as error:
            told.append(error.message)
        finally:
            killer.join()
            crew.close()
    crew = cluster.crew()
    look_through(photos, tmp_path / "out", crew)
    crew.close()
    assert capfd.readouterr() == ("", "")  # nobody but us tells of it
    print(f"{len(told)} runs ended by a killed scheduler")
    assert len(told) >= min(KILLS, 2)
    assert all("the scheduler is gone; what was done is kept" in message for message in told)
    assert tables(photos, tmp_path / "out") == undisturbed


def test_a_client_that_met_a_fault_while_it_connected_anew_is_left_without_a_word_of_its_destructor(
    cluster, monkeypatch
):
    crew, unraised = cluster.crew(), []
    monkeypatch.setattr(sys, "unraisablehook", lambda one: unraised.append(one.exc_value))
    threads = threading.active_count()

    async def met_a_fault(client: Any) -> None:
        async def fault() -> None:
            raise OSError("no scheduler there")

        client._handle_report_task.cancel()
        client._handle_report_task = asyncio.ensure_future(fault())

    crew._client.sync(met_a_fault, crew._client)
    crew.close()
    del crew
    gc.collect()
    assert (unraised, threading.active_count()) == ([], threads - 1)


def test_a_killed_client_loses_nothing(cluster, photos, undisturbed, tmp_path):
    cluster.crew().close()
    killed, whole = 0, 0
    while killed < KILLS:
        client = start_client(cluster, photos, tmp_path / f"out{whole}")
        time.sleep(1.5 + moment())
        if client.poll() is None:
            kill(client)
            killed += 1
            continue
        assert tables(photos, tmp_path / f"out{whole}") == undisturbed
        whole += 1
    assert start_client(cluster, photos, tmp_path / f"out{whole}").wait(300) == 0
    print(f"{killed} clients killed")
    assert tables(photos, tmp_path / f"out{whole}") == undisturbed


def start_client(cluster: Machines, photos: Path, out: Path) -> subprocess.Popen[bytes]:
    call = [sys.executable, "-m", "tests.batch.machines", photos, out, cluster.address, cluster.keys]
    return subprocess.Popen(call, cwd=ROOT)


def test_without_a_worker_there_is_no_work(tmp_path):
    with machines(tmp_path, workers=0) as made, pytest.raises(ClusterFault, match="has no worker"):
        made.crew(seconds=8)


def test_other_keys_are_not_let_in(cluster, tmp_path):
    cluster.crew().close()
    make_keys(tmp_path / "others", datetime.now(UTC))
    with pytest.raises(ClusterFault, match="does not accept these keys"):
        Cluster(cluster.address, tmp_path / "others")


def test_a_client_that_does_not_encrypt_is_not_let_in(cluster):
    cluster.crew().close()
    with pytest.raises(ClusterFault, match="does not answer"):
        Cluster(cluster.address.replace("tls", "tcp"))


def test_a_scheduler_that_is_not_there_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr("prepcheck.batch.cluster._SECONDS_TO_CONNECT", 1)
    make_keys(tmp_path / "keys", datetime.now(UTC))
    with pytest.raises(ClusterFault, match="does not answer"):
        Cluster(f"tls://127.0.0.1:{free_port()}", tmp_path / "keys")


@pytest.fixture
def older(tmp_path: Path) -> str:
    """A file that makes a worker one of an older version."""
    file = tmp_path / "older.py"
    file.write_text('import prepcheck\nprepcheck.__version__ = "0.0.9"\n')
    return str(file)


def test_a_worker_of_another_version_is_refused_by_name(tmp_path, older):
    with machines(tmp_path, workers=0) as made:
        made.start_worker("--preload", older)
        with pytest.raises(ClusterFault, match=r"tls://127.0.0.1:\d+: is of another version \(prepcheck is 0.0.9"):
            made.crew(seconds=15)


def test_a_worker_of_another_version_that_comes_later_ends_the_run(cluster, older, photos, tmp_path):
    crew = cluster.crew()
    cluster.start_worker("--preload", older)
    with pytest.raises(ClusterFault, match=r"tls://127.0.0.1:\d+: another version came \(prepcheck is 0.0.9"):
        look_through(photos, tmp_path / "out", crew)
    crew.close()
