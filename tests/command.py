"""Runs the command line in this process, with everything that it and the libraries below it write."""

from __future__ import annotations

import json
import os
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from numpy.typing import NDArray

from prepcheck.__main__ import main
from prepcheck.record import SCHEMA_FILE
from tests import painted
from tests.photo.pictures import jpeg


@dataclass(frozen=True)
class Done:
    """How a command ended: exit code, standard output, standard error."""

    code: int
    out: str
    err: str

    @property
    def lines(self) -> list[dict[str, Any]]:
        """The printed JSON Lines, each held against the schema."""
        lines = [json.loads(line) for line in self.out.splitlines()]
        for line in lines:
            _schema().validate(line)
        return lines

    @property
    def line(self) -> dict[str, Any]:
        """The only printed line."""
        (line,) = self.lines
        return line

    @property
    def complaint(self) -> str:
        """The only line on standard error."""
        assert self.err.endswith("\n"), self.err
        (line,) = self.err.splitlines()
        assert line.startswith("prepcheck: ")
        return line.removeprefix("prepcheck: ")


class Command:
    """The command ``prepcheck`` in the folder and with the store of a test.

    Parameters
    ----------
    capfd
        Captures what is written to the streams themselves, so that no library's complaint goes unseen.
    folder : Path
        Where it runs.
    """

    def __init__(self, capfd: pytest.CaptureFixture[str], folder: Path) -> None:
        self.capfd, self.folder = capfd, folder

    def __call__(self, *arguments: object, width: int = 100) -> Done:
        self.capfd.readouterr()
        with pytest.MonkeyPatch.context() as patch:
            patch.chdir(self.folder)
            patch.setenv("COLUMNS", str(width))
            patch.setenv("PREPCHECK_STORE", str(self.folder / "store"))
            patch.setattr(sys, "argv", ["prepcheck", *map(str, arguments)])
            with pytest.raises(SystemExit) as ended:
                main()
        said = self.capfd.readouterr()
        return Done(int(ended.value.code or 0), said.out, said.err)

    def inspect(self, *arguments: object) -> Done:
        """Run ``prepcheck inspect --json``."""
        return self("inspect", "--json", *arguments)

    def open_job(self) -> None:
        """Open the job J-0001."""
        assert self("job", "new", "Bowser, crack at the neck", "--person", "Ida").code == 0

    def log(self, *arguments: object, spot: object = 1, pass_no: object = 1, person: str = "Ida") -> Done:
        """Run ``prepcheck inspect --json`` with a place in the log."""
        return self.inspect(
            *arguments, "--job", "1", "--spot", spot, "--pass-no", pass_no, "--person", person
        )  # fmt: skip

    def story(self) -> list[dict[str, Any]]:
        """Return all inspections of the job J-0001."""
        told = json.loads(self("job", "show", "1", "--json").out)
        return [one for spot in told["spots"] for each in spot["passes"] for one in each["inspections"]]


@cache
def _schema() -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(json.loads(SCHEMA_FILE.read_text(encoding="utf-8")))


def write_plate(path: Path, *patches: tuple[Any, int, int, int], size: tuple[int, int] = (240, 320)) -> Path:
    """Write the photo of a painted plate of `size` (height, width) with a bright spot of a quarter of its width."""
    height, width = size
    spot = (width // 2, height // 2, width // 4)
    path.write_bytes(photo_bytes(painted.plate(*patches, size=size, spot=spot)))
    return path


def two_spots(path: Path) -> Path:
    """Write the photo of a painted plate with a clean spot on the left and one with oxide on the right."""
    states = painted.plate((1, 240, 120, 60), (2, 240, 120, 24), size=(240, 320), spot=(80, 120, 60))
    path.write_bytes(photo_bytes(states))
    return path


def photo_bytes(states: NDArray[np.uint8], **options: object) -> bytes:
    """Return the JPEG of a painted plate, at a quality that keeps each colour nearest to its own."""
    return jpeg(painted.paint(states), quality=97, subsampling=0, **options)


def environment(**changes: str) -> dict[str, str]:
    """Return the surroundings for a process of its own."""
    return {**os.environ, "COLUMNS": "100", **changes}
