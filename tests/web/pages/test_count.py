"""Counting on the page: one point at a time, kept at once, in a folder that the command line reads."""

from __future__ import annotations

import io
import json
import shutil
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from PIL import Image

from prepcheck.agreement.fields import read_fields
from prepcheck.agreement.folder import read_count
from prepcheck.agreement.grid import lay_grid, seed_of
from prepcheck.terms import State
from tests import painted
from tests.agreement.forms import filled
from tests.store.logs import copy_log
from tests.web.pages.reading import read
from tests.web.shop import Phone, at_work

PLATE = painted.plate((State.OXIDE, 320, 240, 40))
"""What the photo of the log's first inspection shows."""


@pytest.fixture(autouse=True)
def painted_answers(monkeypatch):
    monkeypatch.setattr("prepcheck.web.pages.count_folder.load_model", lambda: painted.model())


@pytest.fixture(scope="module")
def laid(logs, tmp_path_factory):
    """A log with a count on the photo of its one inspection, about 9 points over all of it; copied for each test."""
    folder = tmp_path_factory.mktemp("counts") / "store"
    with at_work(logs / "1", folder) as phone:
        assert begin(phone).headers["location"] == "/count/sump-1"
    return folder


@pytest.fixture
def folder(request, logs, laid, tmp_path):
    made = laid if "count" in request.fixturenames else logs / "1"
    shutil.copytree(made, tmp_path / "store")
    copy_log(made, tmp_path / "store")
    return tmp_path / "store"


@pytest.fixture
def count(folder):
    """The folder of the count."""
    return folder / "counts" / "sump-1"


def begin(phone, name="Sump 1", points=9, **more):
    page = read(phone.get("/count?job=J-0001"))
    values = [one["value"] for one in page.all("input") if one.get("name") == "photos"]
    return phone.post("/count", data={"name": name, "photos": values, "points": points, **more}, follow_redirects=False)


@pytest.fixture
def other(app):
    """A phone on which Mika is signed in."""
    phone = Phone(app).pair()
    phone.sign_in("Mika", "1234")
    return phone


def say(phone, point, label="1", **more):
    return phone.post("/count/sump-1/1", data={"point": point, "label": label, **more}, follow_redirects=False)


def truth(count):
    """Return what truly lies under each point."""
    (field,) = read_fields(count)
    x, y = np.round(field.points).astype(int).clip(0).T
    return [str(code) for code in PLATE[y.clip(max=479), x.clip(max=639)]]


def label_all(phone, labels):
    for point, label in enumerate(labels, 1):
        assert say(phone, point, label).status_code == 303
    answer = say(phone, 1, do="finish")
    assert answer.headers["location"] == "/count/sump-1", answer.text


def test_the_points_are_those_of_the_command_line(count):
    """`prepcheck count grid` lays them by the photo's own seed too."""
    (field,) = read_fields(count)
    assert (field.points == lay_grid((640, 480), 9, seed_of(field.sha256)).points).all()
    assert {path.parent.name for path in count.rglob("*.*")} == {"sump-1", "images", "crosses", "forms"}


def test_points_can_lie_inside_the_tools_outline_alone(phone, app):
    begin(phone, inside="yes")
    (field,) = read_fields(app.state.shop.folder / "counts" / "sump-1")
    assert (np.hypot(*(field.points - (320, 240)).T) < 155).all()


def test_one_point_is_asked_at_a_time_beginning_with_the_first(phone, count):
    page = read(phone.get("/count/sump-1/1"))
    assert "Point 1 of" in page.words
    assert page.all("img")[0]["src"] == "/count/sump-1/1/1.jpg?near=near"
    assert len([one for one in page.all("button") if "data-label" in one]) == 7


def test_each_label_is_kept_at_once_and_the_next_point_comes(app, phone, count):
    say(phone, 1, "2")
    say(phone, 2, "1")
    other = Phone(app).pair()
    other.sign_in("Rune", "8080")
    assert "Point 3 of" in read(other.get("/count/sump-1/1")).words


def test_said_twice_it_is_the_same(phone, count):
    say(phone, 1, "2")
    say(phone, 1, "2")
    (kept,) = (count / "begun").iterdir()
    assert json.loads(kept.read_text())["labels"] == [[1, "2"]]


def test_labels_that_come_at_once_are_all_kept(phone, count):
    with ThreadPoolExecutor(4) as phones:
        answers = list(phones.map(lambda point: say(phone, point), range(1, 8)))
    assert {one.status_code for one in answers} == {303}
    (kept,) = (count / "begun").iterdir()
    assert sorted(json.loads(kept.read_text())["labels"]) == [[point, "1"] for point in range(1, 8)]


