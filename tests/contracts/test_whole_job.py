"""The whole job of README, run word for word: from intake to a bag that anybody can check, and never called safe."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import pytest

from prepcheck.__main__ import main
from prepcheck.samples import samples
from prepcheck.terms import HOT_WORK_LINE, Standing
from tests.report.job import pdf_text

ROOT = Path(__file__).parents[2]
_RECORD = """prepcheck() { printf '%s\\037' "$@" >> "$CALLS"; printf '\\036' >> "$CALLS"; }\n"""
"""Takes the place of the command in the shell: writes down what it was called with."""
SAFE = re.compile(r"\bsafe(ly|r)?\b", re.I)


@dataclass(frozen=True)
class Call:
    """One command of README and how it ended."""

    arguments: tuple[str, ...]
    code: int
    out: str
    err: str

    def __str__(self) -> str:
        return f"prepcheck {' '.join(self.arguments)}: {self.code}\n{self.out}{self.err}"


def script() -> str:
    """Return the commands below the heading *A whole job*."""
    section = (ROOT / "README.md").read_text(encoding="utf-8").partition("## A whole job\n")[2].partition("\n## ")[0]
    return "\n".join(line[4:] for line in section.splitlines() if line.startswith("    "))


def calls_of(text: str, folder: Path) -> list[tuple[str, ...]]:
    """Return what the shell makes of the commands: each call's arguments, in order."""
    record = folder / "calls"
    surroundings = {"PATH": os.environ["PATH"], "CALLS": str(record)}
    subprocess.run(["bash", "-euc", _RECORD + text], cwd=folder, env=surroundings, check=True)
    return [tuple(call.split("\x1f")[:-1]) for call in record.read_text().split("\x1e")[:-1]]


def run(arguments: tuple[str, ...], folder: Path, store: Path) -> Call:
    out, err = io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        patch.chdir(folder)
        patch.setenv("COLUMNS", "100")
        patch.setenv("PREPCHECK_STORE", str(store))
        patch.setattr(sys, "argv", ["prepcheck", *arguments])
        with pytest.raises(SystemExit) as ended:
            main()
    return Call(arguments, int(ended.value.code or 0), out.getvalue(), err.getvalue())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    found = tmp_path_factory.mktemp("checkout")
    (found / "sample_images").symlink_to(ROOT / "sample_images")
    return found


@pytest.fixture(scope="module")
def job(folder: Path) -> list[Call]:
    """All commands, run one after the other."""
    return [run(arguments, folder, Path("walk/log")) for arguments in calls_of(script(), folder)]


def those(job: list[Call], *words: str) -> list[Call]:
    return [call for call in job if call.arguments[: len(words)] == words]


def test_only_the_release_that_is_held_and_the_photos_that_are_not_bright_need_a_person(job: list[Call]) -> None:
    bright = {str(sample.path.name): sample.standing is Standing.BRIGHT for sample in samples()}
    photos = {call: bright[Path(call.arguments[1]).name] for call in those(job, "inspect")}
    held = those(job, "step", "release")[0]
    odd = [str(call) for call in job if call.code != int(call is held or not photos.get(call, True))]
    assert odd == []
    assert list(photos.values()) == [False, False, False]


def test_the_release_is_held_because_nothing_was_measured(job: list[Call]) -> None:
    first, second, *_ = those(job, "step", "release")
    assert first.arguments == second.arguments
    assert "condition of the vessel is not logged" in first.err
    assert "Logged as released" in second.out


def test_in_the_end_every_step_is_done_or_released(folder: Path, job: list[Call]) -> None:
    shown = run(("job", "show", "J-0001", "--json"), folder, Path("walk/log"))
    steps = json.loads(shown.out)["steps"]["steps"]
    assert {one["progress"] for one in steps} == {"done", "released"}
    assert [one["step"]["name"] for one in steps][0::10] == ["intake", "hand over"]


def test_people_prove_what_they_release(folder: Path, job: list[Call]) -> None:
    events = json.loads(run(("job", "show", "J-0001", "--json"), folder, Path("walk/log")).out)["events"]
    released = {(one["person"], one["role"]) for one in events if one["entry"]["kind"] == "step_released"}
    assert released == {("Ola", "releaser")}


def test_the_report_has_every_part_of_the_job_on_numbered_pages(folder: Path, job: list[Call]) -> None:
    pages = pdf_text.pages((folder / "walk/J-0001-report.pdf").read_bytes())
    assert 10 <= len(pages) <= 18
    assert all(f"page {number} of {len(pages)}" in page for number, page in enumerate(pages, 1))
    whole = " ".join(pages)
    parts = ("Invented demo", "Clearing record", "Wall", "Weld starting values", "Leak tests", "Origin of the figures")
    assert [part for part in parts if part not in whole] == []
    assert "no loss stands out from the error" in whole
    assert "Score over passes" in whole


def test_the_bag_holds_without_fault_where_there_is_no_log(folder: Path, job: list[Call], tmp_path: Path) -> None:
    (shown,) = those(job, "key", "show")
    number = re.search(r"(?:\d{5} ){7}\d{5}", shown.out)[0]  # type: ignore[index]
    (tmp_path / "J-0001.zip").write_bytes((folder / "walk/J-0001.zip").read_bytes())
    looked = run(("verify", "J-0001.zip", "--key", number), tmp_path, tmp_path / "no log here")
    assert (looked.code, looked.err) == (0, "")
    assert "No fault found" in looked.out
    assert not (tmp_path / "no log here").exists()


def test_a_byte_changed_in_the_bag_is_a_fault(folder: Path, job: list[Call], tmp_path: Path) -> None:
    data = bytearray((folder / "walk/J-0001.zip").read_bytes())
    data[len(data) // 2] ^= 1
    (tmp_path / "J-0001.zip").write_bytes(data)
    assert run(("verify", "J-0001.zip"), tmp_path, tmp_path / "log").code in (1, 3)


def test_the_bag_of_another_shop_is_a_fault(folder: Path, job: list[Call]) -> None:
    looked = run(("verify", "walk/J-0001.zip", "--key", " ".join(["12345"] * 8)), folder, folder / "log")
    assert (looked.code, those(job, "verify")[0].code) == (1, 0)


def test_nothing_is_called_safe(folder: Path, job: list[Call]) -> None:
    page = (folder / "walk/J-0001-report.html").read_text(encoding="utf-8")
    report = " ".join(pdf_text.pages((folder / "walk/J-0001-report.pdf").read_bytes()))
    said = [*map(str, job), page, report]
    assert [found[0] for text in said if (found := re.search(rf".{{0,60}}{SAFE.pattern}.{{0,60}}", text, re.I))] == []
    assert HOT_WORK_LINE in " ".join(those(job, "job", "show")[0].out.split())
