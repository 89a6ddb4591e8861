"""What a page works with: the log, the photos, the settings, the time, and who is signed in."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Annotated

from fastapi import Depends

from prepcheck import tasks
from prepcheck.archive import Archive
from prepcheck.record import Record
from prepcheck.settings import Settings
from prepcheck.store import Job, LoggedInspection, SpotStory
from prepcheck.store.placed import placed
from prepcheck.web.session import Session, SignedIn, found_session
from prepcheck.web.shop import TheShop

if TYPE_CHECKING:
    from prepcheck.store.store import Store


@dataclass(frozen=True)
class Found:
    """A logged inspection: the answer, and where it belongs."""

    record: Record
    logged: LoggedInspection
    job: Job
    spot: SpotStory
    pass_no: int


@dataclass(frozen=True)
class Desk:
    """What one request works with; `person` is who is signed in."""

    store: Store = field(repr=False)
    archive: Archive = field(repr=False)
    settings: Settings
    now: datetime
    person: str

    def find(self, number: int) -> Found:
        """Return a logged inspection; `UnknownRecord` when there is none."""
        where = placed(self.store, number)
        story = tasks.job_story(self.store, where.job, str(where.spot))
        record = Record.model_validate_json(self.store.record_text(number))
        (spot,) = story.spots
        logged = next(one for each in spot.passes for one in each.inspections if one.number == number)
        return Found(record, logged, story.job, spot, where.pass_no)


def desk(shop: TheShop, session: SignedIn) -> Desk:
    """Return the desk of this request, for who is signed in on the phone."""
    return Desk(shop.store, shop.archive, shop.settings, shop.clock(), session.person)


def visitor(session: Annotated[Session | None, Depends(found_session)]) -> str:
    """Return who is signed in, on a page that everybody may read; empty for nobody."""
    return "" if session is None else session.person


AtDesk = Annotated[Desk, Depends(desk)]
Visitor = Annotated[str, Depends(visitor)]