def test_a_label_can_be_taken_back_and_taken_back_twice(phone, count):
    say(phone, 1)
    say(phone, 2, "3")
    for _ in range(2):
        assert say(phone, 2, do="back").headers["location"] == "/count/sump-1/1?near=near&point=2"
    assert "Point 2 of" in read(phone.get("/count/sump-1/1")).words


def test_a_point_on_a_boundary_has_two_labels(phone, count):
    say(phone, 1, "1", other="2")
    (kept,) = (count / "begun").iterdir()
    assert json.loads(kept.read_text())["labels"] == [[1, "1+2"]]


def test_what_is_no_label_or_no_point_is_told_and_not_kept(phone, count):
    said = [(1, ""), (1, "7"), (999, "1"), (1, "1+2+3"), (0, "1")]
    assert [say(phone, *one).status_code for one in said] == [400, 400, 400, 400, 422]
    assert not (count / "begun").exists()


def test_a_photo_is_finished_only_with_all_labels(phone, count):
    say(phone, 1)
    assert "has no label yet" in read(say(phone, 1, do="finish"), 400).words
    assert len(list((count / "forms").iterdir())) == 1


def test_a_finished_photo_is_a_form_that_the_command_line_reads(phone, count):
    label_all(phone, truth(count))
    found = read_count(count)
    assert [(one.person, "+".join(str(int(label[0])) for label in one.labels[:1])) for one in found.counts] == [
        ("Rune", truth(count)[0])
    ]
    assert not list((count / "begun").iterdir())


def test_what_is_finished_stays(phone, count):
    label_all(phone, truth(count))
    before = {path: path.read_bytes() for path in (count / "forms").iterdir()}
    assert say(phone, 1, "5").headers["location"] == "/count/sump-1"
    assert phone.get("/count/sump-1/1", follow_redirects=False).headers["location"] == "/count/sump-1"
    assert {path: path.read_bytes() for path in (count / "forms").iterdir()} == before


def test_a_photo_can_be_counted_twice_and_not_more(phone, count):
    label_all(phone, truth(count))
    assert say(phone, 1, do="again").headers["location"] == "/count/sump-1/1?near=near"
    say(phone, 1, "9")
    assert say(phone, 1, do="again").headers["location"] == "/count/sump-1/1?near=near"
    assert "a second time: 1 of" in read(phone.get("/count/sump-1")).words
    label_all(phone, ["9"] * len(truth(count)))
    assert say(phone, 1, do="again").headers["location"] == "/count/sump-1"
    assert "finished twice" in read(phone.get("/count/sump-1")).words


def test_of_two_turns_the_first_counts_and_both_are_compared(phone, count):
    label_all(phone, truth(count))
    say(phone, 1, do="again")
    label_all(phone, ["9"] * len(truth(count)))
    page = read(phone.get("/count/sump-1/results"))
    assert "Rune twice: 1 photo" in page.words
    assert f"Rune: 1 photo, {len(truth(count))} points" in page.words
    assert read_count(count).by_person()["Rune"][0][1].labels != ((State.CANNOT_TELL,),) * len(truth(count))


def test_a_second_turn_needs_a_first(phone, count):
    say(phone, 1, do="again")
    assert "a second time" not in read(phone.get("/count/sump-1")).words.split("To check")[0]


def test_results_are_hidden_until_one_has_finished_oneself(phone, other, count):
    label_all(other, truth(count))
    assert phone.get("/count/sump-1/results").status_code == 403
    assert phone.post("/count/sump-1/tool").status_code == 403
    words = read(phone.get("/count/sump-1")).words
    assert "Mika" not in words
    assert "Results" not in words


def test_the_tool_is_asked_only_when_told_and_its_answer_kept_apart(phone, count):
    label_all(phone, truth(count))
    assert "0 of 1 photos looked at by the tool" in read(phone.get("/count/sump-1/results")).words
    page = read(phone.post("/count/sump-1/tool"))
    assert "looked at by the tool" not in page.words
    assert len(list((count / "told").iterdir())) == 1
    assert [one.person for one in read_count(count).counts] == ["Rune"]


def test_beside_true_labels_a_true_tool_is_never_wrong(phone, count):
    label_all(phone, truth(count))
    words = read(phone.post("/count/sump-1/tool")).words
    oxide, bright = (truth(count).count(code) for code in ("2", "1"))
    coating = truth(count).count("4")
    assert f"Bright metal that it called otherwise: 0 of {bright} " in words
    assert f"Residue that the tool called bright: 0 of {oxide + coating} " in words


