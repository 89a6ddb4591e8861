"""``GET /help``: what the standings and the score mean and do not mean, and how a good photo is taken."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from prepcheck.terms import CAUTIONS, FLAGS, HOT_WORK_LINE, NEXT_STEPS, FlagCard, Standing
from prepcheck.web.pages.desk import Visitor
from prepcheck.web.pages.render import show

router = APIRouter()


@dataclass(frozen=True)
class HelpPage:
    """Help, in the words that the rest of prepcheck uses."""

    standings: tuple[tuple[Standing, str], ...] = tuple(NEXT_STEPS.items())
    cautions: tuple[str, ...] = (*CAUTIONS, HOT_WORK_LINE)
    flags: tuple[FlagCard, ...] = tuple(FLAGS.values())
    title: str = "Help"


@router.get("/help")
def help_page(request: Request, who: Visitor) -> HTMLResponse:
    """Show the help."""
    return show(request, "help.html", HelpPage(), who)
