"""``GET, POST /verify``: look at sealed evidence, from this shop or another."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import HTMLResponse

from prepcheck.archive.verify import Verification
from prepcheck.archive.verify import verify as look_at
from prepcheck.errors import PrepcheckError
from prepcheck.web.pages.desk import AtDesk
from prepcheck.web.pages.render import show

router = APIRouter()


@dataclass(frozen=True)
class VerifyPage:
    """The form, and what was found once a bag was given under `name`."""

    found: Verification | None = None
    name: str = ""
    key: str = ""
    error: PrepcheckError | None = None
    title: str = "Verify sealed evidence"

    @property
    def count(self) -> str:
        """How many faults were found."""
        faults = 0 if self.found is None else len(self.found.faults)
        return f"{faults} fault{'' if faults == 1 else 's'} found." if faults else "No fault found."

    @property
    def facts(self) -> tuple[tuple[str, str], ...]:
        """What the bag says of itself."""
        return () if self.found is None else tuple(_facts(self.name, self.found))


@router.get("/verify")
def ask(request: Request, desk: AtDesk) -> HTMLResponse:
    """Ask for a bag."""
    return show(request, "verify.html", VerifyPage(), desk.person)


@router.post("/verify")
def verify(
    request: Request, desk: AtDesk, bag: Annotated[UploadFile, File()], key: Annotated[str, Form(max_length=80)] = ""
) -> HTMLResponse:
    """Look at a bag and tell every fault; it is not kept."""
    try:
        with tempfile.NamedTemporaryFile(suffix=".zip") as file:
            shutil.copyfileobj(bag.file, file)
            file.flush()
            found = look_at(Path(file.name), key=key.strip() or None)
    except PrepcheckError as error:
        page = VerifyPage(key=key, error=_about(error, bag.filename or "the file"))
        return show(request, "verify.html", page, desk.person, error.http_status)
    return show(request, "verify.html", VerifyPage(found, bag.filename or "", key), desk.person)


def _about(error: PrepcheckError, name: str) -> PrepcheckError:
    """Tell the error of the file as the person knows it, not of where it lay for a moment."""
    return type(error)(error.what, error.do, name)


def _facts(name: str, found: Verification) -> Iterator[tuple[str, str]]:
    yield "File", name
    if found.head is not None:
        yield (
            "It says",
            f"{found.head.job}, sealed {found.head.at:%Y-%m-%d %H:%M %Z}, {found.head.entries} entries of the job",
        )
        yield "Key", found.fingerprint
    if found.time_rests_on:
        yield "Time", found.time_rests_on
    yield "Looked at", "all files there, no others, all hashes, the signature, and the sequence of the log"
