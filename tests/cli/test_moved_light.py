"""Moved-light sets, clips and passes on the command line."""

from __future__ import annotations

import hashlib
from pathlib import Path

import cv2
import numpy as np
import pytest

from prepcheck import light_set, passes
from prepcheck.photo import Photo
from prepcheck.photo.align import Alignment, NotAligned, Ready
from prepcheck.terms import State
from tests import painted
from tests.command import Command, photo_bytes, write_plate
from tests.photo.pictures import exif

pytestmark = pytest.mark.usefixtures("palette", "aligned")
OXIDE = (State.OXIDE, 160, 120, 30)
GPS = {1: "N", 2: (46.0, 57.0, 11.0), 3: "E", 4: (7.0, 26.0, 27.0)}


@pytest.fixture
def aligned(monkeypatch: pytest.MonkeyPatch) -> None:
    """Makes every photo lie on the first, but those named ``lid...``."""

    def align(first: Ready, other: Ready | Photo, settings: object) -> Alignment | NotAligned:
        if (other.photo if isinstance(other, Ready) else other).name.startswith("lid"):
            return NotAligned("too few places look the same in both")
        return Alignment(np.eye(3), 0.4, 80, "features")

    monkeypatch.setattr(light_set, "align", align)
    monkeypatch.setattr(passes, "align", align)


def photos(command: Command, *names: str) -> list[str]:
    """Write photos of one plate that differ in a speck."""
    for number, name in enumerate(names):
        write_plate(command.folder / name, OXIDE, (State.PIT, 100 + 4 * number, 120, 3))
    return list(names)


def clip(command: Command, name: str = "sweep.mp4", moves: bool = True) -> str:
    """Write a clip of a torch that sweeps over a painted plate, each frame with its own grain; else only exposure changes."""
    states = painted.plate((State.OXIDE, 160, 120, 32), size=(240, 320), spot=(160, 120, 80))
    video = cv2.VideoWriter(str(command.folder / name), cv2.VideoWriter.fourcc(*"mp4v"), 30, (320, 240))
    for number in range(24):
        torch = 1 - 0.1 * np.abs(np.linspace(-1, 1, 320) - np.linspace(-1, 1, 24)[number]) / 2
        torch = torch if moves else np.full(320, 1 - 0.01 * (number % 8))
        video.write((painted.paint(states, seed=number * moves)[:, :, ::-1] * torch[None, :, None]).astype(np.uint8))
    video.release()
    return name


# ---- sets


def test_a_set_has_one_line_in_the_name_of_the_first(command: Command) -> None:
    line = command.inspect("--moved-light", *photos(command, "a.jpg", "b.jpg", "c.jpg")).line
    assert line["photo"]["name"] == "a.jpg"
    assert [photo["name"] for photo in line["photos"]] == ["a.jpg", "b.jpg", "c.jpg"]


def test_without_the_option_each_photo_has_its_own_line(command: Command) -> None:
    assert [line["photos"] for line in command.inspect(*photos(command, "a.jpg", "b.jpg")).lines] == [[], []]


def test_the_exit_code_of_a_set_is_that_of_its_one_answer(command: Command) -> None:
    assert command.inspect("--moved-light", *photos(command, "a.jpg", "b.jpg")).code == 1


def test_maps_and_picture_bear_the_name_of_the_first(command: Command) -> None:
    command.inspect("--moved-light", *photos(command, "a.jpg", "b.jpg"), "--maps", "out", "--picture", "out")
    names = {path.name for path in (command.folder / "out").iterdir()}
    assert names == {"a.marked.jpg", "a.states.png", "a.spots.png", "a.residue.png"}


def test_photos_of_a_set_may_have_one_name_in_two_folders(command: Command) -> None:
    (command.folder / "two").mkdir()
    done = command.inspect("--moved-light", *photos(command, "a.jpg", "two/a.jpg"), "--maps", "out")
    assert len(done.line["photos"]) == 2


def test_no_output_replaces_any_photo_of_a_set(command: Command) -> None:
    files = photos(command, "a.jpg", "b.jpg")
    done = command.inspect("--moved-light", *files, "--picture", "b.jpg")
    assert (done.code, done.out) == (2, "")
    assert done.complaint.startswith("b.jpg: would be replaced by an output file")


