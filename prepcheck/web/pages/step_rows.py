"""A step of a job's plan, as pages list it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from prepcheck.trade.facts import Remark
from prepcheck.trade.steps import StepState
from prepcheck.web.pages.said import progress_words


@dataclass(frozen=True)
class StepRow:
    """A step: `progress` is the word of `Progress`, `blocks` what holds it up now."""

    name: str
    title: str
    url: str
    progress: str
    words: str
    hold_point: bool
    blocks: tuple[Remark, ...] = ()


def step_row(job: str, state: StepState, zone: tzinfo | None) -> StepRow:
    """Return the row of a step."""
    return StepRow(
        name=state.step.name,
        title=state.step.title,
        url=f"/jobs/{job}/steps/{state.step.name.replace(' ', '-')}",
        progress=state.progress.value if state.progress.value != "released" else "done",
        words=progress_words(state, zone),
        hold_point=state.step.hold_point,
        blocks=state.blocks,
    )
