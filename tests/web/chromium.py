"""Debian's Chromium, without a window; tests that need it are skipped where it is missing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import Browser, sync_playwright

CHROMIUM = Path("/usr/bin/chromium")
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-dev-shm-usage"]


def need_chromium() -> None:
    """Skip where there is no Chromium."""
    if not CHROMIUM.exists():
        pytest.skip("no chromium on this machine")


@contextmanager
def launcher() -> Iterator[Callable[..., Browser]]:
    """Give what starts Chromium, with switches beside the usual ones."""
    need_chromium()
    with sync_playwright() as playwright:
        yield lambda *more: playwright.chromium.launch(executable_path=str(CHROMIUM), args=[*QUIET, *more])
