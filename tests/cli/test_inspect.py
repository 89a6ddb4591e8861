"""Inspecting and logging photos on the command line."""

from __future__ import annotations

import json
import re

import cv2
import numpy as np
import pytest

from prepcheck.terms import CAUTIONS, State
from tests import painted
from tests.command import Command, photo_bytes, two_spots, write_plate
from tests.photo.pictures import exif

pytestmark = pytest.mark.usefixtures("palette")

GPS = {1: "N", 2: (46.0, 57.0, 11.0), 3: "E", 4: (7.0, 26.0, 27.0)}
SQUARE = [[130.0, 90.0], [190.0, 90.0], [190.0, 150.0], [130.0, 150.0]]


def clean(command: Command, name: str = "clean.jpg") -> str:
    write_plate(command.folder / name)
    return name


def dirty(command: Command, name: str = "dirty.jpg") -> str:
    write_plate(command.folder / name, (State.OXIDE, 160, 120, 30))
    return name


def cut(command: Command, name: str = "cut.jpg") -> str:
    data = write_plate(command.folder / name).read_bytes()
    (command.folder / name).write_bytes(data[: len(data) // 2])
    return name


def outlines(command: Command, **said: object) -> str:
    (command.folder / "o.json").write_text(json.dumps(said))
    return "o.json"


@pytest.mark.parametrize(
    ("makers", "code"),
    [
        ((clean,), 0),
        ((dirty,), 1),
        ((clean, dirty), 1),
        ((clean, cut), 3),
        ((dirty, cut), 3),
        ((cut, clean, dirty), 3),
    ],
)
def test_the_exit_code_is_that_of_the_worst_photo(command: Command, makers, code: int) -> None:  # type: ignore[no-untyped-def]
    assert command.inspect(*[make(command) for make in makers]).code == code


def test_each_photo_has_a_line_in_the_order_given(command: Command) -> None:
    photos = [dirty(command), cut(command), clean(command)]
    done = command.inspect(*photos)
    assert [line["photo"]["name"] for line in done.lines] == photos
    assert [line.get("standing") for line in done.lines] == ["residue left", None, "bright"]


def test_a_line_is_ascii_so_that_any_screen_or_file_takes_it(command: Command) -> None:
    done = command.inspect(clean(command, "Schweiß ✓.jpg"))
    assert done.out.isascii()
    assert done.line["photo"]["name"] == "Schweiß ✓.jpg"


def test_the_table_says_standing_next_step_and_every_caution(command: Command) -> None:
    said = " ".join(command("inspect", dirty(command)).out.split())
    assert "RESIDUE LEFT" in said
    assert "Grind the marked places again" in said
    assert all(caution in said for caution in CAUTIONS)


def test_a_broken_photo_among_others_is_named_on_standard_error_only(command: Command) -> None:
    done = command("inspect", clean(command), cut(command))
    assert done.complaint.startswith("cut.jpg: ")
    assert "cut.jpg" not in done.out


def test_a_stated_scale_gives_sizes_in_millimetres(command: Command) -> None:
    line = command.inspect(dirty(command), "--mm-per-px", "0.2").line
    assert line["photo"]["mm_per_px"] == pytest.approx(0.2)
    assert line["spots"][0]["area_mm2"] == pytest.approx(np.pi * (80 * 0.2) ** 2, rel=0.05)
    assert line["spots"][0]["largest_patch_mm"] == pytest.approx(60 * 0.2, rel=0.15)


def test_files_are_written_and_named(command: Command) -> None:
    done = command("inspect", clean(command), "--picture", "out/seen.png", "--maps", "out")
    names = {path.name for path in (command.folder / "out").iterdir()}
    assert names == {"seen.png", "clean.states.png", "clean.spots.png", "clean.residue.png"}
    assert all(f"Written: out/{name}" in done.out for name in names)


def test_several_pictures_go_into_a_folder(command: Command) -> None:
    command.inspect(clean(command), dirty(command), "--picture", "out")
    assert {path.name for path in (command.folder / "out").iterdir()} == {"clean.marked.jpg", "dirty.marked.jpg"}


def test_a_broken_photo_has_no_files(command: Command) -> None:
    command.inspect(cut(command), clean(command), "--maps", "out", "--picture", "out/")
    assert not [path for path in (command.folder / "out").iterdir() if path.name.startswith("cut")]


def test_a_picture_that_cannot_be_written_loses_no_answer_and_the_rest_go_on(command: Command) -> None:
    (command.folder / "out" / "clean.marked.jpg").mkdir(parents=True)
    done = command.inspect(clean(command), dirty(command), "--picture", "out")
    assert (done.code, len(done.lines)) == (2, 2)
    assert done.complaint.startswith("out/clean.marked.jpg: cannot be written (Is a directory)")
    assert (command.folder / "out" / "dirty.marked.jpg").is_file()


def test_maps_and_pictures_change_no_answer(command: Command) -> None:
    plain = command.inspect(dirty(command)).line
    assert command.inspect("dirty.jpg", "--maps", "out", "--picture", "out/").line == plain


@pytest.mark.parametrize("arguments", [(), ("--json",)])
def test_the_position_is_shown_only_when_asked_for(command: Command, arguments: tuple[str, ...]) -> None:
    states = painted.plate(size=(240, 320), spot=(160, 120, 80))
    (command.folder / "gps.jpg").write_bytes(photo_bytes(states, exif=exif(gps=GPS)))
    assert "46.9" not in command("inspect", "gps.jpg", *arguments).out
    assert command.inspect("gps.jpg", "--show-position").line["photo"]["position"] == pytest.approx(
        [46.953, 7.441], abs=1e-3
    )


def test_the_position_is_never_kept_or_drawn(command: Command) -> None:
    states = painted.plate(size=(240, 320), spot=(160, 120, 80))
    (command.folder / "gps.jpg").write_bytes(photo_bytes(states, exif=exif(gps=GPS)))
    command.open_job()
    assert command.log("gps.jpg", "--show-position", "--picture", "seen.jpg", "--maps", "maps").code == 0
    assert command.log("gps.jpg").line["photo"]["position"] is None
    kept = [*command.folder.glob("store/log.sqlite*"), *command.folder.glob("maps/*"), command.folder / "seen.jpg"]
    assert [path.name for path in kept if re.search(rb"46\.95|GPS|Exif", path.read_bytes())] == []


# ---- the log


def test_a_logged_answer_is_the_printed_one_and_its_photo_is_kept(command: Command) -> None:
    command.open_job()
    line = command.log(dirty(command), spot="filler neck", pass_no=2).line
    (one,) = command.story()
    assert (one["standing"], one["photo_sha256"]) == (line["standing"], line["photo"]["sha256"])
    (kept,) = (command.folder / "store" / "photos").rglob("*.jpg")
    assert kept.read_bytes() == (command.folder / "dirty.jpg").read_bytes()


def test_the_table_says_where_a_photo_was_logged(command: Command) -> None:
    command.open_job()
    arguments = ("--job", "1", "--spot", "lid", "--pass-no", "1", "--person", "Ida")
    done = command("inspect", clean(command), *arguments)
    assert "Logged as inspection 1: J-0001, spot 1, pass 1" in done.out


def test_a_broken_photo_is_not_logged_and_the_others_are(command: Command) -> None:
    command.open_job()
    assert command.log(cut(command), clean(command)).code == 3
    assert [one["photo_name"] for one in command.story()] == ["clean.jpg"]


def test_an_answer_found_in_the_log_equals_the_fresh_one(command: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    command.open_job()
    fresh = command.log(dirty(command)).line
    monkeypatch.setattr("prepcheck.light_set.inspect", lambda *_, **__: pytest.fail("computed again"))
    assert command.log("dirty.jpg").line == fresh


@pytest.mark.parametrize(
    "changed",
    [
        ("--mm-per-px", "0.2"),
        ("--settings", "s.toml"),
        ("--outline-file", "o.json"),
    ],
)
def test_an_answer_to_another_question_is_not_taken_from_the_log(
    command: Command, monkeypatch: pytest.MonkeyPatch, changed: tuple[str, str]
) -> None:
    (command.folder / "s.toml").write_text("[score]\nresidue_limit = 0.04\n")
    outlines(command, draw=[SQUARE])
    command.open_job()
    command.log(dirty(command))
    monkeypatch.setattr("prepcheck.light_set.inspect", lambda *_, **__: (_ for _ in ()).throw(LookupError))
    with pytest.raises(LookupError):
        command.log("dirty.jpg", *changed, "--outline", "1")


def test_the_same_bytes_under_another_name_keep_that_name(command: Command) -> None:
    command.open_job()
    first = command.log(dirty(command)).line
    (command.folder / "copy.jpg").write_bytes((command.folder / "dirty.jpg").read_bytes())
    second = command.log("copy.jpg").line
    assert (first["photo"]["name"], second["photo"]["name"]) == ("dirty.jpg", "copy.jpg")
    assert [one["photo_name"] for one in command.story()] == ["dirty.jpg", "copy.jpg"]


def test_a_photo_logged_for_another_pass_is_flagged(command: Command) -> None:
    command.open_job()
    first = command.log(clean(command), pass_no=1).line
    second = command.log("clean.jpg", pass_no=2).line
    assert "used_before" not in [flag["code"] for flag in first["flags"]]
    assert "used_before" in [flag["code"] for flag in second["flags"]]


def test_a_photo_of_several_spots_needs_to_be_told_which(command: Command) -> None:
    two_spots(command.folder / "two.jpg")
    command.open_job()
    done = command.log("two.jpg")
    assert (done.code, done.line["standing"]) == (2, "residue left")
    assert done.complaint == "two.jpg: shows outlines 1, 2. Say which is the job's spot (--outline)."
    assert command.story() == []


def test_the_other_outlines_are_logged_as_not_assigned(command: Command) -> None:
    two_spots(command.folder / "two.jpg")
    command.open_job()
    command.log("two.jpg", "--outline", "1")
    (one,) = command.story()
    assert (one["standing"], one["outline"], one["not_assigned"]) == ("bright", 1, [2])
    assert "outlines in the photo not assigned to a spot: 2" in command("job", "show", "1").out


def test_an_outline_that_is_not_there_is_not_logged_and_the_answer_is_printed(command: Command) -> None:
    command.open_job()
    done = command.log(clean(command), "--outline", "9")
    assert (done.code, done.line["standing"]) == (2, "bright")
    assert "has no outline 9, only 1" in done.complaint
    assert command.story() == []


def test_a_photo_without_a_spot_is_logged_as_to_be_taken_again(command: Command) -> None:
    (command.folder / "bare.jpg").write_bytes(photo_bytes(np.full((240, 320), State.COATING, np.uint8)))
    command.open_job()
    assert command.log("bare.jpg").code == 1
    assert [(one["standing"], one["outline"]) for one in command.story()] == [("retake", None)]


def test_what_a_person_drew_and_refused_stands_beside_the_tools_answer(command: Command) -> None:
    told = outlines(command, draw=[SQUARE], refuse={"1": "that is primer"})
    command.open_job()
    line = command.log(dirty(command), "--outline-file", told, "--outline", "2").line
    assert [spot["number"] for spot in line["spots"]] == [1]
    assert [(spot["number"], spot["outlined_by"]) for spot in line["by_person"]["spots"]] == [(2, "person")]
    said = command("job", "show", "1").out
    assert "outline 2 drawn by Ida" in said
    assert "the tool's answer with its own outlines: residue left" in said
    assert "outline 1 refused by Ida: that is primer" in said


def test_a_refused_dirty_spot_leaves_the_photo_to_a_person(command: Command) -> None:
    two_spots(command.folder / "two.jpg")
    done = command.inspect("two.jpg", "--outline-file", outlines(command, refuse={"2": "that is the bench"}))
    assert done.line["by_person"]["standing"] == "bright"
    assert (done.line["standing"], done.code) == ("residue left", 1)


def test_a_disagreement_stands_beside_the_answer(command: Command) -> None:
    command.open_job()
    command.log(dirty(command))
    said = ("--standing", "bright", "--reason", "a brushed stain", "--person", "Jon")
    assert command("disagree", "1", *said).code == 0
    (one,) = command.story()
    assert one["standing"] == "residue left"
    assert [(told["person"], told["standing"], told["reason"]) for told in one["disagreements"]] == [
        ("Jon", "bright", "a brushed stain")
    ]


def test_a_log_that_fails_loses_no_answer(command: Command) -> None:
    command.open_job()
    (command.folder / "store" / "photos").write_text("a file in the place of the folder")
    done = command.log(clean(command), dirty(command), "--picture", "out")
    assert (done.code, [line["standing"] for line in done.lines]) == (3, ["bright", "residue left"])
    assert len(done.err.splitlines()) == 2
    assert len(list((command.folder / "out").iterdir())) == 2


def test_the_picture_and_maps_of_a_logged_answer_can_be_made_again(command: Command) -> None:
    command.open_job()
    fresh = command.log(dirty(command)).line
    again = command.log("dirty.jpg", "--maps", "maps", "--picture", "seen.png")
    assert again.line == fresh
    states = cv2.imread(str(command.folder / "maps" / "dirty.states.png"), cv2.IMREAD_UNCHANGED)
    assert states.shape == (240, 320)
