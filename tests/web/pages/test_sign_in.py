from __future__ import annotations

import pytest

from prepcheck.web.pages.sign_in import inside
from tests.web.pages.reading import read
from tests.web.shop import Phone


def sign_in(phone, name="Rune", pin="8080", **more):
    return phone.post("/sign-in", data={"name": name, "pin": pin, **more})


def test_who_signs_in_comes_back_to_where_they_wanted(paired):
    assert "Job J-0001" in read(sign_in(paired, back="/jobs/J-0001/readings")).words


def test_a_wrong_pin_is_told_and_not_shown_again(paired):
    page = read(sign_in(paired, pin="0000"), 401)
    assert "this is not the PIN" in page.words
    assert "0000" not in str(page.tags)


def test_nobody_is_chosen_for_the_person(paired):
    page = read(paired.get("/sign-in"))
    assert [one.get("value") for one in page.all("option")] == ["", "Ola", "Mika", "Rune"]
    assert not [one for one in page.all("option") if "selected" in one]


@pytest.mark.parametrize(
    "path", ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:alert(1)", "", "/a\nb"]
)
def test_no_link_leads_out_of_the_page(path):
    assert inside(path) == "/"


def test_a_path_of_the_page_stays():
    assert inside("/jobs/J-0001/spots/2?a=1") == "/jobs/J-0001/spots/2?a=1"


def test_a_phone_that_is_not_paired_cannot_sign_in(stranger):
    assert stranger.get("/sign-in").status_code == 401
    assert sign_in(stranger).status_code == 401


def test_signing_out_keeps_the_phone_paired(phone):
    assert read(phone.post("/sign-out")).field("pin")
    assert phone.get("/").status_code == 401


def test_looking_at_a_link_does_not_use_it_up(app, stranger):
    link = f"/pair/{app.state.shop.sessions.new_link()}"
    for _ in range(2):
        assert "Use this phone here" in read(stranger.get(link)).words
    assert read(stranger.post(link)).field("pin")


def test_what_plain_http_means_is_said_before_pairing(app, stranger):
    link = f"/pair/{app.state.shop.sessions.new_link()}"
    assert "whoever is on the same network can read along" in read(stranger.get(link)).words


def test_an_invented_link_pairs_nothing(stranger):
    assert "used up" in read(stranger.get("/pair/invented"), 403).words
    read(stranger.post("/pair/invented"), 403)
    assert stranger.get("/sign-in").status_code == 401


def test_the_first_to_sign_in_becomes_the_keeper(tmp_path):
    from tests.web.shop import open_page

    with open_page(tmp_path / "new") as app:
        phone = Phone(app).pair()
        page = read(phone.get("/sign-in"))
        assert "becomes its keeper" in page.words
        assert page.field("name")["type"] == "text"
        read(sign_in(phone, "Ola", "4711"))
        assert "Ola (keeper)" in read(phone.get("/people")).words
