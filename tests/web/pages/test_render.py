from __future__ import annotations

from dataclasses import dataclass

import pytest
from jinja2 import UndefinedError

from prepcheck.web.pages import templates
from prepcheck.web.pages.render import PLACES, Frame, place_of

HOSTILE = "\"'><script>alert(1)</script>"


@dataclass(frozen=True)
class Page:
    title: str


@pytest.mark.parametrize(
    ("path", "place"),
    [
        ("/", "/"),
        ("/jobs/J-0001/steps/weld", "/"),
        ("/inspections/3", "/"),
        ("/plans/weld", "/plans"),
        ("/verify", "/verify"),
        ("/help", "/help"),
        ("/practice/3/1", "/practice"),
        ("/count/sump/1", "/practice"),
        ("/people", ""),
        ("/sign-in", ""),
    ],
)
def test_a_path_belongs_to_a_place_of_the_bar(path, place):
    assert place_of(path) == place


def test_the_place_is_marked_for_who_hears_the_page():
    base = templates.env.get_template("base.html")
    text = base.render(page=Page("x"), frame=Frame("Ola", "/plans"))
    assert text.count('aria-current="page"') == 1
    assert '<a href="/plans" aria-current="page">' in text


def test_titles_and_names_are_escaped():
    text = templates.env.get_template("base.html").render(page=Page(HOSTILE), frame=Frame(HOSTILE))
    assert "<script>alert" not in text
    assert text.count("&lt;script&gt;alert(1)") == 3  # title, data-person, and the name in the head


def test_a_name_that_a_template_does_not_know_is_a_fault():
    with pytest.raises(UndefinedError):
        templates.env.from_string("{{ page.colour }}").render(page=Page("x"))


@pytest.mark.parametrize(
    ("status", "heading"), [(404, "Not found"), (401, "Not signed in"), (500, "This did not work")]
)
def test_an_error_has_a_page_that_needs_nothing_but_its_words(status, heading):
    text = templates.env.get_template("error.html").render(status=status, code="x", message=HOSTILE)
    assert f"<h1>{heading}</h1>" in text
    assert "<script>alert" not in text


def test_every_place_of_the_bar_has_a_word():
    assert all(place.name and place.icon for place in PLACES)
