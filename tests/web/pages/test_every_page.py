"""What holds on every page, read as text: nothing that a person typed becomes a tag, and no page says too much."""

from __future__ import annotations

import re
import shutil

import pytest

from prepcheck.report.hatch import HATCHES
from prepcheck.terms import Standing, State
from tests.store.logs import copy_log
from tests.web.pages.places import HOSTILE, PAGES, STATIC, fill
from tests.web.pages.reading import Read
from tests.web.shop import Phone, open_page


@pytest.fixture(scope="module")
def pages(logs, tmp_path_factory):
    """Every page as Ola sees it, by its address."""
    from tests import painted

    folder = tmp_path_factory.mktemp("every") / "store"
    shutil.copytree(logs / "2", folder)
    copy_log(logs / "2", folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("prepcheck.web.looker.load_model", lambda: painted.model())
        with open_page(folder) as app:
            fill(app)
            phone = Phone(app).pair()
            phone.sign_in("Ola", "4711")
            return {page: phone.get(page, headers={"Accept": "text/html"}) for page in PAGES}


@pytest.mark.parametrize("page", PAGES)
def test_what_people_typed_becomes_no_tag(pages, page):
    read = Read(pages[page].text)
    assert all(one.get("type") == "module" and one["src"].startswith("/static/") for one in read.all("script"))
    assert not [one for one in read.all("img") if one["src"] == "x"]
    assert not [name for _, attrs in read.tags for name in attrs if name.startswith("on") or name == "style"]
    assert not read.all("b")
    assert "49" not in [text.strip() for text in read.words.split("{{7*7}}")]


@pytest.mark.parametrize(
    "page", ["/", "/jobs/J-0001", "/jobs/J-0002", "/inspections/1", "/jobs/J-0001/readings", "/inspections/3"]
)
def test_what_people_typed_can_be_read(pages, page):
    assert HOSTILE in Read(pages[page].text).words


@pytest.mark.parametrize("page", PAGES)
def test_a_page_names_itself_its_language_and_one_heading(pages, page):
    read = Read(pages[page].text)
    assert read.all("html")[0]["lang"] == "en-GB"
    assert len(read.all("h1")) == 1
    assert re.search(r"<title>[^<]+ - prepcheck</title>", pages[page].text)


@pytest.mark.parametrize("page", PAGES)
def test_no_page_says_that_something_is_safe_or_passed(pages, page):
    words = Read(pages[page].text).words.casefold()
    assert not re.search(r"\bsafe\b|\bunsafe\b|\bapproved\b|\bverdict\b", words)


@pytest.mark.parametrize("page", PAGES)
def test_no_page_fetches_anything_from_elsewhere(pages, page):
    links = re.findall(r'(?:src|href|action)="([^"]*)"', pages[page].text)
    assert all(link.startswith(("/", "?", "#")) or link == "" for link in links), links


@pytest.mark.parametrize("page", PAGES)
def test_a_page_is_light(pages, page):
    assert len(pages[page].content) < 40_000


def test_the_first_page_with_all_it_loads_is_light():
    loaded = [*STATIC.glob("*.css"), *STATIC.glob("*.js"), *(STATIC / "icons").glob("*.svg")]
    assert sum(path.stat().st_size for path in loaded) < 110_000


def test_every_standing_has_a_sign_and_a_colour_of_its_own():
    signs, style = (STATIC / "icons" / "signs.svg").read_text(), (STATIC / "prepcheck.css").read_text()
    for word in Standing:
        key = word.replace(" ", "-")
        assert f'id="{key}"' in signs
        assert f"\n.{key} {{" in style


def test_the_hatches_of_the_key_have_the_inks_of_the_picture():
    drawn = (STATIC / "icons" / "hatches.svg").read_text()
    for state, hatch in HATCHES.items():
        (symbol,) = re.findall(rf'<symbol id="{state.key}".*?</symbol>', drawn)
        assert "#{:02x}{:02x}{:02x}".format(*hatch.ink) in symbol
    assert State.BRIGHT.key not in drawn


def test_every_icon_that_a_page_uses_is_drawn(pages):
    used = {name for answer in pages.values() for name in re.findall(r"/static/icons/(\w+\.svg#[\w-]+)", answer.text)}
    assert used
    for name in used:
        file, _, symbol = name.partition("#")
        assert f'id="{symbol}"' in (STATIC / "icons" / file).read_text(), name
