"""What a reading means, while it is typed; nothing is logged by this."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import BaseModel, Field

from prepcheck import tasks
from prepcheck.store import Story
from prepcheck.trade import entries as e
from prepcheck.trade.clearing import check_readings
from prepcheck.trade.facts import Remark
from prepcheck.trade.units import System
from prepcheck.web.api import ERRORS
from prepcheck.web.asked import Body
from prepcheck.web.pages.entry_forms import FORMS
from prepcheck.web.session import SignedIn
from prepcheck.web.shop import TheShop

router = APIRouter(prefix="/api", responses=ERRORS)
_Text = Annotated[str, Field(max_length=200)]
_Value = Annotated[float, Field(allow_inf_nan=False)] | _Text


class Typed(Body):
    """The job, and the fields of the reading's form as far as they are filled in."""

    job: _Text
    readings: Annotated[dict[_Text, _Value], Field(max_length=60)]


class RemarkTold(BaseModel):
    """A remark of the check; `weight` is hold, warn or note."""

    code: str
    weight: str
    text: str
    source: str


class Checked(BaseModel):
    """What the check has to say, heaviest first; nothing before a condition was logged."""

    remarks: list[RemarkTold]


@router.post("/readings/check")
def check(typed: Typed, session: SignedIn, shop: TheShop) -> Checked:
    """Hold what is typed, and the readings logged so far, against what the job's condition asks for."""
    story, now = tasks.job_story(shop.store, typed.job), shop.clock()
    reading = FORMS["reading"].make({name: _as_typed(value) for name, value in typed.readings.items()}, now)
    condition = next(reversed(_of(story, e.VesselCondition)), None)
    if condition is None:
        return Checked(remarks=[])
    readings = [*_of(story, e.GasReading), reading]
    system = System(shop.settings.report.units)
    remarks = check_readings(condition, readings, now, shop.settings.clearing, system)
    return Checked(remarks=[_told(one) for one in remarks])


def _of(story: Story, kind: type[Any]) -> list[Any]:
    return [event.entry for event in story.events if isinstance(event.entry, kind)]


def _as_typed(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.15g}"


def _told(remark: Remark) -> RemarkTold:
    return RemarkTold(**{name: str(value) for name, value in asdict(remark).items()})
