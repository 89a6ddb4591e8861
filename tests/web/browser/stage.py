"""A finger on the photo of a page, while all of its 4000 by 3000 pixels are shown."""

from __future__ import annotations

import pytest

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import Page


def box(page: Page) -> dict[str, float]:
    """Return where the photo lies on the screen."""
    page.locator("#stage").scroll_into_view_if_needed()
    found = page.locator("#stage").bounding_box()
    assert found is not None
    return dict(found)


def on_stage(page: Page, x: float, y: float) -> tuple[float, float]:
    """Turn full-size pixels of the photo into a place on the screen."""
    stage = box(page)
    return stage["x"] + (x + 0.5) / 4000 * stage["width"], stage["y"] + (y + 0.5) / 3000 * stage["height"]


def stroke(page: Page, *places: tuple[float, float], steps: int = 12) -> None:
    """Draw from place to place, each reached in so many steps."""
    first, *rest = [on_stage(page, *place) for place in places]
    page.mouse.move(*first)
    page.mouse.down()
    for place in rest:
        page.mouse.move(*place, steps=steps)
    page.mouse.up()
