"""Practice on the page: the mark first, then the answer."""

from __future__ import annotations

import io
import json
import shutil

import numpy as np
import pytest
from PIL import Image

from prepcheck.samples import sample_of, samples
from prepcheck.tasks.practice import find_practice, open_room
from prepcheck.web.pages import practice_room
from tests import painted
from tests.store.logs import copy_log
from tests.web.pages.reading import read
from tests.web.shop import SETTINGS, Phone, at_work

ROUND = [[280, 200], [360, 200], [360, 280], [280, 280]]


@pytest.fixture(autouse=True)
def painted_answers(monkeypatch):
    monkeypatch.setattr("prepcheck.web.pages.practice_room.load_model", lambda: painted.model())


@pytest.fixture
def room(app):
    shop = app.state.shop
    return open_room(shop.folder, (shop.store, shop.archive), sample_of, SETTINGS)


@pytest.fixture(scope="module")
def started(logs, tmp_path_factory):
    """A log with a session on the photo of its one inspection, whose plate holds a disc of oxide; copied for each test."""
    folder = tmp_path_factory.mktemp("practice") / "store"
    with at_work(logs / "1", folder) as phone:
        assert begun(phone, "/practice?job=J-0001") == 1
    return folder


@pytest.fixture
def folder(request, logs, started, tmp_path):
    passes = "2" if "two_passes" in request.fixturenames else "1"
    made = started if "session" in request.fixturenames else logs / passes
    shutil.copytree(made, tmp_path / "store")
    copy_log(made, tmp_path / "store")
    return tmp_path / "store"


@pytest.fixture
def session():
    """The number of that session."""
    return 1


