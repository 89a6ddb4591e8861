"""Every bad photo on the command line: one clear line, the right exit code, one JSON line, and the rest go on."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests import painted
from tests.command import Command, environment, write_plate
from tests.contracts.test_bad_files import claiming, png_claiming
from tests.photo.pictures import coded, jpeg, saved

pytestmark = pytest.mark.usefixtures("palette")

RGB = painted.paint(painted.plate(size=(240, 320), spot=(160, 120, 80)))
IMAGE = Image.fromarray(RGB)
JPEG = jpeg(RGB, quality=97, subsampling=0)
PNG = saved(IMAGE, "PNG")


def heic() -> bytes:
    heif = pytest.importorskip("pillow_heif")
    buffer = io.BytesIO()
    heif.from_pillow(IMAGE).save(buffer, quality=80)
    return buffer.getvalue()


def half(data: bytes) -> bytes:
    return data[: len(data) // 2]


def animation(kind: str) -> bytes:
    return saved(IMAGE, kind, save_all=True, append_images=[IMAGE.rotate(90)])


def see_through(opacity: int) -> bytes:
    image = IMAGE.convert("RGBA")
    image.putalpha(opacity)
    return saved(image, "PNG")


def even(level: int) -> bytes:
    return jpeg(np.full((600, 800, 3), level, np.uint8))


BROKEN: dict[str, tuple[Callable[[], bytes], str, str]] = {
    "an empty file": (lambda: b"", "not_a_photo", "is empty"),
    "text named .jpg": (lambda: b"Dear customer,\nthe bowser is ready.\n" * 40, "not_a_photo", "is no picture"),
    "a cut JPEG": (lambda: half(JPEG), "damaged_photo", "is cut"),
    "a cut JPEG with its end marker put back": (lambda: half(JPEG) + b"\xff\xd9", "damaged_photo", "is cut"),
    "a cut PNG": (lambda: half(PNG), "damaged_photo", "is cut"),
    "a cut HEIC": (lambda: half(heic()), "damaged_photo", "is cut"),
    "a JPEG that claims 30,000 x 30,000": (lambda: claiming(30_000, 30_000, JPEG), "too_large", "30000 x 30000"),
    "a PNG of 60,000 x 60,000": (lambda: png_claiming(60_000, 60_000), "too_large", "60000 x 60000"),
    "a PNG that claims more than it holds": (lambda: png_claiming(7_000, 7_000), "damaged_photo", "is cut"),
    "a float TIFF": (lambda: coded(RGB.astype(np.float32) / 255, ".tiff"), "not_a_photo", "numbers"),
    "an animated GIF": (lambda: animation("GIF"), "not_a_photo", "GIF"),
    "an animated WebP": (lambda: animation("WEBP"), "not_a_photo", "animation"),
    "an animated PNG": (lambda: animation("PNG"), "not_a_photo", "animation"),
}
UNFIT: dict[str, Callable[[], bytes]] = {
    "1 x 1": lambda: saved(Image.new("RGB", (1, 1)), "PNG"),
    "1 x 4000": lambda: saved(Image.new("RGB", (1, 4000), (180, 180, 180)), "PNG"),
    "4000 x 1": lambda: saved(Image.new("RGB", (4000, 1), (180, 180, 180)), "JPEG"),
    "all black": lambda: even(0),
    "all white": lambda: even(255),
}
READABLE: dict[str, Callable[[], bytes]] = {
    "JPEG": lambda: JPEG,
    "PNG": lambda: PNG,
    "HEIC": heic,
    "16-bit PNG": lambda: coded(RGB[:, :, ::-1].astype(np.uint16) * 257, ".png"),
    "16-bit TIFF": lambda: coded(RGB[:, :, ::-1].astype(np.uint16) * 257, ".tiff"),
    "CMYK JPEG": lambda: saved(IMAGE.convert("CMYK"), "JPEG"),
    "grey JPEG": lambda: saved(IMAGE.convert("L"), "JPEG"),
    "one-bit PNG": lambda: saved(IMAGE.convert("1"), "PNG"),
    "palette PNG": lambda: saved(IMAGE.convert("P"), "PNG"),
    "alpha PNG": lambda: see_through(128),
    "PNG with a strange colour profile": lambda: saved(IMAGE, "PNG", icc_profile=b"\0\0\0\x80" + bytes(124)),
}


@pytest.mark.parametrize("what", BROKEN)
def test_a_broken_file_is_one_clear_line_on_each_stream(command: Command, what: str) -> None:
    make, code, says = BROKEN[what]
    (command.folder / "shot.jpg").write_bytes(make())
    done = command.inspect("shot.jpg")
    assert done.code == 3
    assert done.line == {
        "record_version": 1,
        "photo": {"name": "shot.jpg"},
        "error": {"code": code, "message": done.complaint},
    }
    assert done.complaint.startswith("shot.jpg: ")
    assert says in done.complaint


@pytest.mark.parametrize("what", UNFIT)
def test_a_picture_that_shows_nothing_is_to_be_taken_again(command: Command, what: str) -> None:
    (command.folder / "shot.jpg").write_bytes(UNFIT[what]())
    done = command.inspect("shot.jpg", "--maps", "maps", "--picture", "shot.marked.jpg")
    assert (done.code, done.err, done.line["standing"]) == (1, "", "retake")


@pytest.mark.parametrize("what", READABLE)
def test_an_unusual_kind_of_picture_is_inspected_without_complaint(command: Command, what: str) -> None:
    (command.folder / "shot.jpg").write_bytes(READABLE[what]())
    done = command.inspect("shot.jpg")
    assert done.err == ""
    assert done.code == (0 if done.line["standing"] == "bright" else 1)
    assert (done.line["photo"]["width"], done.line["photo"]["height"]) == (320, 240)


PLACES: dict[str, tuple[Callable[[Path], object], str]] = {
    "a pipe": (os.mkfifo, "is no regular file"),
    "a loop of links": (lambda path: path.symlink_to(path.name), "cannot be read (Too many levels"),
    "a link to nowhere": (lambda path: path.symlink_to("nowhere"), "cannot be read (No such file"),
    "a device": (lambda path: path.symlink_to("/dev/zero"), "is no regular file"),
    "nothing": (lambda path: None, "cannot be read (No such file"),
    "a file of a terabyte": (lambda path: path.touch() or os.truncate(path, 10**12), "holds more than 150 MB"),
}


@pytest.mark.parametrize("what", PLACES)
def test_what_is_no_file_to_read_is_said_at_once(command: Command, what: str) -> None:
    make, says = PLACES[what]
    make(command.folder / "shot.jpg")
    start = time.perf_counter()
    done = command.inspect("shot.jpg")
    assert time.perf_counter() - start < 2
    assert (done.code, done.line["photo"]) == (3, {"name": "shot.jpg"})
    assert done.complaint.startswith(f"shot.jpg: {says}")


NAMES = {
    "with space.jpg": "with space.jpg",
    "new\nline.jpg": "new\\nline.jpg",
    "tab\t.jpg": "tab\\t.jpg",
    "colour\x1b[31m.jpg": "colour\\x1b[31m.jpg",
    "turned\u202egpj.exe.jpg": "turned\\u202egpj.exe.jpg",
    "Schweißnaht ✓ шов.jpg": "Schweißnaht ✓ шов.jpg",
    "[bold]markup[red].jpg": "[bold]markup[red].jpg",
    "\udcff\udcfe.jpg": "\\udcff\\udcfe.jpg",
    ".jpg": ".jpg",
}


@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_told_printable_and_its_files_keep_it(command: Command, name: str) -> None:
    write_plate(command.folder / name)
    done = command.inspect(name, "--maps", "maps", "--picture", "marked/")
    assert (done.code, done.err) == (0, "")
    assert done.line["photo"]["name"] == NAMES[name]
    stem = Path(name).stem
    assert {path.name for path in (command.folder / "maps").iterdir()} == {
        f"{stem}.{kind}.png" for kind in ("states", "spots", "residue")
    }
    assert [path.name for path in (command.folder / "marked").iterdir()] == [f"{stem}.marked.jpg"]


@pytest.mark.parametrize("name", NAMES)
def test_an_error_about_a_name_is_one_printable_line(command: Command, name: str) -> None:
    (command.folder / name).write_bytes(b"words")
    done = command.inspect(name)
    assert done.code == 3
    assert done.complaint.startswith(f"{NAMES[name]}: is no picture")
    assert done.complaint.isprintable()


@pytest.mark.parametrize("name", NAMES)
def test_a_table_about_a_name_holds_no_control_characters(command: Command, name: str) -> None:
    write_plate(command.folder / name)
    done = command("inspect", name, "--picture", "marked/")
    assert done.err == ""
    assert NAMES[name] in done.out
    assert done.out.replace("\n", "").isprintable()


def test_a_name_with_a_leading_dash_needs_two_dashes_before_it(command: Command) -> None:
    write_plate(command.folder / "-dash.jpg")
    assert command.inspect("--", "-dash.jpg").line["photo"]["name"] == "-dash.jpg"
    done = command.inspect("-dash.jpg")
    assert (done.code, done.out) == (2, "")
    assert "put -- before a file name with a leading dash" in done.complaint


def test_a_name_too_long_for_its_maps_loses_no_answer(command: Command) -> None:
    write_plate(command.folder / ("a" * 250 + ".jpg"))
    done = command.inspect("a" * 250 + ".jpg", "--maps", "maps")
    assert (done.code, done.line["standing"]) == (2, "bright")
    assert "File name too long" in done.complaint


def test_the_rest_of_fifty_photos_go_on_past_the_broken_ones(command: Command) -> None:
    write_plate(command.folder / "good.jpg")
    (command.folder / "cut.jpg").write_bytes(half(JPEG))
    (command.folder / "empty.jpg").touch()
    os.mkfifo(command.folder / "pipe.jpg")
    photos = ["cut.jpg", "good.jpg", "empty.jpg", "good.jpg", "pipe.jpg"] * 10
    done = command.inspect(*photos)
    assert done.code == 3
    assert [line["photo"]["name"] for line in done.lines] == photos
    assert ["error" in line for line in done.lines] == [photo != "good.jpg" for photo in photos]
    assert len(done.err.splitlines()) == 30


@pytest.mark.skipif(sys.platform != "linux", reason="reads its peak memory from /proc")
@pytest.mark.parametrize(
    "data", [claiming(30_000, 30_000, JPEG), claiming(14_000, 14_000, JPEG), png_claiming(60_000, 60_000)]
)
def test_a_bomb_costs_little_time_and_memory(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "bomb.jpg").write_bytes(data)
    script = (
        "import sys, time; from pathlib import Path; from datetime import UTC, datetime\n"
        "from prepcheck.looking import Look, look_at; from prepcheck.settings import Settings; from tests import painted\n"
        "look = Look(Settings(), painted.model()); start = time.perf_counter()\n"
        "done = look_at(Path(sys.argv[1]), look, None, datetime.now(UTC))\n"
        "most = next(line for line in open('/proc/self/status') if line.startswith('VmHWM'))\n"
        "print(done.exit_code, time.perf_counter() - start, most.split()[1])"
    )
    command = [sys.executable, "-c", script, str(tmp_path / "bomb.jpg")]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    code, seconds, kilobytes = done.stdout.split()
    assert code == "3"
    assert float(seconds) < 2
    assert int(kilobytes) < 300_000


@pytest.mark.skipif(os.name == "nt" or not hasattr(os, "geteuid"), reason="permissions of another kind")
def test_an_ordinary_user_is_told_of_a_photo_that_may_not_be_read(tmp_path: Path) -> None:
    path = tmp_path / "locked.jpg"
    path.write_bytes(JPEG)
    path.chmod(0)
    script = (
        "import os, sys; from pathlib import Path; from datetime import UTC, datetime\n"
        "from prepcheck.looking import Look, look_at; from prepcheck.settings import Settings; from tests import painted\n"
        "look = Look(Settings(), painted.model()); os.chdir(sys.argv[1])\n"
        "if os.geteuid() == 0:\n    os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
        "done = look_at(Path('locked.jpg'), look, None, datetime.now(UTC))\n"
        "print(done.exit_code, done.line.error.message)"
    )
    command = [sys.executable, "-c", script, str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    said = "3 locked.jpg: cannot be read (Permission denied). Check the path and its permissions.\n"
    assert done.stdout == said


def test_a_process_of_its_own_says_the_same(tmp_path: Path) -> None:
    (tmp_path / "shot.jpg").write_bytes(half(JPEG))
    command = [sys.executable, "-m", "prepcheck", "inspect", "--json", "shot.jpg"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, env=environment())
    assert (done.returncode, done.stderr.count("\n"), done.stdout.count("\n")) == (3, 1, 1)
    assert "Traceback" not in done.stderr