def test_a_photo_of_another_part_is_named_to_the_person(command: Command) -> None:
    said = " ".join(command("inspect", "--moved-light", *photos(command, "a.jpg", "b.jpg", "lid.jpg")).out.split())
    assert "photo of the set left out (lid.jpg: too few places look the same in both)" in said
    assert "Moved light: 2 of 3 photos used" in said


def test_two_different_parts_are_answered_with_the_reason(command: Command) -> None:
    done = command.inspect("--moved-light", *photos(command, "a.jpg", "lid.jpg"))
    assert {"set_of_one", "photo_left_out"} <= {flag["code"] for flag in done.line["flags"]}
    assert done.line["moved_light"]["alone"]["standing"] == "residue left"


@pytest.mark.parametrize("count", [1, 7])
def test_a_set_of_too_few_or_too_many_photos_is_wrong_use(command: Command, count: int) -> None:
    done = command.inspect("--moved-light", *photos(command, *(f"{n}.jpg" for n in range(count))))
    assert (done.code, done.out) == (2, "")
    assert done.complaint.startswith(f"a moved-light set has 2 to 6 photos, not {count}.")


def test_the_same_file_twice_is_left_out(command: Command) -> None:
    (name,) = photos(command, "a.jpg")
    told = command.inspect("--moved-light", name, name).line["moved_light"]
    assert told["photos"][1]["left_out"] == "the same photo as a.jpg, to the byte"


def test_a_broken_photo_of_a_set_is_named_and_the_set_is_not_answered(command: Command) -> None:
    files = photos(command, "a.jpg", "b.jpg")
    (command.folder / "b.jpg").write_bytes((command.folder / "b.jpg").read_bytes()[:900])
    done = command.inspect("--moved-light", *files)
    assert (done.code, done.line["photo"]["name"]) == (3, "a.jpg")
    assert done.complaint.startswith("b.jpg: ")


def test_photos_on_their_side_and_of_other_sizes_can_be_a_set(command: Command) -> None:
    write_plate(command.folder / "wide.jpg", OXIDE)
    write_plate(command.folder / "tall.jpg", (State.OXIDE, 240, 320, 30), size=(640, 480))
    line = command.inspect("--moved-light", "wide.jpg", "tall.jpg").line
    assert [(photo["width"], photo["height"]) for photo in line["photos"]] == [(320, 240), (480, 640)]


def test_an_outline_file_of_a_set_is_drawn_in_its_first_photo(command: Command) -> None:
    square = [[130.0, 90.0], [190.0, 90.0], [190.0, 150.0], [130.0, 150.0]]
    (command.folder / "o.json").write_text(f'{{"draw": [{square}]}}')
    line = command.inspect("--moved-light", *photos(command, "a.jpg", "b.jpg"), "--outline-file", "o.json").line
    assert line["by_person"]["spots"][-1]["outlined_by"] == "person"


def test_where_a_set_was_taken_is_printed_only_when_asked_for(command: Command) -> None:
    for number in (1, 2):
        states = painted.plate(OXIDE, (State.PIT, 100 + 4 * number, 120, 3), size=(240, 320), spot=(160, 120, 80))
        (command.folder / f"{number}.jpg").write_bytes(photo_bytes(states, exif=exif(gps=GPS)))
    plain, asked = (
        command.inspect("--moved-light", "1.jpg", "2.jpg", *more).line for more in ([], ["--show-position"])
    )
    assert [photo["position"] for photo in plain["photos"]] == [None, None]
    assert None not in [photo["position"] for photo in asked["photos"]]


def test_a_narrow_screen_shows_a_set_within_its_width(command: Command) -> None:
    said = command("inspect", "--moved-light", *photos(command, "a.jpg", "b.jpg", "lid.jpg"), width=44).out
    assert max(map(len, said.splitlines())) <= 44


# ---- clips


def test_a_clip_is_a_set_under_its_own_name(command: Command) -> None:
    line = command.inspect(clip(command), "--maps", "out").line
    assert (line["photo"]["name"], line["photo"]["format"]) == ("sweep.mp4", "MP4")
    assert (command.folder / "out" / "sweep.states.png").is_file()


