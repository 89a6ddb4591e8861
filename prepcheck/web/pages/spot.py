"""``GET /jobs/{number}/spots/{spot}``: the passes of a spot as a history, and two of them beside each other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import tzinfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from prepcheck import tasks
from prepcheck.report.job.told import last_of
from prepcheck.report.words import since_words
from prepcheck.store import LoggedInspection, PassStory, SpotStory
from prepcheck.terms import Standing
from prepcheck.web.pages.camera import Camera, camera_for
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.laid import laid_over
from prepcheck.web.pages.render import show
from prepcheck.web.pages.said import score_of, spot_name, when
from prepcheck.web.pages.share_chart import ShareChart, Told, share_chart
from prepcheck.web.shop import Shop, TheShop

router = APIRouter()


@dataclass(frozen=True)
class PhotoOfPass:
    """A logged photo in the strip."""

    number: int
    pass_no: int
    standing: Standing
    score: str
    when: str
    person: str
    disagreements: tuple[str, ...] = ()

    @property
    def option(self) -> str:
        """The photo in a list to choose from."""
        return f"Pass {self.pass_no}, {self.standing}, inspection {self.number}"


@dataclass(frozen=True)
class Side:
    """One of two photos that are compared."""

    number: int
    picture: str
    alt: str
    caption: str


@dataclass(frozen=True)
class Pair:
    """Two photos; `laid` says whether the second was laid over the first, `why` why it was not."""

    a: Side
    b: Side
    laid: bool = False
    why: str = ""


@dataclass(frozen=True)
class SpotPage:
    """One spot with its passes."""

    number: str
    job: str
    name: str
    camera: Camera
    photos: tuple[PhotoOfPass, ...]
    chart: ShareChart | None
    since: tuple[str, ...]
    pair: Pair | None

    @property
    def title(self) -> str:
        """Name and job."""
        return f"{self.name}, {self.number}"


@router.get("/jobs/{number}/spots/{spot}")
def one_spot(
    request: Request,
    shop: TheShop,
    desk: AtDesk,
    number: str,
    spot: str,
    a: int | None = None,
    b: int | None = None,
) -> HTMLResponse:
    """Show the history of a spot; two photos that were asked for are laid over each other."""
    page = spot_page(desk, number, spot, a, b)
    if page.pair is not None and a is not None and b is not None:
        page = replace(page, pair=_laid(shop, page.pair))
    return show(request, "spot.html", page, desk.person)


def _laid(shop: Shop, pair: Pair) -> Pair:
    """Lay the second photo over the first, or say why that cannot be."""
    found = laid_over(shop, pair.a.number, pair.b.number)
    if isinstance(found, str):
        return replace(pair, why=found)
    over = replace(pair.b, picture=f"/inspections/{pair.b.number}/over/{pair.a.number}.jpg")
    return replace(pair, b=over, laid=True)


def spot_page(desk: Desk, number: str, name: str, a: int | None, b: int | None) -> SpotPage:
    """Return the page of a spot; `a` and `b` are inspections of it to compare, else the last two passes."""
    story = tasks.job_story(desk.store, number, name)
    (spot,) = story.spots
    photos = tuple(_photos(spot, desk.now.tzinfo))
    return SpotPage(
        number=story.job.number,
        job=story.job.title,
        name=spot_name(spot),
        camera=camera_for(story.job, spot),
        photos=photos,
        chart=share_chart([_told(one) for one in spot.passes]) if len(spot.passes) > 1 else None,
        since=tuple(_since(spot)),
        pair=_pair(photos, spot, a, b),
    )


def _photos(spot: SpotStory, zone: tzinfo | None) -> Iterator[PhotoOfPass]:
    for each in spot.passes:
        for one in each.inspections:
            differ = tuple(f"{said.person} disagrees: {said.standing}, {said.reason}" for said in one.disagreements)
            yield PhotoOfPass(
                one.number, each.pass_no, one.standing, score_of(one), when(one.at, zone), one.person, differ
            )


def _told(one: PassStory) -> Told:
    last = last_of(one)
    share = None if last.standing is Standing.RETAKE else last.bright_share
    return Told(str(one.pass_no), last.standing, share, last.interval, f"{last.standing}, {score_of(last)}")


def _since(spot: SpotStory) -> Iterator[str]:
    for one in spot.passes:
        last: LoggedInspection = last_of(one)
        if last.since is not None:
            yield f"Pass {one.pass_no}, {since_words(last.since)}."


def _pair(photos: tuple[PhotoOfPass, ...], spot: SpotStory, a: int | None, b: int | None) -> Pair | None:
    of_number = {one.number: one for one in photos}
    if len(of_number) < 2:
        return None
    usual = [last_of(one).number for one in spot.passes][-2:]
    before, after = usual if len(usual) == 2 else [one.number for one in photos][-2:]
    return Pair(_side(of_number.get(a or 0, of_number[before])), _side(of_number.get(b or 0, of_number[after])))


def _side(one: PhotoOfPass) -> Side:
    words = f"pass {one.pass_no}: {one.standing}, {one.score}"
    return Side(
        one.number, f"/api/inspections/{one.number}/photo.jpg?long=1280", f"Photo of {words}", f"Pass {one.pass_no}"
    )
