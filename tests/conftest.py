from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests import painted
from tests.command import Command

settings.register_profile("busy machine", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("busy machine")


@pytest.fixture
def command(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> Command:
    """The command line in an empty folder, with the model that ships."""
    return Command(capfd, tmp_path)


@pytest.fixture
def palette(monkeypatch: pytest.MonkeyPatch) -> None:
    """Makes the command line use the model that reads painted plates."""
    monkeypatch.setattr("prepcheck.looking.load_model", lambda name=None: painted.model())
