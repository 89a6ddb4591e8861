"""The command line in the invented workshop of `tests.tasks.shop`, at a time of the test's choice."""

from __future__ import annotations

import io
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import pytest

import prepcheck.cli  # noqa: F401 - all commands, so that the clock of each is found
from prepcheck.__main__ import main
from tests.tasks.shop import PINS, minute

QUICK_TOML = "[people]\nhash_passes = 1\nhash_memory_kib = 64\nhash_lanes = 1\n"


@dataclass(frozen=True)
class Said:
    """How a command ended."""

    code: int
    out: str
    err: str


class Shop:
    """Runs commands on a log in `folder`.

    Parameters
    ----------
    folder : Path
        Of the log; settings and files with PINs are put there too.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "quick.toml").write_text(QUICK_TOML)
        for name, pin in PINS.items():
            self.pin_file(name).write_text(f"{pin}\n")

    def pin_file(self, name: str) -> Path:
        """Return the path of a file with the PIN of a person."""
        return self.folder / f"{name}.pin"

    def __call__(self, *arguments: object, at: float = 0, width: int = 80, **surroundings: str) -> Said:
        """Run a command at a minute after eight, with `surroundings` as variables."""
        out, err, code = io.StringIO(), io.StringIO(), 0
        with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
            patch.setenv("COLUMNS", str(width))
            patch.setenv("PREPCHECK_STORE", str(self.folder))
            patch.setenv("PREPCHECK_SETTINGS", str(self.folder / "quick.toml"))
            for name, value in surroundings.items():
                patch.setenv(name, value)
            for module in [one for name, one in sys.modules.items() if name.startswith("prepcheck.cli.")]:
                if hasattr(module, "now"):  # every command that looks at the clock
                    patch.setattr(module, "now", lambda: minute(at))
            patch.setattr(sys, "argv", ["prepcheck", *map(str, arguments)])
            try:
                main()
            except SystemExit as end:
                code = end.code if isinstance(end.code, int) else 0
        return Said(code, out.getvalue(), err.getvalue())

    def good(self, *arguments: object, at: float = 0, **surroundings: str) -> str:
        """Run a command that has to end well, and return what it printed."""
        said = self(*arguments, at=at, **surroundings)
        assert said.code == 0, said.err
        return said.out

    def as_(self, name: str) -> tuple[str, str, str, Path]:
        """Return the options with which a person with a PIN acts."""
        return ("--person", name, "--pin-file", self.pin_file(name))
