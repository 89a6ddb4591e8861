"""A model's card: completed from what evaluation wrote, by one command."""

import json

import pytest

from prepcheck.errors import WrongUse
from prepcheck.train.__main__ import main
from prepcheck.train.card import SECTIONS

SHA = "a" * 64


def figure(value):
    return {"value": value, "low": value - 0.1, "high": value + 0.1}


def measured(folder, name, *, sha256=SHA, recall=0.9, rule=0.5, dirty_bright=0):
    part = {
        "photos": 4,
        "groups": 3,
        "figures": {"balanced accuracy": figure(0.9), "patch recall": figure(recall)},
        "standings": {"dirty": {"bright": dirty_bright, "residue left": 4 - dirty_bright}},
        "bright": {"dirty": [0.0, 0.5]},
    }
    made = {
        "kind": "maps",
        "origin": {"model_sha256": sha256},
        "seconds": 0.5,
        "overall": part,
        "parts": {"light": {"torch": part | {"photos": 1}, "door": part | {"photos": 3}}},
        "rules": {"brightness": [{"patch recall": figure(rule)}, 0.01]},
        "causes": {"oxide called bright metal": 0.1},
        "counts": {"confusion": [[0]]},
    }
    (folder / name).mkdir(parents=True)
    (folder / name / "figures.json").write_text(json.dumps(made))


@pytest.fixture
def card(tmp_path):
    path = tmp_path / "eye.json"
    path.write_text(json.dumps({"name": "eye", "export": {"sha256": SHA}, "calibration": {"sure": 0.4}}))
    return path


def written(card, *arguments):
    assert main(["card", str(card), *map(str, arguments)]) == 0
    return json.loads(card.read_text())


def test_the_card_has_every_section_and_keeps_its_calibration(card, tmp_path):
    measured(tmp_path / "made", "renders")
    said = written(card, tmp_path / "made")
    assert set(SECTIONS) <= set(said)
    assert said["calibration"] == {"sure": 0.4}


def test_a_section_with_nothing_in_it_says_so(card):
    said = written(card)
    assert (said["figures"], said["losses"]) == ("nothing said", "nothing said")


def test_figures_are_copied_with_their_intervals_by_the_name_of_their_folder(card, tmp_path):
    measured(tmp_path / "made", "renders")
    measured(tmp_path / "made", "own", recall=0.95)
    figures = written(card, tmp_path / "made")["figures"]
    assert figures["own"]["all"]["patch recall"] == [0.95, 0.85, 1.05]
    assert figures["renders"]["by"]["light"]["door"]["photos"] == 3
    assert figures["renders"]["rules"]["brightness"] == {"patch recall": [0.5, 0.4, 0.6], "seconds_a_photo": 0.01}


def test_groups_are_counted(card, tmp_path):
    measured(tmp_path / "made", "renders")
    assert written(card, tmp_path / "made")["groups"] == {"renders": {"light": {"torch": 1, "door": 3}}}


@pytest.mark.parametrize(
    ("more", "losses"),
    [
        ({}, ["none found"]),
        ({"recall": 0.4, "rule": 0.3}, ["renders: patch recall 0.4000, agreed at least 0.8"]),
        ({"rule": 0.97}, ["renders: brightness has the better patch recall (0.970)"]),
        ({"dirty_bright": 2}, ["renders: 2 photos that are truly dirty called bright"]),
    ],
)  # fmt: skip
def test_losses_are_read_from_the_figures(card, tmp_path, more, losses):
    measured(tmp_path / "made", "renders", **more)
    assert written(card, tmp_path / "made")["losses"] == losses


def test_pictures_that_show_no_work_are_summed_up(card, tmp_path):
    measured(tmp_path / "made", "renders")
    seen = [("brick", "retake", "bright"), ("wood", "cannot tell", "cannot tell")]
    pictures = [{"kind": k, "name": "seed 0", "standing": s, "by_map": m} for k, s, m in seen]
    (tmp_path / "made" / "else").mkdir()
    (tmp_path / "made" / "else" / "outside.json").write_text(json.dumps({"model_sha256": SHA, "pictures": pictures}))
    assert written(card, tmp_path / "made")["outside"]["else"] == {
        "pictures": 2,
        "standings": {"retake": 1, "cannot tell": 1},
        "standing_bright": [],
        "bright_by_map_alone": ["brick, seed 0"],
    }


def test_a_figure_stands_on_one_line(card, tmp_path):
    measured(tmp_path / "made", "renders")
    written(card, tmp_path / "made")
    assert '"patch recall": [0.9, 0.8, 1.0]' in card.read_text()


def test_figures_of_another_model_are_refused_and_the_card_stays(card, tmp_path):
    measured(tmp_path / "made", "renders", sha256="b" * 64)
    before = card.read_bytes()
    with pytest.raises(WrongUse, match="renders: measured with another model"):
        main(["card", str(card), str(tmp_path / "made")])
    assert card.read_bytes() == before


def test_a_folder_without_figures_is_refused(card, tmp_path):
    with pytest.raises(WrongUse, match=r"holds no NAME/figures\.json"):
        main(["card", str(card), str(tmp_path)])
