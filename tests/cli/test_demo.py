"""The demonstration: the whole job on shipped samples, into a throw-away store."""

from __future__ import annotations

import json

from prepcheck.samples import samples
from prepcheck.terms import CAUTION_LINE, HOT_WORK_LINE
from tests.command import Command


def test_it_runs_the_job_and_tells_where_everything_is(command: Command) -> None:
    folder = command.folder
    done = command("demo", "--out", folder / "demo")
    told = [sample for sample in samples() if sample.demo is not None]
    assert (done.code, done.err) == (0, "")
    assert {path.name for path in (folder / "demo" / "pictures").iterdir()} == {
        f"{sample.name}.marked.jpg" for sample in told
    }
    assert done.out.splitlines()[-2].split() == ["Pictures:", str(folder / "demo" / "pictures")]
    assert f"Record:   {folder / 'demo' / 'log'}" in done.out
    assert [line for line in done.out.splitlines() if line.startswith("---")] == [f"--- {one.title}" for one in told]
    assert CAUTION_LINE in " ".join(done.out.split())
    assert HOT_WORK_LINE in " ".join(done.out.split())
    story = json.loads(command("job", "show", "1", "--json", "--store", folder / "demo" / "log").out)
    passes = {each["pass_no"] for spot in story["spots"] for each in spot["passes"]}
    assert passes == {sample.demo[1] for sample in told if sample.demo}
    assert not (folder / "store").exists()


def test_a_file_in_place_of_its_folder_is_one_line(command: Command) -> None:
    (command.folder / "demo").touch()
    done = command("demo", "--out", "demo")
    assert (done.code, done.out) == (3, "")
    assert "cannot be used as a store (not a directory)" in done.complaint
