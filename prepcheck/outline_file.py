"""Reads the file in which a person drew or refused outlines, or drew the joint line."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from prepcheck.errors import BadOutlines, WrongUse
from prepcheck.inspection import Outlines
from prepcheck.own_file import first_fault, read_text
from prepcheck.score import JointLine
from prepcheck.store.words import clean

_MOST_BYTES = 1_000_000
_MOST_OUTLINES = 20
"""As many as the tool itself outlines at most."""
_REASON = 500

_Position = Annotated[float, Field(ge=-1e6, le=1e6, strict=True)]
_Outline = Annotated[list[tuple[_Position, _Position]], Field(min_length=3, max_length=10_000)]
_Joint = Annotated[list[tuple[_Position, _Position]], Field(min_length=2, max_length=1000)]
_Number = Annotated[str, Field(pattern=r"^[1-9][0-9]{0,2}$")]


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    draw: Annotated[list[_Outline], Field(max_length=_MOST_OUTLINES)] = []
    refuse: dict[_Number, str] = {}
    joint: _Joint | None = None
    joint_margin_mm: Annotated[float, Field(ge=1, le=500, strict=True)] | None = None


def read_outlines(path: Path) -> Outlines:
    """Read a file of drawn and refused outlines and of the joint line.

    The file is JSON: ``{"draw": [[[x, y], ...], ...], "refuse": {"NUMBER": "REASON"}, "joint": [[x, y], ...],
    "joint_margin_mm": MM}``, each part optional, positions in pixels of the upright full-size photo.

    Raises
    ------
    BadOutlines
        The file cannot be read or says something else.
    """
    return parse_outlines(read_text(path, _MOST_BYTES, BadOutlines), str(path))


def parse_outlines(text: str, subject: str) -> Outlines:
    """Read drawn and refused outlines and the joint line from JSON as in such a file; `subject` names it in errors.

    Raises
    ------
    BadOutlines
        The text says something else.
    """
    try:
        said = _File.model_validate_json(text)
        refused = {int(number): clean(reason, "a refusal's reason", _REASON) for number, reason in said.refuse.items()}
    except ValidationError as error:
        raise BadOutlines(
            f"is no outline file ({first_fault(error)})",
            "Draw the outlines and the joint line anew",
            subject,
            command="prepcheck inspect --help",
        ) from error
    except WrongUse as error:
        raise BadOutlines(error.what, error.do, subject) from error
    joint = None if said.joint is None else JointLine(np.array(said.joint, np.float64), said.joint_margin_mm)
    return Outlines(tuple(np.array(points, np.float64) for points in said.draw), refused, joint)
