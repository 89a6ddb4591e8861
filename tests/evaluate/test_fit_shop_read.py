"""Reading what a shop labelled: counted forms, brushed maps, and points in a list."""

import json

import cv2
import numpy as np
import pytest

from prepcheck.agreement.fields import Field, write_fields
from prepcheck.agreement.folder import files_of
from prepcheck.agreement.grid import lay_grid
from prepcheck.errors import Unreadable, WrongUse
from prepcheck.evaluate.fit_shop_read import agreed, read_labelled
from prepcheck.photo import from_bytes
from prepcheck.settings import Settings
from prepcheck.settings.shop import ShopFitSettings
from prepcheck.terms import State
from tests import painted
from tests.agreement.forms import counted, filled

SETTINGS = Settings()
MODEL = painted.model()


def jpeg(states, seed=0, quality=95):
    """Return a painted plate as the bytes of a photo."""
    done, data = cv2.imencode(".jpg", painted.paint(states, seed)[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    return data.tobytes()


def plate(seed=0, where=(320, 240)):
    return painted.plate((State.OXIDE, *where, 60), seed=seed)


def count_folder(folder, plates, labels=None, people=("Ola",)):
    """Make the folder of a count of painted plates, each labelled with what was painted, or with one label everywhere."""
    fields = []
    for number, states in enumerate(plates):
        data = jpeg(states, number)
        photo = from_bytes(data, f"plate-{number}.jpg", SETTINGS)
        one = Field(
            f"images/{photo.name}",
            photo.sha256,
            (photo.width, photo.height),
            lay_grid((photo.width, photo.height), 60, number),
        )
        fields.append(one)
        for place, content in files_of(one, photo, data).items():
            (folder / place).parent.mkdir(parents=True, exist_ok=True)
            (folder / place).write_bytes(content)
        x, y = np.round(one.points).astype(int).T
        truth = [str(code) for code in states[y, x]] if labels is None else [labels] * len(x)
        form = (folder / f"forms/plate-{number}.csv").read_bytes()
        (folder / f"forms/plate-{number}.csv").unlink()
        for person in people:
            (folder / f"forms/plate-{number}.{person}.csv").write_text(filled(form, truth, person))
    (folder / "points.json").write_bytes(write_fields(fields))
    return folder


def brushed_folder(folder, plates, brushed=None):
    """Make an evaluation folder of painted plates; what was painted is what was brushed."""
    for name in ("images", "states"):
        (folder / name).mkdir(parents=True)
    for number, states in enumerate(plates):
        (folder / f"images/plate-{number}.jpg").write_bytes(jpeg(states, number))
        cv2.imwrite(str(folder / f"states/plate-{number}.png"), states if brushed is None else brushed)
    return folder


def read(*folders, settings=SETTINGS):
    return read_labelled(folders, MODEL, settings)


def test_counted_points_come_with_what_the_tool_says_there(tmp_path):
    (one,) = read(count_folder(tmp_path, [plate()])).photos
    assert one.kind == "counted"
    assert set(one.labels.tolist()) == {State.BRIGHT, State.OXIDE, State.COATING}
    told = one.chances[:6].argmax(axis=0)
    assert np.mean(told == one.labels) > 0.9


def test_brushed_places_come_with_what_the_tool_says_there(tmp_path):
    (one,) = read(brushed_folder(tmp_path, [plate()])).photos
    assert (one.kind, len(one.labels)) == ("brushed", SETTINGS.shop_fit.brushed_points)
    assert np.mean(one.chances[:6].argmax(axis=0) == one.labels) > 0.9


def test_what_nobody_brushed_is_not_compared(tmp_path):
    brushed = np.full((480, 640), 255, np.uint8)
    brushed[200:210, 300:320] = State.BRIGHT
    (one,) = read(brushed_folder(tmp_path, [plate()], brushed)).photos
    assert set(one.labels.tolist()) == {State.BRIGHT}
    assert len(one.labels) <= 200


def test_fewer_places_of_a_brushed_photo_can_be_asked_for(tmp_path):
    few = Settings(shop_fit=ShopFitSettings(brushed_points=25))
    (one,) = read(brushed_folder(tmp_path, [plate()]), settings=few).photos
    assert len(one.labels) == 25


def test_points_of_a_list_with_labels_are_read(tmp_path):
    (tmp_path / "a.jpg").write_bytes(jpeg(plate()))
    listed = [{"file": "a.jpg", "size": [640, 480], "points": [[320, 240], [240, 150], [1, 1]], "labels": [2, 1, 0]}]
    (tmp_path / "points.json").write_text(json.dumps(listed))
    (one,) = read(tmp_path).photos
    assert one.labels.tolist() == [2, 1]


def test_photos_that_look_the_same_are_one_group(tmp_path):
    folder = brushed_folder(tmp_path, [plate(), plate(), painted.plate(spot=(150, 120, 90))])
    (folder / "images/plate-1.jpg").write_bytes(jpeg(plate(), 0, quality=90))  # the first one saved again
    groups = [one.group for one in read(folder).photos]
    assert groups[0] == groups[1] != groups[2]


def test_one_photo_in_two_folders_is_one_group(tmp_path):
    folders = count_folder(tmp_path / "counted", [plate()]), brushed_folder(tmp_path / "brushed", [plate()])
    counted_one, brushed_one = read(*folders).photos
    assert counted_one.group == brushed_one.group


def test_points_on_which_people_contradict_each_other_are_left_out(tmp_path):
    folder = count_folder(tmp_path, [plate()], labels="1", people=("Ola",))
    form = (folder / "forms/plate-0.Ola.csv").read_text()
    said = form.replace("person,Ola", "person,Mika")
    head, body = said.split("number,label\n")
    (folder / "forms/plate-0.Mika.csv").write_text(head + "number,label\n" + body.replace(",1", ",2"))
    found = read(folder)
    assert (found.photos, found.contradicted) == ((), len(body.splitlines()))
    assert found.left_out == (("plate-0.jpg", "nothing labelled that can be compared"),)


@pytest.mark.parametrize(
    ("first", "second", "labels", "contradicted"),
    [
        ("1 2 4", "1 2 4", [1, 2, 4], 0),
        ("1 2 4", "1 5 2", [1, 2, 4], 0),
        ("1 2", "2 1", [255, 255], 2),
        ("1 2", "9 0", [255, 255], 0),
        ("1+2 1", "1 1", [255, 1], 0),
    ],
)
def test_people_agree_on_a_side(first, second, labels, contradicted):
    codes, against = agreed([counted(first), counted(second, "Mika")])
    assert (codes.tolist(), against) == (labels, contradicted)


def test_a_photo_that_is_not_fit_to_judge_is_left_out_by_name(tmp_path):
    dark = np.full((480, 640), State.PIT, np.uint8)
    folder = brushed_folder(tmp_path, [dark])
    cv2.imwrite(str(folder / "images/plate-0.jpg"), np.zeros((480, 640, 3), np.uint8))
    found = read(folder)
    assert found.photos == ()
    assert found.left_out[0][1].startswith("not fit to judge: ")


def test_a_folder_with_nothing_labelled_is_refused(tmp_path):
    with pytest.raises(WrongUse, match="holds no counted and no brushed photos"):
        read(tmp_path)


def test_one_folder_twice_is_refused(tmp_path):
    with pytest.raises(WrongUse, match="named twice"):
        read(tmp_path, tmp_path)


def test_a_brushed_map_of_another_size_is_refused(tmp_path):
    with pytest.raises(Unreadable, match="another size"):
        read(brushed_folder(tmp_path, [plate()], np.full((10, 10), 1, np.uint8)))


def test_other_labels_have_another_hash(tmp_path):
    one, other = (
        read(count_folder(tmp_path / name, [plate()], labels=label)).photos[0]
        for name, label in (("a", "1"), ("b", "2"))
    )
    assert (one.sha256, one.labels_sha256 != other.labels_sha256) == (other.sha256, True)
