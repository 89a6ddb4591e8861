from __future__ import annotations

import pytest

from prepcheck.terms import CAUTION_LINE, HOT_WORK_LINE, NEXT_STEPS, Standing, State
from prepcheck.web.pages.inspection import PatchRow
from tests.web.pages.reading import read
from tests.web.shop import plate_jpeg


def test_the_standing_is_told_by_word_colour_and_shape(phone, inspected):
    page = read(phone.get(f"/inspections/{inspected}"))
    assert any(one.get("class") == "band residue-left" for one in page.all("div"))
    assert "/static/icons/signs.svg#residue-left" in [one["href"] for one in page.all("use")]
    assert NEXT_STEPS[Standing.RESIDUE_LEFT] in page.words


def test_the_score_stands_with_its_interval_and_the_cautions(phone, store, inspected):
    from prepcheck.record import Record
    from prepcheck.report.words import answer_words

    words = read(phone.get(f"/inspections/{inspected}")).words
    assert answer_words(Record.model_validate_json(store.record_text(inspected))) in words
    assert CAUTION_LINE in words
    assert HOT_WORK_LINE in words


def test_the_marks_are_shown_or_not_by_a_link(phone, inspected):
    shown = read(phone.get(f"/inspections/{inspected}"))
    hidden = read(phone.get(f"/inspections/{inspected}?marks=off"))
    sources = [[one["src"] for one in page.all("img")] for page in (shown, hidden)]
    assert f"/api/inspections/{inspected}/overlay.png" in sources[0]
    assert f"/api/inspections/{inspected}/overlay.png" not in sources[1]


def test_the_places_are_listed_with_where_they_lie(phone, store, inspected):
    page = read(phone.get(f"/inspections/{inspected}"))
    (place,) = [one for one in page.all("a") if "data-overlay-patch" in one]
    assert float(place["data-x"]) == pytest.approx(320, abs=12)  # where the plate was painted
    assert float(place["data-y"]) == pytest.approx(240, abs=12)


def test_all_places_are_listed_longest_first_with_their_place_in_words(phone):
    """The plate is 640 x 480 pixels, painted with three patches in a spot about its middle; 0.25 mm a pixel."""
    patches = ((State.OXIDE, 320, 240, 30), (State.PIT, 240, 160, 10), (State.OXIDE, 400, 320, 18))
    phone.inspect(plate_jpeg(*patches), mm_per_px=0.25)
    page = read(phone.get("/inspections/1"))
    places = [one for one in page.all("a") if "data-overlay-patch" in one]
    found = [(float(one["data-x"]), float(one["data-y"])) for one in places]
    assert found == [pytest.approx(at, abs=14) for at in ((320, 240), (400, 320), (240, 160))]
    for place in ("in the middle", "lower right", "upper left"):
        assert f" mm, {place}" in page.words


def test_places_that_it_is_not_sure_of_are_folded_away_behind_the_sure_ones(phone, inspected, monkeypatch):
    rows = (PatchRow(1, 2, "oxide 9 mm", True), PatchRow(3, 4, "pit? 2 mm", False))
    monkeypatch.setattr("prepcheck.web.pages.inspection._patches", lambda _: rows)
    page = read(phone.get(f"/inspections/{inspected}"))
    assert (
        page.words.index("oxide 9 mm") < page.words.index("Not sure, look yourself: 1") < page.words.index("pit? 2 mm")
    )
    assert "open" not in page.all("details")[0]


def test_places_that_it_is_not_sure_of_are_open_where_there_are_no_others(phone, inspected, monkeypatch):
    monkeypatch.setattr("prepcheck.web.pages.inspection._patches", lambda _: (PatchRow(3, 4, "pit? 2 mm", False),))
    page = read(phone.get(f"/inspections/{inspected}"))
    assert "open" in page.all("details")[0]


def test_what_is_not_listed_is_counted(phone, monkeypatch):
    monkeypatch.setattr("prepcheck.web.pages.inspection.MOST_PATCHES", 1)
    phone.inspect(plate_jpeg((State.OXIDE, 320, 240, 30), (State.PIT, 240, 160, 10)))
    assert "and 1 shorter place, marked in the photo" in read(phone.get("/inspections/1")).words


def test_a_flag_is_told_with_what_to_do(phone, inspected):
    words = read(phone.get(f"/inspections/{inspected}")).words
    assert "no scale" in words
    assert "Lay the scale card flat beside the spot" in words


def test_a_disagreement_is_logged_beside_the_answer(phone, store, inspected):
    said = {"standing": "bright", "reason": "looked under a moved torch"}
    page = read(phone.post(f"/inspections/{inspected}/disagree", data=said))
    assert "Rune disagrees: bright. looked under a moved torch" in page.words
    assert "residue left" in page.words
    (one,) = store.story("J-0001").inspections
    assert [other.standing for other in one.disagreements] == ["bright"]


@pytest.mark.parametrize("said", [{"standing": "bright"}, {"reason": "why"}, {"standing": "fine", "reason": "why"}])
def test_a_disagreement_that_says_too_little_is_not_logged(phone, store, inspected, said):
    page = read(phone.post(f"/inspections/{inspected}/disagree", data=said), 400)
    assert any("open" in one for one in page.all("details"))
    assert store.story("J-0001").inspections[0].disagreements == ()


def test_a_photo_to_retake_says_what_to_change_and_no_score(phone):
    dark = phone.inspect(plate_jpeg_dark())
    words = read(phone.get(f"/inspections/{dark['inspection']}")).words
    assert "retake photo not fit to judge" in words
    assert "score 1" not in words


def plate_jpeg_dark():
    """Return a plate so dark that its photo is to be taken again."""
    import io

    from PIL import Image, ImageEnhance

    file = io.BytesIO()
    with Image.open(io.BytesIO(plate_jpeg())) as picture:
        ImageEnhance.Brightness(picture).enhance(0.04).save(file, "JPEG", quality=95)
    return file.getvalue()


@pytest.mark.parametrize("number", ["0", "-1", "99", str(2**70)])
def test_an_inspection_that_is_not_there_is_told(phone, number):
    assert phone.get(f"/inspections/{number}", headers={"Accept": "text/html"}).status_code == 404