def test_the_frames_of_a_clip_carry_its_hash(command: Command) -> None:
    photos = command.inspect(clip(command)).line["photos"]
    sha256 = hashlib.sha256((command.folder / "sweep.mp4").read_bytes()).hexdigest()
    assert 2 <= len(photos) <= 6
    assert {photo["sha256"] for photo in photos} == {sha256}


def test_a_clip_leaves_out_none_of_its_own_frames_as_the_same_photo(command: Command) -> None:
    told = command.inspect(clip(command)).line["moved_light"]
    assert [one["left_out"] for one in told["photos"]] == [""] * len(told["photos"])


def test_a_clip_without_motion_is_told_to_show_no_moved_light(command: Command) -> None:
    said = " ".join(command("inspect", clip(command, moves=False)).out.split())
    assert "Flag: light hardly moved" in said
    assert "in a clip, carry the torch from one side to the other" in said


def test_sound_alone_named_as_a_clip_is_told_in_words(command: Command) -> None:
    data = (command.folder / clip(command)).read_bytes().replace(b"vide", b"soun")
    (command.folder / "sweep.mp4").write_bytes(data)
    done = command.inspect("sweep.mp4")
    assert (done.code, done.complaint.split(". ")[0]) == (3, "sweep.mp4: holds sound or other data but no pictures")


def test_flash_in_one_photo_of_a_set_is_told(command: Command) -> None:
    for number, fired in (("1", 1), ("2", 0)):
        states = painted.plate(OXIDE, (State.PIT, 100 + 4 * fired, 120, 3), size=(240, 320), spot=(160, 120, 80))
        (command.folder / f"{number}.jpg").write_bytes(photo_bytes(states, exif=exif(x9209=fired)))
    said = " ".join(command("inspect", "--moved-light", "1.jpg", "2.jpg").out.split())
    assert "Flag: flash in some photos only (fired in 1.jpg)" in said


def test_where_the_first_photo_is_too_dark_the_fit_one_is_named(command: Command) -> None:
    files = photos(command, "a.jpg", "b.jpg")
    dark = cv2.imread(str(command.folder / "a.jpg")) // 40
    cv2.imwrite(str(command.folder / "a.jpg"), dark)
    said = " ".join(command("inspect", "--moved-light", *files).out.split())
    assert "Flag: first photo not fit, another one is (fit: b.jpg) Give the set again, with a fit photo first." in said


def test_a_clip_among_the_photos_of_a_set_is_wrong_use(command: Command) -> None:
    done = command.inspect("--moved-light", clip(command), *photos(command, "a.jpg"))
    assert (done.code, done.complaint) == (
        2,
        "sweep.mp4: a clip is a set of its own. Give it alone (without --moved-light).",
    )


