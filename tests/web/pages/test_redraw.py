from __future__ import annotations

import json

import pytest

from prepcheck.record import Record
from tests.web.pages.reading import read
from tests.web.shop import plate_jpeg, two_spots

ROUND = [[200, 150], [420, 140], [440, 330], [300, 360], [190, 320]]


def test_a_drawn_outline_is_looked_at_and_logged_beside_the_first_answer(phone, store, inspected):
    said = {"points": json.dumps(ROUND), "reason": "it left out the corner"}
    page = read(phone.post(f"/inspections/{inspected}/outlines", data=said))
    assert "With outlines changed by a person" in page.words
    first, second = sorted(store.story("J-0001").inspections, key=lambda one: one.number)
    assert (second.corrects, second.person, second.note) == (first.number, "Rune", "it left out the corner")
    assert second.outline in second.drawn
    assert f"inspection {second.number}" in read(phone.get(f"/inspections/{first.number}")).words


def test_a_refused_outline_is_logged_with_its_reason(phone, store, inspected):
    read(phone.post(f"/inspections/{inspected}/outlines", data={"refuse": "1", "reason": "that is the bench"}))
    second = max(store.story("J-0001").inspections, key=lambda one: one.number)
    assert second.refused == {1: "that is the bench"}


def test_a_joint_line_tells_what_lies_at_it(phone, inspected):
    said = {"points": json.dumps([[200, 240], [440, 240]]), "margin_mm": "25"}
    page = read(phone.post(f"/inspections/{inspected}/joint", data=said))
    assert "Joint line: touched by oxide" in page.words


def spot_logged(store):
    return max(store.story("J-0001").inspections, key=lambda one: one.number)


def joint_of(store):
    record = Record.model_validate_json(store.record_text(spot_logged(store).number))
    return record.by_person.joint if record.by_person else record.joint


def test_the_margin_beside_the_joint_is_the_one_stated(app, phone, store):
    phone.inspect(plate_jpeg(), mm_per_px=0.25)
    line = json.dumps([[200, 240], [440, 240]])
    page = read(phone.post("/inspections/1/joint", data={"points": line, "margin_mm": " 12,5 "}))
    assert "Margin of 12.5 mm each side (as stated by a person" in page.words
    assert (joint_of(store).margin_mm, joint_of(store).margin_stated) == (12.5, True)


def test_a_margin_left_empty_is_that_of_the_settings_with_its_mark(app, phone, store):
    """25 mm: shop practice, from memory."""
    phone.inspect(plate_jpeg(), mm_per_px=0.25)
    page = read(phone.post("/inspections/1/joint", data={"points": json.dumps([[200, 240], [440, 240]])}))
    assert "Margin of 25 mm each side (shop practice, from memory" in page.words
    assert (joint_of(store).margin_mm, joint_of(store).margin_stated) == (25.0, False)


def test_a_joint_drawn_after_an_outline_keeps_the_outline_and_what_was_refused(phone, store, inspected):
    told = {"points": json.dumps(ROUND), "refuse": "1", "reason": "that is the bench"}
    read(phone.post(f"/inspections/{inspected}/outlines", data=told))
    before = spot_logged(store)
    read(phone.post(f"/inspections/{before.number}/joint", data={"points": json.dumps([[200, 240], [440, 240]])}))
    after = spot_logged(store)
    assert (after.corrects, after.drawn, after.refused) == (before.number, before.drawn, before.refused)
    assert after.outline == before.outline
    assert joint_of(store).line == [(200.0, 240.0), (440.0, 240.0)]


def test_an_outline_drawn_after_a_joint_keeps_the_joint(phone, store, inspected):
    line = json.dumps([[200, 240], [440, 240]])
    read(phone.post(f"/inspections/{inspected}/joint", data={"points": line, "margin_mm": "10"}))
    read(phone.post("/inspections/2/outlines", data={"points": json.dumps(ROUND), "reason": "it left out the corner"}))
    assert joint_of(store).line == [(200.0, 240.0), (440.0, 240.0)]


@pytest.mark.parametrize("margin", ["0", "-3", "501", "nan", "inf", "wide", "<script>"])
def test_a_margin_that_cannot_be_judged_is_asked_again(phone, store, inspected, margin):
    said = {"points": json.dumps([[200, 240], [440, 240]]), "margin_mm": margin}
    read(phone.post(f"/inspections/{inspected}/joint", data=said), 400)
    assert len(store.story("J-0001").inspections) == 1


def test_a_joint_on_a_photo_of_two_places_keeps_the_one_that_was_chosen(app, phone, store):
    phone.follow(phone.ask(phone.send(two_spots()), outline=2))
    read(phone.post("/inspections/1/joint", data={"points": json.dumps([[400, 240], [560, 240]])}))
    assert (spot_logged(store).corrects, spot_logged(store).outline) == (1, 2)


@pytest.mark.parametrize(
    ("form", "said", "told"),
    [
        ("outlines", {"reason": "why"}, "nothing was drawn and nothing refused"),
        ("outlines", {"points": json.dumps(ROUND)}, "the reason is missing"),
        ("outlines", {"points": "[[1]]", "reason": "why"}, "what was drawn cannot be used"),
        ("outlines", {"points": '[["<script>", 2]]', "reason": "why"}, "what was drawn cannot be used"),
        ("joint", {}, "no joint line was drawn"),
        ("joint", {"points": "[[NaN, 1], [2, 2]]"}, "what was drawn cannot be used"),
    ],
)
def test_what_says_too_little_is_asked_again_in_its_own_form(phone, store, inspected, form, said, told):
    page = read(phone.post(f"/inspections/{inspected}/{form}", data=said), 400)
    assert told in page.words
    assert any("open" in one for one in page.all("details"))
    assert len(store.story("J-0001").inspections) == 1


def test_an_outline_that_leaves_the_photo_is_told(phone, inspected):
    said = {"points": json.dumps([[9000, 9000], [9100, 9000], [9100, 9100]]), "reason": "why"}
    page = read(phone.post(f"/inspections/{inspected}/outlines", data=said), 400)
    assert "This photo was not logged" in page.words
