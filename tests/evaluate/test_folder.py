"""A labelled folder from the photos to the files that are written about it."""

import csv
import json
import math

import cv2
import numpy as np
import pytest
from PIL import Image

from prepcheck.evaluate.baselines import RULES
from prepcheck.evaluate.folder import judge_folder, judge_points
from prepcheck.evaluate.result import as_json, evaluation, worst_first, write_evaluation
from prepcheck.settings import Settings
from prepcheck.terms import State
from tests import painted
from tests.command import photo_bytes

CLEAN = painted.plate()
DIRTY = painted.plate((State.OXIDE, 260, 200, 40), (State.PIT, 380, 280, 20))


def labelled(folder, *, truth=None, **plates):
    for name in ("images", "states", "ground", "meta"):
        (folder / name).mkdir()
    for number, (name, states) in enumerate(plates.items()):
        (folder / "images" / f"{name}.jpg").write_bytes(photo_bytes(states))
        cv2.imwrite(str(folder / "states" / f"{name}.png"), states if truth is None else truth)
        cv2.imwrite(str(folder / "ground" / f"{name}.png"), 255 * (states != State.COATING).astype(np.uint8))
        meta = {"mm_per_px": 0.25, "light": ["torch", "door"][number % 2], "group": name[0]}
        (folder / "meta" / f"{name}.json").write_text(json.dumps(meta))
    return folder


def measured(folder, **more):
    judged = judge_folder(folder, painted.model(error_scale=0.0), Settings(), **more)
    return judged, evaluation(judged, folder, painted.model(), Settings(), worst=2)


def test_a_model_that_reads_the_truth_is_measured_as_right(tmp_path):
    _, made = measured(labelled(tmp_path, a1=CLEAN, a2=DIRTY, b1=DIRTY))
    said = {name: round(figure.value, 2) for name, figure in made.overall.figures.items()}
    assert (made.kind, made.overall.photos, made.overall.groups) == ("maps", 3, 2)
    assert said["balanced accuracy"] > 0.98
    assert said["spot IoU"] > 0.95
    assert (said["patch recall"], said["false patches a photo"]) == (1, 0)
    assert said["bright-share error"] <= 0.01
    assert made.overall.standings == {
        "clean": {"retake": 0, "residue left": 0, "cannot tell": 0, "bright": 1},
        "dirty": {"retake": 0, "residue left": 2, "cannot tell": 0, "bright": 0},
    }


def test_a_photo_that_shows_the_reverse_of_its_truth_is_the_worst_and_says_why(tmp_path):
    folder = labelled(tmp_path, a=CLEAN, b=CLEAN, c=CLEAN)
    wrong = np.where(CLEAN == State.BRIGHT, np.uint8(State.OXIDE), CLEAN)
    (folder / "images" / "b.jpg").write_bytes(photo_bytes(wrong))
    judged, made = measured(folder)
    worst = worst_first(judged)[0]
    assert worst.name == "b"
    assert worst.caption.startswith(("bright metal called oxide 9", "bright metal called oxide 100"))
    assert next(iter(made.causes)) == "bright metal called oxide"
    assert made.main_causes["bright metal called oxide"] == 1


def test_photos_are_split_by_their_meta(tmp_path):
    _, made = measured(labelled(tmp_path, a=CLEAN, b=DIRTY, c=DIRTY))
    assert {value: part.photos for value, part in made.parts["light"].items()} == {"door": 1, "torch": 2}
    assert "scale" not in made.parts  # all have the same


def test_every_baseline_is_measured_beside_it(tmp_path):
    _, made = measured(labelled(tmp_path, a=DIRTY), rules=RULES)
    assert set(made.rules) == set(RULES)
    figures, seconds = made.rules["brightness (Otsu)"]
    assert figures["balanced accuracy"].value > 0.9
    assert seconds > 0


def test_where_only_pits_are_labelled_pits_are_measured(tmp_path):
    truth = np.where(DIRTY == State.PIT, DIRTY, np.uint8(State.CANNOT_TELL))
    _, made = measured(labelled(tmp_path, truth=truth, a=DIRTY))
    assert made.kind == "pits"
    assert made.overall.figures["pits found"].value == 1
    assert made.overall.standings["photos"]["residue left"] == 1


