from __future__ import annotations

from pathlib import Path

import pytest

from prepcheck.archive import Archive
from prepcheck.store.store import Store
from tests.store.records import new_log


@pytest.fixture
def log(tmp_path: Path) -> tuple[Store, Archive]:
    """A new log with the job J-0001 in it."""
    return new_log(tmp_path)
