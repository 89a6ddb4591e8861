"""Counting points on the command line, from the grid to the check of the tool."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from prepcheck.agreement.fields import read_fields
from prepcheck.terms import State
from tests import painted
from tests.agreement.forms import filled
from tests.command import Command, Done, photo_bytes

PLATES = {
    "a": painted.plate((State.OXIDE, 120, 100, 30), size=(240, 320), spot=(160, 120, 80)),
    "b": painted.plate((State.PIT, 180, 120, 30), size=(240, 320), spot=(160, 120, 90)),
    "c": painted.plate(size=(240, 320), spot=(160, 120, 85)),
}


@pytest.fixture(autouse=True)
def reads_painted_plates(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("prepcheck.surface.load_model", lambda name=None: painted.model())


@pytest.fixture
def laid(command: Command) -> Path:
    """A folder of a count of three plates."""
    for name, plate in PLATES.items():
        (command.folder / f"{name}.jpg").write_bytes(photo_bytes(plate))
    done = command("count", "grid", "a.jpg", "b.jpg", "c.jpg", "--points", 60, "--out", "run")
    assert (done.code, done.err) == (0, "")
    return command.folder / "run"


def label(laid: Path, person: str, suffix: str, wrong: int = 0) -> list[Path]:
    """Fill forms with the truth, but call the first `wrong` bright points of each photo oxide."""
    forms = []
    for one in read_fields(laid):
        x, y = np.round(one.points).astype(int).clip(0).T
        truth = PLATES[Path(one.name).stem][y.clip(max=239), x.clip(max=319)].copy()
        truth[np.flatnonzero(truth == State.BRIGHT)[:wrong]] = State.OXIDE
        form = laid / "forms" / f"{Path(one.name).stem}.csv"
        forms.append(form.with_suffix(f".{suffix}.csv"))
        forms[-1].write_text(filled(form.read_bytes(), [str(code) for code in truth], person))
    return forms


def told(done: Done) -> list[dict[str, Any]]:
    assert (done.code, done.err) == (0, "")
    return [json.loads(line) for line in done.out.splitlines()]


def test_a_grid_leaves_photos_pictures_forms_and_the_list(command: Command, laid: Path) -> None:
    files = sorted(str(path.relative_to(laid)) for path in laid.rglob("*") if path.is_file())
    names = [f"{kind}/{name}" for kind, end in (("crosses", "jpg"), ("forms", "csv"), ("images", "jpg")) for name in
             (f"a.{end}", f"b.{end}", f"c.{end}")]  # fmt: skip
    assert files == [*names, "points.json"]
    assert (laid / "images" / "a.jpg").read_bytes() == (command.folder / "a.jpg").read_bytes()


def test_photos_can_be_added_later_but_never_twice(command: Command, laid: Path) -> None:
    (command.folder / "d.jpg").write_bytes(photo_bytes(painted.plate(size=(240, 320))))
    assert command("count", "grid", "d.jpg", "--out", "run").code == 0
    assert [one.name for one in read_fields(laid)] == ["a.jpg", "b.jpg", "c.jpg", "d.jpg"]
    again = command("count", "grid", "a.jpg", "--out", "run")
    assert (again.code, "has points already" in again.complaint) == (2, True)


def test_a_refused_photo_leaves_the_folder_as_it_was(command: Command, laid: Path) -> None:
    (command.folder / "d.jpg").write_bytes(photo_bytes(painted.plate(size=(240, 320))))
    before = {path: path.read_bytes() for path in laid.rglob("*") if path.is_file()}
    assert command("count", "grid", "d.jpg", "a.jpg", "--out", "run").code == 2
    assert {path: path.read_bytes() for path in laid.rglob("*") if path.is_file()} == before


def test_a_new_photo_never_replaces_what_somebody_counted(command: Command, laid: Path) -> None:
    form = label(laid, "Ola", "ola")[0]
    before = form.read_bytes()
    (command.folder / "a.ola.jpg").write_bytes(photo_bytes(painted.plate(size=(240, 320))))
    done = command("count", "grid", "a.ola.jpg", "--out", "run")
    assert (done.code, "would replace the filled form a.ola.csv" in done.complaint) == (2, True)
    assert form.read_bytes() == before


def test_a_grid_that_was_broken_off_is_laid_again(command: Command, laid: Path) -> None:
    (laid / "points.json").unlink()  # written last
    assert command("count", "grid", "a.jpg", "--points", 60, "--out", "run").code == 0
    assert [one.name for one in read_fields(laid)] == ["a.jpg"]


def test_points_lie_inside_a_drawn_outline(command: Command, laid: Path) -> None:
    (command.folder / "o.json").write_text(json.dumps({"draw": [[[100, 60], [220, 60], [220, 180], [100, 180]]]}))
    assert command("count", "grid", "a.jpg", "--outlines", "o.json", "--points", 30, "--out", "one").code == 0
    (one,) = read_fields(command.folder / "one")
    assert ((one.points >= (100, 60)) & (one.points <= (220, 180))).all()


def test_points_lie_inside_the_tools_own_spot(command: Command, laid: Path) -> None:
    assert command("count", "grid", "a.jpg", "--spot", 1, "--points", 30, "--out", "one").code == 0
    (one,) = read_fields(command.folder / "one")
    assert (np.hypot(*(one.points - (160, 120)).T) < 90).all()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--spot", 7), "has no spot 7"),
        (("--points", 3), "Ask for 9 to 2000"),
        (("--spot", 1, "--outlines", "o.json"), "two answers to one question"),
        (("--outlines", "none.json"), "draws 0 outlines"),
        (("--person", "x" * 100), "at most 80 fit"),
    ],
)
def test_a_grid_that_cannot_be_laid_is_told_in_a_line(
    command: Command, laid: Path, options: tuple[object, ...], said: str
) -> None:
    (command.folder / "none.json").write_text("{}")
    done = command("count", "grid", "a.jpg", *options, "--out", "one")
    assert (done.code, said in done.complaint) == (2, True)
    assert not (command.folder / "one").exists()


def test_an_outline_belongs_to_one_photo(command: Command, laid: Path) -> None:
    assert "photo by photo" in command("count", "grid", "a.jpg", "b.jpg", "--spot", 1, "--out", "one").complaint


def test_area_shares_come_with_interval_accuracy_and_photos_needed(command: Command, laid: Path) -> None:
    done = command("count", "read", *label(laid, "Ola", "ola"))
    assert done.code == 0
    (bright,) = [line for line in done.out.splitlines() if line.strip().startswith("bright metal")]
    assert " to " in bright
    assert "Ola: 3 photos" in done.out
    assert "from memory, check it" in done.out


def test_area_shares_are_those_of_the_plates(command: Command, laid: Path) -> None:
    (one,) = told(command("count", "read", *label(laid, "Ola", "ola"), "--json"))
    true = np.mean([(plate == State.BRIGHT).mean() for plate in PLATES.values()])
    low, high = one["states"]["bright"]["interval"]
    assert low <= 100 * true <= high
    assert one["states"]["foreign"] == {
        "mean_percent": 0, "deviation": 0, "half_width": 0, "interval": None, "relative_accuracy_percent": None,
        "photos_needed": None,
    }  # fmt: skip


def test_one_photo_gives_shares_without_interval(command: Command, laid: Path) -> None:
    done = command("count", "read", label(laid, "Ola", "ola")[0])
    assert "One photo says nothing about the spread" in done.out


def test_two_counts_of_a_photo_are_no_two_fields(command: Command, laid: Path) -> None:
    done = command("count", "read", label(laid, "Ola", "1")[0], label(laid, "Ola", "2")[0])
    assert (done.code, "is a second count of a.jpg by Ola" in done.complaint) == (2, True)


def test_an_empty_form_is_told(command: Command, laid: Path) -> None:
    assert "has no labels yet" in command("count", "read", laid / "forms" / "a.csv").complaint


def test_people_are_compared_with_each_other_and_with_themselves(command: Command, laid: Path) -> None:
    forms = [
        *label(laid, "Ola", "1"),
        *label(laid, "Ola", "2", 2),
        *label(laid, "Mika", "m", 1),
        *label(laid, "Rune", "r"),
    ]
    made = told(command("count", "agree", *forms, "--json"))
    assert [(one["kind"], one["who"]) for one in made] == [
        ("repeat", ["Ola, first", "Ola, second"]),
        ("reproduce", ["Ola", "Mika"]),
        ("reproduce", ["Ola", "Rune"]),
        ("reproduce", ["Mika", "Rune"]),
        ("reproduce", ["Ola", "Mika", "Rune"]),
    ]
    off = [sum(map(sum, one["table"])) - np.trace(one["table"]) for one in made[:4]]
    assert off == [6, 3, 0, 3]


def test_agreement_names_its_scale_and_both_intervals(command: Command, laid: Path) -> None:
    done = command("count", "agree", *label(laid, "Ola", "o"), *label(laid, "Mika", "m", 3))
    assert "Landis and Koch 1977" in done.out
    (line,) = [line for line in done.out.splitlines() if "bright or residue" in line]
    assert line.count(" to ") >= 2


def test_the_words_span_both_intervals(command: Command, laid: Path) -> None:
    from prepcheck.agreement.kappa import words

    (made,) = told(command("count", "agree", *label(laid, "Ola", "o"), *label(laid, "Mika", "m", 4), "--json"))
    for one in made["agreements"]:
        ends = [*one["interval"], *(one["interval_by_photo"] or [])]
        assert one["words"] == words((min(ends), max(ends)))


def test_nothing_counted_twice_is_told(command: Command, laid: Path) -> None:
    done = command("count", "agree", *label(laid, "Ola", "o"))
    assert (done.code, "counted twice" in done.complaint) == (2, True)


def test_one_form_named_twice_is_no_repeat(command: Command, laid: Path) -> None:
    form = label(laid, "Ola", "o")[0]
    assert "named twice" in command("count", "agree", form, form).complaint


def test_the_tool_is_held_against_each_person_both_ways(command: Command, laid: Path) -> None:
    label(laid, "Ola", "o")
    label(laid, "Mika", "m", 2)
    mika, ola = told(command("count", "accept", "run", "--json"))
    assert (ola["person"], mika["person"]) == ("Ola", "Mika")
    assert ola["wrongly_bright"]["hits"] == 0
    assert mika["wrongly_bright"]["hits"] == 6  # what Mika called oxide and the net read as bright
    assert mika["photos_wrongly_bright"]["hits"] == 3
    assert ola["agreement"]["agreements"][2]["kappa"] > mika["agreement"]["agreements"][2]["kappa"]


def test_maps_written_before_tell_the_same_as_looking_anew(command: Command, laid: Path, palette: None) -> None:
    label(laid, "Ola", "o")
    assert command("inspect", *sorted((laid / "images").iterdir()), "--maps", "maps").code in (0, 1)
    looked, read = (told(command("count", "accept", "run", *more, "--json")) for more in ((), ("--maps", "maps")))
    assert looked == read


def test_what_is_not_counted_yet_stands_beside(command: Command, laid: Path) -> None:
    label(laid, "Ola", "o")[0].unlink()
    done = command("count", "accept", "run")
    assert done.code == 0
    assert "Not counted yet: a.jpg." in done.out
    assert "Other metal, light or cameras need their own count." in done.out


def test_nothing_counted_at_all_is_told(command: Command, laid: Path) -> None:
    done = command("count", "accept", "run")
    assert (done.code, "has no filled form yet" in done.complaint) == (2, True)


def test_a_changed_photo_is_told(command: Command, laid: Path) -> None:
    label(laid, "Ola", "o")
    (laid / "images" / "b.jpg").write_bytes(photo_bytes(PLATES["c"]))
    assert "is not the photo that the points were laid on" in command("count", "accept", "run").complaint


def test_no_outcome_is_called_passed_failed_or_good(command: Command, laid: Path) -> None:
    label(laid, "Ola", "o")
    words = command("count", "accept", "run").out.lower().split()
    assert not {"passed", "failed", "pass", "fail", "good", "safe", "ok", "accepted"} & set(words)


def test_every_command_says_what_it_does(command: Command) -> None:
    for name in ("grid", "read", "agree", "accept"):
        done = command("count", name, "--help")
        assert (done.code, "Usage: prepcheck count" in done.out) == (0, True)
