"""What is wrong with a call is said in one line before work starts, with exit code 2, and nothing is written."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.command import Command, write_plate

pytestmark = pytest.mark.usefixtures("palette")

SQUARE = "[[100, 70], [220, 70], [220, 170], [100, 170]]"


@pytest.fixture
def photo(command: Command) -> Path:
    return write_plate(command.folder / "good.jpg")


def refused(command: Command, *arguments: object, says: str) -> None:
    """Hold that the call prints nothing, says one line and leaves the folder as it was."""
    before = {path: path.stat().st_mtime_ns for path in command.folder.rglob("*")}
    done = command.inspect(*arguments)
    assert (done.code, done.out) == (2, "")
    assert says in done.complaint
    assert {path: path.stat().st_mtime_ns for path in command.folder.rglob("*")} == before


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((), "Missing argument"),
        (("good.jpg", "--pictur", "x"), "No such option: --pictur"),
        (("good.jpg", "--maps"), "requires an argument"),
        (("good.jpg", "--mm-per-px", "abc"), "'--mm-per-px'"),
        (("good.jpg", "--mm-per-px", "0"), "between 0.0001 and 100"),
        (("good.jpg", "--mm-per-px", "-1"), "between 0.0001 and 100"),
        (("good.jpg", "--mm-per-px", "nan"), "between 0.0001 and 100"),
        (("good.jpg", "--mm-per-px", "inf"), "between 0.0001 and 100"),
        (("good.jpg", "--pass-no", "one"), "'--pass-no'"),
        (("good.jpg", "--settings", "none.toml"), "none.toml: cannot be read (No such file"),
        (("good.jpg", "--outline-file", "none.json"), "none.json: cannot be read (No such file"),
        (("good.jpg", "--outline-file", "."), "is no regular file"),
    ],
)
def test_an_option_that_cannot_be_used_is_named(
    command: Command, photo: Path, arguments: tuple[str, ...], says: str
) -> None:
    refused(command, *arguments, says=says)


def test_an_unknown_command_is_one_line(command: Command) -> None:
    done = command("inspct")
    assert (done.code, done.out) == (2, "")
    assert done.complaint == "No such command 'inspct' (did you mean 'inspect'?). See prepcheck --help."


def test_a_word_that_is_none_of_those_to_choose_from_is_told_without_the_checkers_own_words(command: Command) -> None:
    done = command("log", "reading", "J-0001", "oxigen", "20", "--place", "front", "--person", "Mika")
    assert done.code == 2
    assert done.complaint.startswith("Invalid value for 'gas': 'oxigen' is not one of 'oxygen'")


def test_a_folder_of_photos_is_sent_to_batch(command: Command) -> None:
    done = command("inspect", command.folder)
    assert (done.code, done.out) == (2, "")
    assert done.complaint.endswith("Name the photos in it, or look at all of them (prepcheck batch FOLDER --out OUT).")


def test_a_folder_among_photos_keeps_none_of_them_from_being_looked_at(command: Command, photo: Path) -> None:
    done = command.inspect(command.folder, photo)
    assert (done.code, done.lines[1]["standing"]) == (2, "bright")


@pytest.mark.parametrize("arguments", [(), ("job",)])
def test_a_command_without_anything_behind_it_shows_the_help(command: Command, arguments: tuple[str, ...]) -> None:
    done = command(*arguments)
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("Usage: prepcheck")


@pytest.mark.parametrize("twin", ["x/good.jpg", "good.png", "GOOD.jpg"])
@pytest.mark.parametrize("option", [("--maps", "out"), ("--picture", "out")])
def test_two_photos_of_one_name_are_refused_when_files_are_written(
    command: Command, photo: Path, twin: str, option: tuple[str, str]
) -> None:
    (command.folder / "x").mkdir()
    (command.folder / twin).write_bytes(photo.read_bytes())
    refused(command, "good.jpg", twin, *option, says="would write the same output files")


def test_two_photos_of_one_name_are_fine_when_none_are_written(command: Command, photo: Path) -> None:
    (command.folder / "x").mkdir()
    (command.folder / "x" / "good.jpg").write_bytes(photo.read_bytes())
    assert len(command.inspect("good.jpg", "x/good.jpg").lines) == 2


@pytest.mark.parametrize("picture", ["good.jpg", "./good.jpg", "link.jpg"])
def test_a_photo_is_never_replaced_by_its_picture(command: Command, photo: Path, picture: str) -> None:
    (command.folder / "link.jpg").symlink_to("good.jpg")
    refused(command, "good.jpg", "--picture", picture, says="good.jpg: would be replaced by an output file")


def test_a_photo_is_never_replaced_by_the_maps_of_another(command: Command, photo: Path) -> None:
    write_plate(command.folder / "good.states.png")
    refused(command, "good.jpg", "good.states.png", "--maps", ".", says="good.states.png: would be replaced")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--picture", "out.gif"), "out.gif: pictures are written as PNG or JPEG"),
        (("--picture", "good.jpg/out.png"), "good.jpg: cannot be written to"),
        (("--maps", "good.jpg"), "good.jpg: cannot be written to"),
        (("--maps", "good.jpg/below"), "cannot be written to"),
    ],
)
def test_a_place_that_cannot_be_written_is_said_before_work_starts(
    command: Command, photo: Path, arguments: tuple[str, ...], says: str
) -> None:
    refused(command, "good.jpg", *arguments, says=says)


def test_one_picture_file_is_not_enough_for_two_photos(command: Command, photo: Path) -> None:
    write_plate(command.folder / "other.jpg")
    refused(command, "good.jpg", "other.jpg", "--picture", "out.jpg", says="one picture file cannot hold several")


OUTLINES = {
    "nothing": ("", "Invalid JSON"),
    "half of it": ('{"draw"', "Invalid JSON"),
    "a list": ("[]", "should be an object"),
    "an unknown name": ('{"drawn": []}', "drawn: is not a name known here"),
    "no number": ('{"draw": [[[NaN, 1], [2, 3], [3, 4]]]}', "finite number"),
    "infinity": ('{"draw": [[[1e999, 1], [2, 3], [3, 4]]]}', "finite number"),
    "a number of 400 digits": (f'{{"draw": [[[{"9" * 400}, 1], [2, 3], [3, 4]]]}}', "finite number"),
    "a number of 5000 digits": (f'{{"draw": [[[{"9" * 5000}, 1], [2, 3], [3, 4]]]}}', "out of range"),
    "brackets without end": ("[" * 100_000, "recursion limit"),
    "words for numbers": ('{"draw": [[["1", 1], [2, 3], [3, 4]]]}', "valid number"),
    "two points": ('{"draw": [[[1, 1], [2, 3]]]}', "at least 3"),
    "too many points": (f'{{"draw": [[{"[1, 1], " * 10_000}[1, 1]]]}}', "at most 10000"),
    "too many outlines": (f'{{"draw": [{f"{SQUARE}, " * 20}{SQUARE}]}}', "at most 20"),
    "a megabyte": (" " * 1_000_001, "more than 1,000,000 bytes"),
    "a refused word": ('{"refuse": {"one": "primer"}}', "refuse.one"),
    "a number written twice": ('{"refuse": {"1": "primer", "01": "paint"}}', "refuse.01"),
    "a refusal without reason": ('{"refuse": {"1": " "}}', "a refusal's reason is empty"),
    "a reason of a page": (f'{{"refuse": {{"1": "{"x" * 501}"}}}}', "at most 500 fit"),
    "a reason that colours the screen": ('{"refuse": {"1": "a\\u001b[31m"}}', "cannot be printed"),
    "a reason cut in a letter": ('{"refuse": {"1": "\\udcff"}}', "Invalid JSON"),
}


@pytest.mark.parametrize("what", OUTLINES)
def test_an_outline_file_that_says_something_else_is_refused(command: Command, photo: Path, what: str) -> None:
    text, says = OUTLINES[what]
    (command.folder / "o.json").write_text(text)
    refused(command, "good.jpg", "--outline-file", "o.json", says=says)


@pytest.mark.parametrize("option", ["--outline-file", "--settings"])
@pytest.mark.parametrize("make", [os.mkfifo, lambda path: path.symlink_to("/dev/zero")])
def test_a_pipe_or_device_in_place_of_a_file_is_not_waited_for(command, photo, option, make) -> None:  # type: ignore[no-untyped-def]
    make(command.folder / "pipe")
    refused(command, "good.jpg", option, "pipe", says="pipe: is no regular file")


def test_an_outline_file_of_other_letters_is_refused(command: Command, photo: Path) -> None:
    (command.folder / "o.json").write_bytes(b"\xff\xfe\x00")
    refused(command, "good.jpg", "--outline-file", "o.json", says="o.json: is no text")


def test_outlines_belong_to_one_photo(command: Command, photo: Path) -> None:
    write_plate(command.folder / "other.jpg")
    (command.folder / "o.json").write_text(f'{{"draw": [{SQUARE}]}}')
    refused(command, "good.jpg", "other.jpg", "--outline-file", "o.json", says="outlines belong to one photo")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('{"draw": [[[900, 70], [1000, 70], [1000, 170]]]}', "leaves the photo of 320 x 240 pixels"),
        ('{"draw": [[[-50, 70], [100, 70], [100, 170]]]}', "leaves the photo of 320 x 240 pixels"),
        ('{"draw": [[[50, 70], [50, 70], [50, 70]]]}', "drawn outline 2 holds next to nothing"),
        ('{"draw": [[[50, 70], [100, 120], [150, 170]]]}', "drawn outline 2 holds next to nothing"),
        ('{"refuse": {"7": "primer"}}', "has no outline 7 to refuse, only 1 found"),
    ],
)
def test_outlines_that_do_not_fit_the_photo_are_the_photos_error(
    command: Command, photo: Path, text: str, says: str
) -> None:
    (command.folder / "o.json").write_text(text)
    done = command.inspect("good.jpg", "--outline-file", "o.json")
    assert (done.code, done.line["error"]["code"]) == (2, "bad_outlines")
    assert says in done.complaint


SETTINGS = {
    "half of it": ("[score\n", "is no TOML file"),
    "an unknown name": ("[score]\nresidu_limit = 0.1", "score.residu_limit: is not a name known here"),
    "an unknown group": ("[sore]\nx = 3", "sore: is not a name known here"),
    "a value for a group": ("score = 3", "score: should be a group of names with values"),
    "a value out of range": ("[score]\nresidue_limit = 7", "score.residue_limit: Input should be less than"),
    "a value of another kind": ('[score]\nresidue_limit = "a"', "score.residue_limit: Input should be a valid number"),
    "no number": ("[score]\nresidue_limit = nan", "finite number"),
    "a name of two lines": ('[score]\n"a\\nb" = 1', "score.a\\nb: is not a name"),
    "brackets without end": ("a = " + "[" * 10_000, "is no TOML file"),
    "names without end": (".".join("a" * 20_000) + " = 1", "more than 16,000 bytes"),
}


@pytest.mark.parametrize("what", SETTINGS)
def test_a_settings_file_that_cannot_be_used_is_refused(command: Command, photo: Path, what: str) -> None:
    text, says = SETTINGS[what]
    (command.folder / "s.toml").write_text(text)
    refused(command, "good.jpg", "--settings", "s.toml", says=says)


def test_settings_may_also_come_from_the_surroundings(
    command: Command, photo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (command.folder / "s.toml").write_text("[sore]\n")
    monkeypatch.setenv("PREPCHECK_SETTINGS", "s.toml")
    refused(command, "good.jpg", says="sore: is not a name known here")


PLACE = {"--job": "1", "--spot": "1", "--pass-no": "1", "--person": "Ida"}


@pytest.mark.parametrize("given", [("--job",), ("--spot",), ("--pass-no", "--person"), ("--job", "--spot", "--person")])
def test_half_a_place_in_the_log_names_the_missing_half(command: Command, photo: Path, given: tuple[str, ...]) -> None:
    command.open_job()
    missing = ", ".join(name for name in PLACE if name not in given)
    told = [word for name in given for word in (name, PLACE[name])]
    refused(command, "good.jpg", *told, says=f"a log entry needs {missing} too")


@pytest.mark.parametrize("option", [("--outline", "1"), ("--note", "new disc")])
def test_what_only_a_log_entry_can_hold_needs_one(command: Command, photo: Path, option: tuple[str, str]) -> None:
    refused(command, "good.jpg", *option, says="a log entry needs --job")


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"--job": "9"}, "J-0009: no such job in this log"),
        ({"--job": "a\nb"}, "a\\nb: no such job"),
        ({"--spot": ""}, "the spot is empty"),
        ({"--spot": "1000"}, "1 to 999"),
        ({"--pass-no": "0"}, "1 to 99"),
        ({"--pass-no": "-1"}, "1 to 99"),
        ({"--person": ""}, "the person's name is empty"),
        ({"--person": "\x1b[31m"}, "cannot be printed"),
        ({"--person": "\udcff"}, "\\udcff: the person's name holds characters"),
        ({"--note": "x" * 2001}, "at most 2000 fit"),
    ],
)
def test_a_log_entry_that_cannot_be_made_is_said_before_work_starts(
    command: Command, photo: Path, changed: dict[str, str], says: str
) -> None:
    command.open_job()
    refused(command, "good.jpg", *[word for pair in (PLACE | changed).items() for word in pair], says=says)


def test_a_photo_is_not_logged_into_a_store_that_is_not_there(command: Command, photo: Path) -> None:
    refused(command, "good.jpg", *[word for pair in PLACE.items() for word in pair], says="holds no log yet")