def test_points_are_measured_by_source(tmp_path):
    for name in ("shop_1.jpg", "yard_1.jpg"):
        (tmp_path / name).write_bytes(photo_bytes(DIRTY))
    points = {"points": [[320, 140], [260, 200], [10, 10]], "labels": [1, 2, 9]}
    (tmp_path / "points.json").write_text(json.dumps([{"file": f"{n}_1.jpg", **points} for n in ("shop", "yard")]))
    judged = judge_points(tmp_path, painted.model(), Settings())
    made = evaluation(judged, tmp_path, painted.model(), Settings())
    assert (made.kind, made.overall.figures["balanced accuracy of points"].value) == ("points", 1)
    assert set(made.parts["source"]) == {"shop", "yard"}


def test_a_point_on_a_burnt_out_place_is_left_out(tmp_path):
    rgb = painted.paint(CLEAN)
    rgb[100:180, 280:360] = 255
    cv2.imwrite(str(tmp_path / "a.jpg"), rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])
    entry = {"file": "a.jpg", "points": [[320, 140], [320, 300]], "labels": [1, 1]}
    (tmp_path / "points.json").write_text(json.dumps([entry]))
    (judged,) = judge_points(tmp_path, painted.model(), Settings())
    assert judged.tally.confusion.sum() == judged.tally.confusion[1, 1] == 1


def test_burnt_out_pixels_count_for_nothing(tmp_path):
    folder = labelled(tmp_path, a=DIRTY)
    rgb = painted.paint(DIRTY)
    rgb[DIRTY == State.OXIDE] = 255
    cv2.imwrite(str(folder / "images" / "a.jpg"), rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])
    judged, _ = measured(folder)
    assert judged[0].tally.confusion[State.OXIDE].sum() < 0.1 * np.count_nonzero(DIRTY == State.OXIDE)


def test_the_same_folder_gives_the_same_figures_with_where_they_come_from(tmp_path):
    folder = labelled(tmp_path, a=CLEAN, b=DIRTY)
    one, other = (as_json(measured(folder)[1]) | {"seconds": 0} for _ in range(2))
    assert one == other
    assert one["origin"]["model_sha256"] == painted.model().origin.sha256
    assert len(one["origin"]["photos_sha256"]) == 64


def test_what_cannot_be_measured_is_null_in_the_file_and_empty_in_the_table(tmp_path):
    judged, made = measured(labelled(tmp_path, a=CLEAN))
    assert math.isnan(made.overall.figures["patch recall"].value)
    write_evaluation(tmp_path / "out", made, judged)
    said = json.loads((tmp_path / "out" / "figures.json").read_text())
    assert said["overall"]["figures"]["patch recall"] == {"value": None, "low": None, "high": None}
    (row,) = csv.DictReader((tmp_path / "out" / "worst.csv").read_text().splitlines())
    assert row["patch recall"] == ""


def test_the_files_of_an_evaluation(tmp_path):
    judged, made = measured(labelled(tmp_path, a=CLEAN, b=DIRTY, c=DIRTY))
    files = write_evaluation(tmp_path / "out", made, judged, worst=2)
    assert [path.name for path in files] == [
        "figures.json",
        "worst.csv",
        "worst.jpg",
        "reliability.svg",
        "risk_coverage.svg",
    ]
    rows = list(csv.DictReader((tmp_path / "out" / "worst.csv").read_text().splitlines()))
    assert [row["photo"] for row in rows] == [one.name for one in worst_first(judged)]
    with Image.open(tmp_path / "out" / "worst.jpg") as sheet:
        assert sheet.width > 1900  # two photos side by side, three panels each


def test_the_panels_of_a_photo_show_it_its_truth_and_its_map(tmp_path):
    judged, _ = measured(labelled(tmp_path, a=DIRTY))
    panels = [cv2.imdecode(np.frombuffer(panel, np.uint8), cv2.IMREAD_COLOR_RGB) for panel in judged[0].panels]
    middle_of_patch = (round(200 / 480 * 240), round(260 / 640 * 320))
    photo, truth, told = (panel[middle_of_patch].astype(int) for panel in panels)
    assert np.abs(photo - painted.COLOURS[State.OXIDE]).max() < 40
    assert np.abs(truth - (214, 84, 20)).max() < 30
    assert np.abs(told - (214, 84, 20)).max() < 30


@pytest.mark.parametrize("bad", ["meta", "states"])
def test_a_broken_label_is_one_line_and_names_the_file(tmp_path, bad):
    from prepcheck.errors import Unreadable

    folder = labelled(tmp_path, a=CLEAN)
    next((folder / bad).iterdir()).write_bytes(b"{")
    with pytest.raises(Unreadable, match=r"a\.(json|png): is no"):
        measured(folder)
