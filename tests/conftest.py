from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests import painted
from tests.command import Command
from tests.store import logs

settings.register_profile("busy machine", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("busy machine")


@pytest.fixture
def command(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> Command:
    """The command line in an empty folder, with the model that ships."""
    return Command(capfd, tmp_path)


@pytest.fixture
def palette(monkeypatch: pytest.MonkeyPatch) -> None:
    """Makes the command line use the model that reads painted plates."""
    monkeypatch.setattr("prepcheck.looking.look.load_model", lambda name=None: painted.model())


@pytest.fixture(scope="session", autouse=True)
def logs_of_this_run() -> Iterator[None]:
    """Keeps the logs of all tests on a PostgreSQL server of our own, where `tests.store.logs` is told to."""
    if os.environ.get(logs.SWITCH, "sqlite") == "sqlite":
        yield
        return
    from tests.store.postgres_server import running

    with running() as server:
        server.run("CREATE TABLE places (datname text PRIMARY KEY, folder text)")
        logs.keep_on(server.address("").rstrip("/"))
        yield


@pytest.fixture(autouse=logs.SWITCH in os.environ)
def _tidy_databases(tmp_path: Path) -> Iterator[None]:
    yield
    logs.drop_below(tmp_path)


@pytest.fixture
def sqlite_only() -> None:
    """For a test of the log's file itself: its bytes, locks and pragmas."""
    if logs.on_server():
        pytest.skip("is about the file of a log in SQLite")
