"""The camera on a page: for which spot the next photo is, and which grinding pass is proposed."""

from __future__ import annotations

from dataclasses import dataclass

from prepcheck.store import Job, LoggedInspection, SpotStory, Story
from prepcheck.store.words import MOST_PASS_NO
from prepcheck.terms import Standing
from prepcheck.web.pages.said import spot_name

_SAME_PASS = (Standing.RETAKE, Standing.CANNOT_TELL)
"""Standings after which the same surface is photographed again."""


@dataclass(frozen=True)
class Camera:
    """Where the next photo belongs: `spot` is its number on the job, `where` says all of it to a person."""

    job: str
    spot: str
    pass_no: int
    where: str

    @property
    def action(self) -> str:
        """Where the form is sent without JavaScript."""
        return f"/jobs/{self.job}/photo"

    @property
    def url(self) -> str:
        """The page with all ways to photograph the spot."""
        return f"{self.action}?spot={self.spot}"

    @property
    def spot_id(self) -> str:
        """A name for the field, its own on the page."""
        return self.spot


def camera_for(job: Job, spot: SpotStory) -> Camera:
    """Return the camera for the next photo of a spot."""
    pass_no = proposed_pass(spot)
    return Camera(job.number, str(spot.number), pass_no, f"{job.number}, {spot_name(spot)}, pass {pass_no}")


def proposed_pass(spot: SpotStory) -> int:
    """Return the pass that the next photo is probably of: the same after retake and cannot tell, else the next one."""
    if not spot.passes:
        return 1
    last = spot.passes[-1]
    same = last.inspections[-1].standing in _SAME_PASS
    return last.pass_no if same else min(last.pass_no + 1, MOST_PASS_NO)


def newest(story: Story) -> tuple[SpotStory, LoggedInspection] | None:
    """Return the inspection that was logged last in a job, with its spot; None without any."""
    found = [(spot, one) for spot in story.spots for each in spot.passes for one in each.inspections]
    return max(found, key=lambda pair: pair[1].number, default=None)
