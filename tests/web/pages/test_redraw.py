from __future__ import annotations

import json

import pytest

from tests.web.pages.reading import read

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