def test_a_damaged_clip_is_named_and_the_rest_go_on(command: Command) -> None:
    data = (command.folder / clip(command)).read_bytes()
    (command.folder / "sweep.mp4").write_bytes(data[: len(data) // 2])
    done = command.inspect("sweep.mp4", *photos(command, "a.jpg"))
    assert (done.code, [line["photo"]["name"] for line in done.lines]) == (3, ["sweep.mp4", "a.jpg"])
    assert done.complaint.startswith("sweep.mp4: is damaged")


def test_a_clip_that_is_not_there_is_named(command: Command) -> None:
    assert command.inspect("none.mp4").complaint.startswith("none.mp4: cannot be read (No such file or directory)")


def test_a_clip_is_kept_once_to_the_byte_and_its_frames_are_told(command: Command) -> None:
    command.open_job()
    command.log(clip(command))
    (kept,) = [path for path in (command.folder / "store" / "photos").rglob("*") if path.is_file()]
    assert kept.read_bytes() == (command.folder / "sweep.mp4").read_bytes()
    (told,) = command.story()
    assert told["photos"][0] == "sweep.mp4"
    assert all(name.startswith("sweep.mp4, frame ") for name in told["photos"][1:])


def test_a_clip_is_compared_with_the_clip_of_the_pass_before(command: Command) -> None:
    command.open_job()
    command.log(clip(command))
    command.log(clip(command, "again.mov"), pass_no=2)
    assert command.story()[1]["since"]["shares"]["still_residue"] == pytest.approx((32 / 80) ** 2, rel=0.2)


# ---- in the log


def test_a_set_is_logged_as_one_inspection(command: Command) -> None:
    command.open_job()
    command.log("--moved-light", *photos(command, "a.jpg", "b.jpg", "c.jpg"))
    (told,) = command.story()
    assert told["photos"] == ["a.jpg", "b.jpg", "c.jpg"]


def test_an_equal_set_is_answered_from_the_log(command: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    command.open_job()
    files = photos(command, "a.jpg", "b.jpg")
    first = command.log("--moved-light", *files).line
    monkeypatch.setattr("prepcheck.light_set.inspect_set", None)
    assert command.log("--moved-light", *files).line == first


@pytest.mark.parametrize("other", [["b.jpg", "a.jpg"], ["a.jpg", "c.jpg"], ["a.jpg", "b.jpg", "c.jpg"]])
def test_photos_in_another_order_or_number_are_another_question(
    command: Command, monkeypatch: pytest.MonkeyPatch, other: list[str]
) -> None:
    command.open_job()
    photos(command, "a.jpg", "b.jpg", "c.jpg")
    command.log("--moved-light", "a.jpg", "b.jpg")
    asked: list[int] = []
    whole = light_set.inspect_set
    monkeypatch.setattr("prepcheck.light_set.inspect_set", lambda *a, **k: asked.append(1) or whole(*a, **k))
    command.log("--moved-light", *other)
    assert asked == [1]


def test_the_answer_for_a_set_is_not_given_for_its_first_photo(command: Command) -> None:
    command.open_job()
    command.log("--moved-light", *photos(command, "a.jpg", "b.jpg"))
    assert command.log("a.jpg").line["moved_light"] is None


# ---- passes


@pytest.fixture
def two_passes(command: Command) -> Command:
    command.open_job()
    for pass_no, name in enumerate(photos(command, "one.jpg", "two.jpg"), start=1):
        assert command.log(name, pass_no=pass_no).code == 1
    return command


def test_the_second_pass_says_what_changed(two_passes: Command) -> None:
    write_plate(two_passes.folder / "three.jpg")
    line = two_passes.log("three.jpg", pass_no=3).line
    assert line["since_last_pass"]["pass_no"] == 2
    assert line["since_last_pass"]["shares"]["newly_bright"] > 0.1


def test_the_terminal_says_what_changed_and_that_residue_may_go_deep(two_passes: Command) -> None:
    write_plate(two_passes.folder / "three.jpg", OXIDE)
    place = ["--job", "1", "--spot", "1", "--pass-no", "3", "--person", "Ida"]
    said = " ".join(two_passes("inspect", "three.jpg", *place).out.split())
    assert "Since pass 2: newly bright" in said
    assert "Flag: residue may go deep (1 place, seen in up to 3 passes)" in said


def test_job_show_tells_the_history_of_a_spot(two_passes: Command) -> None:
    said = " ".join(two_passes("job", "show", "1").out.split())
    assert "pass 1 residue left, score 8" in said
    assert "since pass 1: newly bright" in said


def test_job_show_of_one_spot_tells_no_other(two_passes: Command) -> None:
    two_passes.log(*photos(two_passes, "rim.jpg"), spot="rim")
    assert "rim.jpg" not in two_passes("job", "show", "1", "--spot", "1").out


def test_the_history_is_written_as_a_picture(two_passes: Command) -> None:
    done = two_passes("job", "show", "1", "--spot", "1", "--picture", "history.png")
    assert done.code == 0
    assert "Written: history.png" in done.out
    assert (two_passes.folder / "history.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--picture", "h.png"], "h.png: a picture shows the passes of one spot. Name it with --spot."),
        (["--spot", "1", "--picture", "h.gif"], "h.gif: pictures are written as PNG or JPEG"),
        (["--spot", "rim", "--picture", "h.png"], "rim: no such spot in J-0001. Known: 1."),
    ],
)
def test_a_picture_that_cannot_be_made_is_wrong_use(two_passes: Command, arguments: list[str], said: str) -> None:
    done = two_passes("job", "show", "1", *arguments)
    assert (done.code, done.out) == (2, "")
    assert done.complaint.startswith(said)
    assert not [path for path in Path(two_passes.folder).iterdir() if path.name.startswith("h.")]
