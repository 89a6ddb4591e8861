"""Reading files that a person wrote: bounded, and with the fault told in one line."""

from __future__ import annotations

import stat
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from prepcheck.errors import WrongUse


def read_text(path: Path, most: int, fault: type[WrongUse]) -> str:
    """Return the text of a regular UTF-8 file of at most `most` bytes that a person wrote, or raise `fault`."""
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise fault("is no regular file", "Check the path", str(path))
        if status.st_size > most:
            raise fault(f"holds more than {most:,} bytes", "Check the path", str(path))
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise fault(f"cannot be read ({error.strerror})", "Check the path", str(path)) from error
    except ValueError as error:
        raise fault("is no text", "Check the path", str(path)) from error


_PLAIN = {"extra_forbidden": "is not a name known here", "model_type": "should be a group of names with values"}


def first_fault(error: ValidationError) -> str:
    """Say in one line where a file that a person wrote is off, and how."""
    fault: Any = error.errors()[0]
    where = ".".join(str(part)[:40] for part in fault["loc"])
    return f"{where}: {_PLAIN.get(fault['type'], fault['msg'])}" if where else str(fault["msg"])