def test_how_often_it_was_wrong_is_told_both_ways(phone, app):
    """A person who calls all oxide bright and all bright oxide makes the tool wrong each time."""
    begin(phone, points=25, inside="yes")
    folder = app.state.shop.folder / "counts" / "sump-1"
    bright, oxide = (truth(folder).count(code) for code in ("1", "2"))
    assert oxide
    label_all(phone, [{"1": "2", "2": "1"}.get(code, code) for code in truth(folder)])
    words = read(phone.post("/count/sump-1/tool")).words
    assert f"Bright metal that it called otherwise: {oxide} of {oxide} " in words
    assert f"Residue that the tool called bright: {bright} of {bright} " in words


def test_people_are_compared_with_the_name_of_the_scale(phone, other, count):
    for each in (phone, other):
        label_all(each, truth(count))
    page = read(phone.get("/count/sump-1/results"))
    assert "Mika and Rune: 1 photo" in page.words
    assert "Landis and Koch 1977" in page.words
    assert "100 %" in page.words


def test_shares_are_those_of_the_points(phone, count):
    label_all(phone, ["1"] * len(truth(count)))
    page = read(phone.get("/count/sump-1/results"))
    assert f"Rune: 1 photo, {len(truth(count))} points" in page.words
    assert "100.0 %" in page.words


def test_a_form_filled_on_the_computer_counts_on_the_page(phone, count):
    blank = count / "forms" / "J-0001-spot-1-pass-1.csv"
    blank.write_text(filled(blank.read_bytes(), truth(count), "Rune"))
    assert "finished" in read(phone.get("/count/sump-1")).words
    assert phone.get("/count/sump-1/results").status_code == 200


def test_a_broken_form_is_told_and_the_list_still_opens(phone, count):
    (count / "forms" / "x.csv").write_text("nonsense")
    assert "x.csv" in read(phone.get("/count")).words
    assert phone.get("/count/sump-1").status_code == 400


def test_the_place_round_a_point_is_shown(phone, count):
    for near in ("near", "wide", "all"):
        answer = phone.get(f"/count/sump-1/1/1.jpg?near={near}")
        assert np.asarray(Image.open(io.BytesIO(answer.content))).shape == (540, 720, 3)


def test_a_photo_that_was_changed_is_not_shown(phone, count):
    (path,) = (count / "images").iterdir()
    path.chmod(0o644)
    path.write_bytes(path.read_bytes() + b"x")
    assert phone.get("/count/sump-1/1/1.jpg").status_code == 400


def test_a_count_that_is_not_there_is_told(phone, count):
    for name in ("%2e%2e", "nothing", "Sump-1", "-", "a" * 50):
        assert (name, phone.get(f"/count/{name}").status_code) == (name, 404)
        assert (name, phone.get(f"/count/{name}/1").status_code) == (name, 404)


def test_a_photo_or_point_that_there_is_not_is_told(phone, count):
    assert [phone.get(f"/count/sump-1/{path}").status_code for path in (0, 2, -1)] == [404] * 3
    assert [phone.get(f"/count/sump-1/1/{number}.jpg").status_code for number in (0, 999)] == [400] * 2


def test_a_count_that_cannot_be_made_is_told(phone, count):
    for said, words in (
        ({"name": ""}, "no plain letter"),
        ({"name": "..//.."}, "no plain letter"),
        ({"name": "Sump 1"}, "there is a count of this name"),
        ({"name": "new", "points": 2}, "a grid of 2 points"),
    ):
        answer = begin(phone, **said)
        assert words in read(answer, answer.status_code).words
        assert answer.status_code in (400, 409)
    assert [path.name for path in count.parent.iterdir()] == ["sump-1"]


def test_no_photo_chosen_is_told(phone):
    assert "no photo is chosen" in read(phone.post("/count", data={"name": "x"}), 400).words


def test_who_is_not_signed_in_sees_nothing(paired, count):
    paths = ("", "/sump-1", "/sump-1/1", "/sump-1/1/1.jpg", "/sump-1/results")
    assert [paired.get(f"/count{path}").status_code for path in paths] == [401] * 5


def test_the_steps_of_the_check_say_how_far_it_is(phone, other, count):
    assert "0 of 1 done" in read(phone.get("/count/sump-1")).words
    for each in (phone, other):
        label_all(each, truth(count))
    assert "2 finished so far" in read(phone.get("/count/sump-1")).words
