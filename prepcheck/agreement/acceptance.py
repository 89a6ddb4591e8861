"""How often the tool was wrong for a shop, at points that one of its people counted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from prepcheck.agreement.compare import Answers, Comparison, compare
from prepcheck.agreement.proportion import Proportion, proportion
from prepcheck.terms import RESIDUE, State

_LABELLED = (State.BRIGHT, *RESIDUE)
_FOUND_OF = (State.OXIDE, State.PIT, State.FOREIGN)
"""Labels of which the design measures how much was found; coating is not this work away from spots."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class ByState:
    """What the tool made of the points that the person gave one state.

    Parameters
    ----------
    state : State
        As the person says.
    coverage : Proportion
        Points for which the tool told a state, of all of them.
    same : Proportion
        Those to which it gave the same state, of the ones told; for coating also `State.BACKGROUND`, which away from
        spots is equally right (design, section 3).
    wrong : Proportion
        Those on the wrong side: residue called bright, or bright metal called anything else; of the ones told.
    """

    state: State
    coverage: Proportion
    same: Proportion
    wrong: Proportion


@dataclass(frozen=True, eq=False)
class Acceptance:
    """How often the tool was wrong, both ways, as one person sees it; measures as in the design, section 4.

    Parameters
    ----------
    person : str
        Whose labels are taken for the truth.
    photos, points, boundary : int
        Photos, points that were compared, and points on a boundary that were left out.
    coverage : Proportion
        Points for which the tool told a state, of those that the person called bright or residue.
    wrongly_bright : Proportion
        Residue (oxide, pit, coating, foreign) that the tool called bright, of the points told.
    wrongly_residue : Proportion
        Bright metal that the tool called something else, of the points told.
    residue_found : Proportion
        Oxide, pit and foreign matter that the tool called any residue, of the points told.
    photos_wrongly_bright, photos_wrongly_residue : Proportion
        Photos with at least one such point, of those where there could be one. Photos stand for themselves, points of
        one photo resemble each other.
    by_state : tuple of ByState
        For each state that the person named.
    agreement : Comparison
        Person against tool: kappa and the table of who said what.
    """

    person: str
    photos: int
    points: int
    boundary: int
    coverage: Proportion
    wrongly_bright: Proportion
    wrongly_residue: Proportion
    residue_found: Proportion
    photos_wrongly_bright: Proportion
    photos_wrongly_residue: Proportion
    by_state: tuple[ByState, ...]
    agreement: Comparison


def accept(answers: Answers) -> Acceptance:
    """Hold the tool's answers, the second column, against those of a person, the first."""
    person, tool = answers.codes[:, 0], answers.codes[:, 1]
    told, bright, residue = tool != State.CANNOT_TELL, person == State.BRIGHT, np.isin(person, RESIDUE)
    to_find, found = np.isin(person, _FOUND_OF) & told, np.isin(tool, RESIDUE)
    dirty, clean = residue & told, bright & told
    return Acceptance(
        person=answers.who[0],
        photos=len(np.unique(answers.photos)),
        points=len(person),
        boundary=answers.boundary,
        coverage=_share(told, bright | residue),
        wrongly_bright=_share(tool == State.BRIGHT, dirty),
        wrongly_residue=_share(tool != State.BRIGHT, clean),
        residue_found=_share(found, to_find),
        photos_wrongly_bright=_of_photos(tool == State.BRIGHT, dirty, answers.photos),
        photos_wrongly_residue=_of_photos(tool != State.BRIGHT, clean, answers.photos),
        by_state=tuple(_by_state(state, person, tool) for state in _LABELLED if (person == state).any()),
        agreement=compare(answers),
    )


def _by_state(state: State, person: NDArray[np.uint8], tool: NDArray[np.uint8]) -> ByState:
    here, told = person == state, tool != State.CANNOT_TELL
    wrong = tool != State.BRIGHT if state is State.BRIGHT else tool == State.BRIGHT
    same = np.isin(tool, (State.COATING, State.BACKGROUND)) if state is State.COATING else tool == state
    return ByState(state, _share(told, here), _share(same, here & told), _share(wrong, here & told))


def _share(hit: Mask, of: Mask) -> Proportion:
    return proportion(int(np.count_nonzero(hit & of)), int(np.count_nonzero(of)))


def _of_photos(hit: Mask, of: Mask, photos: NDArray[np.int64]) -> Proportion:
    return proportion(len(np.unique(photos[hit & of])), len(np.unique(photos[of])))
