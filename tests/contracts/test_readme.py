"""What README and DEVELOPERS say can be run, runs; what they name, exists."""

from __future__ import annotations

import re
import shlex
import shutil
import tomllib
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest

from prepcheck import errors
from prepcheck.samples import samples
from prepcheck.terms import Standing
from tests.command import Command

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def blocks(text: str) -> Iterator[list[str]]:
    """Give the indented blocks of a page."""
    for found in re.finditer(r"(?:^    .*\n(?:\n(?=    ))?)+", text, re.M):
        yield [line[4:] for line in found[0].splitlines()]


def commands() -> list[str]:
    """Return the lines of README that call ``prepcheck``, without their remarks.

    The whole job has a test of its own, and so has ``serve``, which goes on until somebody stops it.
    """
    before, _, after = README.partition("## A whole job\n")
    lines = [line for block in blocks(before + after.partition("\n## ")[2]) for line in block]
    calls = [line.split("  #")[0].strip() for line in lines if line.startswith("prepcheck ")]
    return [call for call in calls if call != "prepcheck serve"]


@pytest.fixture
def folder(command: Command) -> Path:
    """The folder of the test with photos and a clip as README speaks of."""
    sample = next(sample for sample in samples() if sample.spots == 1 and not sample.flags)
    shutil.copy(sample.path, command.folder / "photo.jpg")
    (command.folder / "photos").mkdir()
    shutil.copy(sample.path, command.folder / "photos/2_1.jpg")
    picture = cv2.resize(cv2.imread(str(sample.path)), (640, 480), interpolation=cv2.INTER_AREA)
    film = cv2.VideoWriter(str(command.folder / "sweep.mp4"), cv2.VideoWriter.fourcc(*"mp4v"), 30, (640, 480))
    for k in range(24):
        lit = np.clip(picture * np.linspace(0.6 + k / 60, 1.4 - k / 60, 640)[:, None], 0, 255).astype(np.uint8)
        film.write(lit)
        if k % 8 == 0:
            cv2.imwrite(str(command.folder / f"{'abc'[k // 8]}.jpg"), lit)
    film.release()
    return command.folder


def test_the_commands_of_the_readme_run_one_after_the_other(command: Command, folder: Path) -> None:
    ran = [command(*shlex.split(line.replace("*.jpg", "photo.jpg"))[1:]) for line in commands()]
    assert len(ran) >= 6
    assert [(line, done.err) for line, done in zip(commands(), ran, strict=True) if done.code not in (0, 1)] == []
    assert {"marked.jpg", "maps", "card", "store"} <= {path.name for path in folder.iterdir()}


def test_the_python_of_the_readme_runs(command: Command, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (lines,) = [block for block in blocks(README) if "from pathlib import Path" in block]
    monkeypatch.chdir(folder)
    names: dict[str, object] = {}
    exec("\n".join(lines), names)
    assert names["record"].photo.name == "photo.jpg"  # type: ignore[attr-defined]


def test_the_two_set_up_commands_name_what_there_is() -> None:
    setup = [line for block in blocks(README) for line in block if ".venv/bin" in line]
    assert len(setup) == 2
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert set(re.findall(r"\[(\w+)\]", " ".join(setup))) <= set(project["optional-dependencies"])
    assert "prepcheck" in project["scripts"]


@pytest.mark.parametrize("page", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_paths_that_are_named_exist(page: str) -> None:
    named = set(re.findall(r"`((?:prepcheck|models|sample_images|tests|shared|\.ci)/[\w./-]*)`", page))
    assert named
    assert [name for name in sorted(named) if not (ROOT / name).exists()] == []


@pytest.mark.parametrize("page", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_modules_that_are_run_exist(page: str) -> None:
    named = set(re.findall(r"python -m ((?:prepcheck|tests)[\w.]*)", page))
    paths = {name: ROOT / name.replace(".", "/") for name in named}
    assert [name for name, path in paths.items() if not (path.with_suffix(".py").exists() or path.is_dir())] == []


@pytest.mark.parametrize("page", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_no_page_has_a_gap_to_fill(page: str) -> None:
    assert re.findall(r"^(?:FIGURES|TODO|TBD|XXX)\b.*|\b(?:TODO|TBD|FIXME)\b", page, re.M) == []


def test_the_standings_of_the_readme_are_those_there_are() -> None:
    rows = re.findall(r"^\| (\w[\w ]*\w) \| ", README, re.M)
    assert set(Standing) <= set(rows)


def test_the_exit_codes_of_the_readme_are_those_of_the_errors() -> None:
    assert (errors.WrongUse.exit_code, errors.BrokenInput.exit_code) == (2, 3)
    assert (errors.ModelFault.exit_code, errors.StoreFault.exit_code) == (3, 3)
    assert (errors.Held.exit_code, errors.PrepcheckError.exit_code) == (1, 3)
    assert "0 every spot bright · 1 a person is needed · 2 wrong use · 3 broken file, model or store" in README


@pytest.mark.parametrize(
    "option", ["--show-position", "--outline-file", "--mm-per-px", "--maps", "--picture", "--json"]
)
def test_options_that_people_are_told_of_exist(command: Command, option: str) -> None:
    assert option in command("inspect", "--help").out
