from __future__ import annotations

from pathlib import Path

import pytest

from prepcheck import tasks
from prepcheck.archive import Archive
from prepcheck.settings import Settings
from prepcheck.store import NewJob
from prepcheck.store.store import Store
from tests.store.records import AT


@pytest.fixture
def log(tmp_path: Path) -> tuple[Store, Archive]:
    """A new log with the job J-0001 in it."""
    store, archive = tasks.open_log(tmp_path, Settings())
    tasks.open_job(store, NewJob("Bowser, crack at the filler neck"), person="Ida", at=AT)
    return store, archive
