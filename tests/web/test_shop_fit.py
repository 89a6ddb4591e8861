"""The page reads photos with the shop's own fit, and says so."""

from __future__ import annotations

import pytest

from prepcheck.evaluate.fit_shop_read import Read
from prepcheck.tasks.shop_fit import keep_fit, take_back
from tests import painted
from tests.evaluate.shop_labels import shop
from tests.web.shop import NOON, SETTINGS, plate_jpeg


@pytest.fixture
def kept(app):
    return keep_fit(
        app.state.shop.store, Read(shop(12, slope=0.3, shift=-0.5)), painted.model(), SETTINGS, person="Rune", at=NOON
    )


def test_a_photo_is_read_with_the_fit_and_its_page_names_it(kept, phone):
    phone.inspect(plate_jpeg())
    assert phone.get("/api/inspections/1").json()["record"]["origin"]["shop_fit"] == kept.sha256
    assert "read with this shop&#39;s own fit of 2026-11-28" in phone.get("/inspections/1").text


def test_the_same_photo_after_the_fit_is_taken_back_is_read_without_it(app, kept, phone):
    phone.inspect(plate_jpeg())
    take_back(app.state.shop.store, person="Rune", reason="new lamps", at=NOON)
    phone.inspect(plate_jpeg(), key="another-question-of-the-phone")
    fits = [phone.get(f"/api/inspections/{number}").json()["record"]["origin"]["shop_fit"] for number in (1, 2)]
    assert fits == [kept.sha256, None]
