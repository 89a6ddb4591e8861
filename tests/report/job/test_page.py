"""The page says all that the content says, needs nothing else, and takes no text for markup."""

import base64
import hashlib
import io
import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from itertools import pairwise

import pytest
from PIL import Image

from prepcheck.report.job.build import report_of
from prepcheck.report.job.page import page_of
from tests.report.job import made
from tests.report.job.said import texts

VOID = {"meta", "img", "br", "hr", "link", "col", "input"}


@dataclass
class Read(HTMLParser):
    """What a parser finds in a page."""

    tags: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    open: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    crossed: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.crossed.append(tag)

    def handle_data(self, data):
        if self.open and self.open[-1] not in ("style", "script"):
            self.said.append(data)

    def all(self, tag):
        return [attributes for name, attributes in self.tags if name == tag]


def read(page):
    parser = Read()
    parser.feed(page)
    parser.close()
    return parser


def joined(text):
    return "".join(text.split())


@pytest.fixture(scope="module", params=["whole", "empty", "hostile"])
def case(request):
    report = report_of({"whole": made.told, "empty": made.empty, "hostile": made.hostile}[request.param]())
    return report, page_of(report)


def test_the_page_says_everything_that_the_content_says(case):
    report, page = case
    said = joined("".join(read(page).said))
    wanted = (
        joined(text.replace("\x00", "\\x00").replace("\x1b", "\\x1b").replace("\u202e", "\\u202e"))
        for text in texts(report)
    )
    assert [text for text in wanted if text not in said] == []


def test_every_element_is_closed_in_order(case):
    parsed = read(case[1])
    assert parsed.open == []
    assert parsed.crossed == []


def test_only_elements_of_the_page_itself_are_there(case):
    known = {
        "html", "head", "meta", "title", "style", "body", "header", "nav", "ol", "li", "a", "main", "section", "h1", "h2",
        "h3", "p", "strong", "ul", "table", "caption", "thead", "tbody", "tr", "th", "td", "div", "figure", "img",
        "figcaption", "svg", "polyline", "text", "footer",
    }  # fmt: skip
    assert {tag for tag, _ in read(case[1]).tags} <= known


def test_nothing_is_loaded_from_elsewhere(case):
    for tag, attributes in read(case[1]).tags:
        for name, value in attributes.items():
            assert name not in ("srcset", "action", "style", "background"), (tag, name)
            assert not name.startswith("on"), (tag, name)
            if name in ("src", "href", "xlink:href"):
                assert value.startswith(("data:image/jpeg;base64,", "#")), value
    assert "url(" not in case[1]
    assert "@import" not in case[1]


def test_the_policy_lets_only_this_style_and_pictures_within_be_used(case):
    policy = next(
        one["content"] for one in read(case[1]).all("meta") if one.get("http-equiv") == "Content-Security-Policy"
    )
    style = re.search(r"<style>(.*?)</style>", case[1], re.S)[1]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    assert "script-src" not in policy


def test_links_lead_to_sections_that_are_there(case):
    parsed = read(case[1])
    places = {attributes.get("id") for _, attributes in parsed.tags}
    assert all(link["href"][1:] in places for link in parsed.all("a"))


def test_headings_go_down_one_level_at_a_time(case):
    levels = [int(tag[1]) for tag, _ in read(case[1]).tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_tables_have_captions_and_heads_with_scope(case):
    parsed = read(case[1])
    assert len(parsed.all("caption")) == len(parsed.all("table"))
    assert all(head.get("scope") in ("col", "row") for head in parsed.all("th"))


def test_pictures_and_charts_have_words():
    parsed = read(page_of(report_of(made.told())))
    assert all(len(image["alt"]) > 20 for image in parsed.all("img"))
    assert all(chart["role"] == "img" and chart["aria-label"] for chart in parsed.all("svg"))


def test_pictures_within_are_jpegs_without_data_of_the_file():
    for image in read(page_of(report_of(made.told()))).all("img"):
        data = base64.b64decode(image["src"].split(",", 1)[1])
        picture = Image.open(io.BytesIO(data))
        assert picture.format == "JPEG"
        assert dict(picture.getexif()) == {}


def test_hostile_names_stay_text():
    page = page_of(report_of(made.hostile()))
    assert "<script" not in page
    assert "&lt;script&gt;alert(&#x27;x&#x27;)&lt;/script&gt;" in page
    assert all("alert" not in str(value) or name in ("alt", "data-head", "aria-label")
               for _, attributes in read(page).tags for name, value in attributes.items())  # fmt: skip


def test_a_hostile_job_number_cannot_leave_the_style():
    report = report_of(made.told())
    page = page_of(type(report)(**{**vars(report), "job": '"; } </style><script>'}))
    style = re.search(r"<style>(.*?)</style>", page, re.S)[1]
    assert "script" in style  # as letters of an escaped string
    assert "<" not in style
    assert '"\\000022\\00003b \\00007d \\00003c\\00002fstyle\\00003e\\00003cscript\\00003e' in style


def test_each_printed_page_is_numbered_and_names_job_and_time():
    page = page_of(report_of(made.told()))
    assert '"page " counter(page) " of " counter(pages)' in page
    assert '"J-0007 \\0000b7 written 2026-11-24 15:30 UTC\\00002b01:00"' in page
