"""Kinds of work: a plan of steps in a small TOML file that a shop edits::

title = "Open vessel"

[[step]]
name = "clean"
title = "Degrease, then brush the oxide off"

[[step]]
name = "weld"
title = "Weld"
needs = ["clean"]
within_hours_of = "clean"
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError, model_validator

from prepcheck.errors import BadSteps, WrongUse
from prepcheck.own_file import first_fault, read_text
from prepcheck.resources import folder

MOST_BYTES = 16_000
"""Of a plan: five times what the longest of ours needs; it is logged word for word."""
SHIPPED = ("closed-vessel", "open-vessel", "plain-part")
"""Plans that come with prepcheck, in ``shared/plans``."""

Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*( [a-z0-9]+)*$", max_length=40)]
Text = Annotated[str, StringConstraints(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f]+$")]
Evidence = Literal["readings", "leak", "wall"]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Caution(_Part):
    """Something to mind at a step, with where it stands and how far that can be trusted."""

    text: Text
    source: Text


class Step(_Part):
    """One step of a kind of work.

    `hold_point`: only a named person releases it. `needs`: steps above it that come first. `other_person`: not by who did
    it. `evidence`: what has to be in the log: gas ``readings``, a ``leak`` entry without leaks, a ``wall`` reading.
    `within_hours_of`: a step above it after which the time runs, `hours` of it, the setting's where none are given.
    """

    name: Name
    title: Text
    needs: tuple[Name, ...] = ()
    hold_point: bool = False
    other_person: bool = False
    evidence: tuple[Evidence, ...] = ()
    within_hours_of: Name | None = None
    hours: float | None = Field(default=None, ge=0.25, le=240)
    caution: tuple[Caution, ...] = Field(default=(), max_length=10)

    @model_validator(mode="after")
    def _fits_together(self) -> Step:
        if self.other_person and not self.hold_point:
            raise ValueError("other_person is for hold points only")
        if self.hours is not None and self.within_hours_of is None:
            raise ValueError("hours are counted from a step: name it with within_hours_of")
        return self


class Work(_Part):
    """A kind of work: its steps in the order in which they are usually done, and the file's text word for word."""

    name: str
    title: Text
    step: tuple[Step, ...] = Field(min_length=1, max_length=40)
    text: str = Field(default="", repr=False, exclude=True)

    @model_validator(mode="after")
    def _steps_lead_down(self) -> Work:
        above: set[str] = set()
        for step in self.step:
            if step.name in above:
                raise ValueError(f"step {step.name} is there twice")
            for named in (*step.needs, *filter(None, [step.within_hours_of])):
                if named not in above:
                    raise ValueError(f"step {step.name} names {named}, which is no step above it")
            above.add(step.name)
        return self

    def find(self, name: str) -> Step:
        """Return the step `name`, in any case, with blanks or hyphens; `WrongUse` if there is none."""
        wanted = " ".join(name.casefold().replace("-", " ").split())
        found = next((step for step in self.step if step.name == wanted), None)
        if found is None:
            known = ", ".join(one.name for one in self.step)
            raise WrongUse("is no step of this job's plan", f"Use one of: {known}", name[:80])
        return found

    def that_need(self, name: str) -> set[str]:
        """Return the names of the steps that need the step `name`, directly or through others."""
        found = {name}
        for step in self.step:
            if found & set(step.needs):
                found.add(step.name)
        return found - {name}


def parse_work(text: str, name: str) -> Work:
    """Read a plan of steps from TOML.

    Raises
    ------
    BadSteps
        No TOML, too long, a name that is not known, or steps that do not fit together.
    """
    if len(text.encode()) > MOST_BYTES:
        raise BadSteps(f"holds more than {MOST_BYTES:,} bytes", "Shorten it", name)
    try:
        return Work.model_validate({**tomllib.loads(text), "name": name, "text": text})
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise BadSteps(f"is no TOML file ({error})", "Mend the file", name) from error
    except ValidationError as error:
        raise BadSteps(first_fault(error), "Mend the file", name) from error


def load_work(plan: str) -> Work:
    """Read a plan of steps: one that comes with prepcheck, by name, or a shop's own file, by path."""
    path = folder("shared") / "plans" / f"{plan}.toml" if plan in SHIPPED else Path(plan)
    if plan not in SHIPPED and path.suffix != ".toml":
        raise BadSteps(
            "is no kind of work", f"Use one of {', '.join(SHIPPED)}, or a file that ends in .toml", plan[:80]
        )
    text = read_text(path, MOST_BYTES, BadSteps)
    return parse_work(text, path.stem[:80])