def begun(phone, offered, count=1):
    values = [one["value"] for one in read(phone.get(offered)).all("input") if one.get("name") == "photos"][:count]
    answer = phone.post("/practice", data={"photos": values}, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    return int(answer.headers["location"].split("/")[2])


def strokes(*more, kind="residue", width=None, points=ROUND):
    return json.dumps([{"kind": kind, "width": width, "points": points}, *more])


def fix(phone, session, **said):
    return phone.post(f"/practice/{session}/1/mark", data=said or {"strokes": strokes()})


def picture(answer, kind="image/jpeg"):
    assert (answer.status_code, answer.headers["content-type"]) == (200, kind)
    return np.asarray(Image.open(io.BytesIO(answer.content)))


def test_samples_are_offered_without_a_word_of_what_they_show(phone):
    page = read(phone.get("/practice"))
    assert "sample 1" in page.words
    assert not [one.title for one in samples() if one.title in page.words]
    assert not [
        one for one in page.all("input") if any(each.path.name in (one.get("value") or "") for each in samples())
    ]


def test_photos_of_a_job_are_offered_without_marks(phone):
    page = read(phone.get("/practice?job=J-0001"))
    assert "J-0001, spot 1, pass 1" in page.words
    assert "/api/inspections/1/thumb.jpg" in [one["src"] for one in page.all("img")]


def test_before_the_mark_the_page_shows_the_photo_and_no_answer(phone, session):
    page = read(phone.get(f"/practice/{session}/1"))
    assert [one["src"] for one in page.all("img")] == [f"/practice/{session}/1/photo.jpg"]
    assert "residue left" not in page.words
    assert picture(phone.get(f"/practice/{session}/1/photo.jpg")).shape == (480, 640, 3)


def test_before_the_mark_no_picture_of_an_answer_is_given(phone, session):
    layers = ("difference", "marked", "other")
    assert [phone.get(f"/practice/{session}/1/tool/{layer}.png").status_code for layer in layers] == [403] * 3


def test_the_mark_is_fixed_and_then_the_difference_shown(phone, room, session):
    page = read(fix(phone, session))
    assert "You found 1 of 1 patches of the tool" in page.words
    assert "The tool is not the truth" in page.words
    found = find_practice(room, session)
    assert (found.person, list(found.compared)) == ("Rune", [(found.photos[0].sha256, "tool")])


def test_what_is_sent_twice_counts_once(phone, room, session):
    fix(phone, session)
    first = find_practice(room, session)
    assert "You found 1 of 1" in read(fix(phone, session, strokes=strokes(points=[[0, 0], [9, 0], [9, 9]]))).words
    assert find_practice(room, session).marks == first.marks


def test_strokes_are_painted_in_their_order(phone, room, session):
    wipe = {"kind": "nothing", "width": None, "points": [[280, 200], [320, 200], [320, 280], [280, 280]]}
    doubt = {"kind": "unsure", "width": 20, "points": [[340, 240]]}
    fix(phone, session, strokes=strokes(wipe, doubt))
    sha256 = next(iter(find_practice(room, session).marks.values())).mark_sha256
    mark = np.asarray(Image.open(io.BytesIO(room.own.get(sha256))))
    assert (mark[240, 300], mark[240, 340], mark[210, 350]) == (0, 128, 255)


def test_no_residue_seen_is_a_mark_too(phone, session):
    assert "You found 0 of 1 patches" in read(fix(phone, session, nothing="yes")).words


NO_MARKS = [
    {"strokes": ""},
    {"strokes": "[]"},
    {"strokes": "nonsense"},
    {"strokes": strokes(), "nothing": "yes"},
    {"strokes": strokes(kind="metal")},
    {"strokes": strokes(points=[])},
    {"strokes": strokes(points=[[1e9, 0]])},
    {"strokes": strokes(width=-1)},
    {"strokes": strokes(*(json.loads(strokes(points=[[n % 9, n % 7] for n in range(7_000)])) * 3))},
    {"strokes": '[{"kind":"residue","width":null,"points":[[NaN,0]]}]'},
]


def test_what_cannot_be_used_is_told_and_nothing_is_fixed(phone, room, session):
    for said in NO_MARKS:
        page = read(fix(phone, session, **said), 400)
        assert page.all("form")
        assert find_practice(room, session).marks == {}


def test_layers_are_pictures_that_let_the_photo_through(phone, session):
    fix(phone, session)
    shapes = {layer: picture(phone.get(f"/practice/{session}/1/tool/{layer}.png"), "image/png") for layer in
              ("difference", "marked", "other")}  # fmt: skip
    assert {one.shape for one in shapes.values()} == {(960, 1280, 4)}
    assert all(0 < (one[..., 3] > 0).mean() < 0.2 for one in shapes.values())


def test_truth_that_is_not_known_is_not_shown(phone, session):
    fix(phone, session)
    assert phone.get(f"/practice/{session}/1/truth/difference.png").status_code == 404
    assert "Known truth" not in read(phone.get(f"/practice/{session}/1?beside=truth")).words


def test_without_a_script_a_link_changes_the_layer(phone, session):
    fix(phone, session)
    for show in ("difference", "marked", "other", "none"):
        page = read(phone.get(f"/practice/{session}/1?show={show}"))
        over = [one["src"] for one in page.all("img") if one.get("class") == "over"]
        assert over == ([] if show == "none" else [f"/practice/{session}/1/tool/{show}.png"])


def test_of_a_sample_the_truth_is_shown_first(phone):
    session = begun(phone, "/practice")
    fix(phone, session, nothing="yes")
    page = read(phone.get(f"/practice/{session}/1"))
    assert "This photo was rendered, so what it shows is known" in page.words
    assert "The tool on this photo" in page.words
    assert "The tool is not the truth" in read(phone.get(f"/practice/{session}/1?beside=tool")).words


def test_a_session_says_what_is_left_and_how_it_came_out(phone, two_passes):
    session = begun(phone, "/practice?job=J-0001", 2)
    assert read(phone.get(f"/practice/{session}")).words.count("not marked yet") == 2
    fix(phone, session, nothing="yes")
    page = read(phone.get(f"/practice/{session}"))
    assert "Beside the tool, 1 photo" in page.words
    assert f"/practice/{session}/2" in [one["href"] for one in page.all("a")]


def test_own_sessions_are_listed_the_newest_first(phone, session):
    second = begun(phone, "/practice?job=J-0001")
    words = read(phone.get("/practice")).words
    assert words.index(f"Session {second},") < words.index(f"Session {session},")


def test_a_session_is_shown_to_nobody_else(app, phone, session):
    fix(phone, session)
    other = Phone(app).pair()
    other.sign_in("Mika", "1234")
    paths = ("", "/1", "/1/photo.jpg", "/1/tool/other.png")
    assert [other.get(f"/practice/{session}{path}").status_code for path in paths] == [403] * 4
    assert f"Session {session}," not in read(other.get("/practice")).words


def test_nobody_else_marks_in_it(app, room, session):
    other = Phone(app).pair()
    other.sign_in("Mika", "1234")
    assert fix(other, session).status_code == 403
    assert find_practice(room, session).marks == {}


def test_who_is_not_signed_in_sees_nothing(paired):
    paths = ("", "/1", "/1/1", "/samples/1.jpg")
    assert [paired.get(f"/practice{path}").status_code for path in paths] == [401] * 4


def test_what_is_not_there_is_told(phone, session):
    paths = ("99", "99/1", "samples/0.jpg", "samples/99.jpg", f"{session}/0", f"{session}/2", f"{session}/-1")
    assert [phone.get(f"/practice/{path}").status_code for path in paths] == [404] * 7


def test_photos_that_are_not_there_cannot_be_chosen(phone):
    assert read(phone.post("/practice", data={"photos": []}), 400).all("form")
    for photo in ("f" * 64, "../../log.sqlite", " "):
        assert read(phone.post("/practice", data={"photos": [photo]}), 404).all("form")


def test_a_name_that_was_sent_is_only_text(phone):
    value = next(
        one["value"] for one in read(phone.get("/practice?job=J-0001")).all("input") if one.get("name") == "photos"
    )
    hostile = f"{value.split()[0]} <b onclick=alert(1)>x"
    phone.post("/practice", data={"photos": [hostile]})
    page = read(phone.get(f"/practice/{begun_last(phone)}"))
    assert not page.all("b")
    assert "<b onclick=alert(1)>x" in page.words


def begun_last(phone):
    links = [one["href"] for one in read(phone.get("/practice")).all("a")]
    return next(one.split("/")[2] for one in links if one.startswith("/practice/"))


def test_a_photo_that_was_erased_is_shown_no_longer(phone, app, session):
    fix(phone, session)
    app.state.shop.archive.erase(
        next(iter(find_practice(practice_room.room_of(app.state.shop), session).photos)).sha256
    )
    assert phone.get(f"/practice/{session}/1/photo.jpg").status_code == 404
    assert phone.get(f"/practice/{session}/1/tool/difference.png").status_code == 404
