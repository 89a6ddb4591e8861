"""The contact sheet: every photo with its standing as word, shape and colour, and nothing that runs or loads."""

from __future__ import annotations

import io
import re
from html.parser import HTMLParser

import numpy as np
import pytest
from PIL import Image

from prepcheck.errors import CannotWrite
from prepcheck.record import broken_record
from prepcheck.report.contact import NOT_READ, Sheet, Shown, contact_page, page_name, shown
from prepcheck.report.contact_change import Changed, ChangeSheet, change_page, shares_words
from prepcheck.report.contact_picture import MOST, contact_picture
from prepcheck.report.contact_thumbnail import ROOM, side_by_side, thumbnail
from prepcheck.terms import CAUTION_LINE, HOT_WORK_LINE, Standing
from tests.store.records import record_for, spot

WORDS = [*map(str, Standing), NOT_READ]
COUNTS = {"retake": 2, "bright": 1, "residue left": 0}


def jpeg(colour=(200, 30, 30), size=(40, 30)) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", size, colour).save(file, "JPEG")
    return file.getvalue()


def sheet(number=1, pages=1, **changes):
    told = {"title": "Photos of neck", "counts": COUNTS, "first": 1, "origin": "prepcheck 0.1.0", **changes}
    return Sheet(number=number, pages=pages, **told)


def page(*photos, **changes):
    return contact_page(sheet(**changes), photos)


class Checked(HTMLParser):
    """Collects tags, and holds that all are closed."""

    void = frozenset({"meta", "img", "circle", "path", "!doctype"})

    def __init__(self, text):
        super().__init__()
        self.tags, self.open = [], []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in self.void:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


@pytest.mark.parametrize("word", WORDS)
def test_a_standing_is_a_word_a_shape_and_a_colour(word):
    text = page(Shown("a.jpg", word))
    name = word.replace(" ", "-")
    assert f'<symbol id="{name}"' in text
    assert re.search(rf'<span class="standing {name}"><svg[^>]*><use href="#{name}"></use></svg>{word}</span>', text)
    assert f".{name} {{" in text


def test_a_photo_stands_with_its_score_flags_and_place():
    said = shown("a.jpg", record_for(b"x", spot(), flags=("blurred", "no_scale")), b"", "J-0001, spot 1")
    assert said == Shown("a.jpg", "residue left", ("score 82 (74 to 89)", "blurred, no scale", "J-0001, spot 1"))


def test_what_could_not_be_read_stands_with_its_reason():
    said = shown("a.jpg", broken_record("a.jpg", "x", "a.jpg: is empty. Copy it again."), b"")
    assert said == Shown("a.jpg", NOT_READ, ("is empty. Copy it again.",))


def test_pictures_lie_within_the_page():
    tags = Checked(page(Shown("a.jpg", "bright", (), jpeg()), Shown("b.jpg", NOT_READ))).tags
    assert [attrs["src"][:23] for tag, attrs in tags if tag == "img"] == ["data:image/jpeg;base64,"]


def test_nothing_is_loaded_and_nothing_runs():
    tags = Checked(page(Shown("a.jpg", "bright", (), jpeg()), pages=3, number=2)).tags
    assert not {"script", "link", "iframe", "object"} & {tag for tag, _ in tags}
    assert [attrs["href"] for tag, attrs in tags if tag == "a"] == ["sheet.html", "sheet-3.html"] * 2


def test_names_and_errors_are_escaped():
    text = page(Shown("<script>a</script>\u202e.jpg", "bright", ("<b>", "a & b")))
    assert "<script>" not in text
    assert "&lt;script&gt;a&lt;/script&gt;\\u202e.jpg" in text
    assert "<p>&lt;b&gt;</p><p>a &amp; b</p>" in text


def test_cautions_stand_on_every_page():
    text = page(number=2, pages=2)
    assert all(line in text for line in (CAUTION_LINE, HOT_WORK_LINE))


def test_counts_leave_out_what_there_is_none_of():
    head = page().partition("<main>")[0]
    assert [word for word in WORDS if f"</svg>{word}</span> " in head] == ["bright", "retake"]


def test_a_later_page_counts_on():
    assert '<ol start="201">' in page(number=2, pages=3, first=201)


def test_pages_are_named_in_order():
    assert [page_name(number) for number in (1, 2, 11)] == ["sheet.html", "sheet-2.html", "sheet-11.html"]


def test_the_picture_has_a_row_for_each_six_photos():
    few, more = (contact_picture(sheet(), [Shown("a.jpg", "bright", (), jpeg())] * n) for n in (6, 7))
    assert more.shape[1] == few.shape[1]
    assert more.shape[0] > few.shape[0] + ROOM[1]


def test_the_picture_shows_the_photo():
    drawn = contact_picture(sheet(), [Shown("a.jpg", "bright", (), jpeg((0, 200, 0), (320, 240)))])
    assert (np.abs(drawn.astype(int) - (0, 200, 0)).max(axis=2) < 12).sum() > 0.9 * ROOM[0] * ROOM[1]


def test_the_picture_shows_the_worst_of_very_many():
    photos = [Shown("a.jpg", word) for word in WORDS] * MOST
    assert contact_picture(sheet(), photos).shape == contact_picture(sheet(), photos[:MOST]).shape


def test_without_a_photo_there_is_no_picture():
    with pytest.raises(CannotWrite):
        contact_picture(sheet(), [])


@pytest.mark.parametrize(
    ("size", "small"), [((1200, 1600), (240, 320)), ((1600, 1200), (240, 180)), ((30, 40), (240, 320))]
)
def test_a_thumbnail_fits_its_room_in_the_shape_of_the_photo(size, small):
    record = record_for(b"x", spot())
    drawn = Image.open(io.BytesIO(thumbnail(record, np.full((*size, 3), 90, np.uint8), None)))
    assert (drawn.height, drawn.width) == small


def test_a_thumbnail_shows_where_residue_is():
    record = record_for(b"x", spot())  # its outline goes over (0, 0), (9, 0), (9, 9) of 100 x 80 px
    rgb = np.full((80, 100, 3), 90, np.uint8)
    plain, hatched = (thumbnail(record, rgb, np.full((80, 100), state, np.uint8)) for state in (1, 2))
    assert plain != hatched


def test_two_pictures_are_laid_side_by_side():
    both = Image.open(io.BytesIO(side_by_side([jpeg(size=(40, 30)), jpeg(size=(20, 30))])))
    assert (both.width, both.height) == (40 + 8 + 20, 30)


CHANGES = ChangeSheet(
    "J-0001", "eye-9", {("bright", "cannot tell"): 1, ("bright", "bright"): 2, ("retake", NOT_READ): 1}
)


def test_a_table_says_how_many_stood_and_stand_how():
    tags = Checked(text := change_page(CHANGES, [])).tags
    row = text[text.rindex("<tr>") :]
    assert len([tag for tag, _ in tags if tag == "td"]) == 4 * 5
    assert re.findall(r"<td[^>]*>(\d+)</td>", row) == ["0", "0", "1", "2", "0"]


def test_shares_are_of_what_could_be_looked_at():
    assert shares_words(CHANGES) == ("4 inspections; 1 (33.3 %) have another standing now. 1 could not be looked at.")


def test_a_change_is_shown_with_both_standings_and_its_picture():
    text = change_page(CHANGES, [Changed("J-0001/<b>", "bright", "cannot tell", ("Now: score 3",), jpeg())])
    assert text.count("data:image/jpeg") == 1
    assert "J-0001/&lt;b&gt;" in text
    assert text.index('standing bright"', text.index("<ol")) < text.index('standing cannot-tell"', text.index("<ol"))
