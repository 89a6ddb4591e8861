"""A person's spots: how many were bright at the first pass, and how many passes it took. Pure.

A spot is that of whoever logged its first pass.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from prepcheck.progress.shots import Opinion, Shot, SpotWork
from prepcheck.progress.tally import Tally
from prepcheck.terms import Standing


@dataclass(frozen=True)
class Firsts:
    """How the first passes of a person's spots stood.

    `cannot_tell` and `retake` count apart: a photo that could not be judged is no miss. So do spots whose first pass was
    not logged (`unlogged`), though the person logged the earliest pass there is.
    """

    bright: int
    residue_left: int
    cannot_tell: int
    retake: int
    unlogged: int

    @property
    def tally(self) -> Tally:
        """Spots that were bright at the first pass, out of those that could be judged."""
        return Tally(self.bright, self.bright + self.residue_left)


@dataclass(frozen=True)
class PassesNeeded:
    """How many passes a person's spots took.

    `bright` counts spots by the pass at which they were bright for the first time; `open` those that are not yet, by the
    last pass logged; `shared` those on which somebody else logged a pass before: nobody's own count.
    """

    bright: Mapping[int, int]
    open: Mapping[int, int]
    shared: int


@dataclass(frozen=True)
class Beside:
    """A person's own standings beside the tool's: how often which was told of which, ``(tool's, person's)``."""

    pairs: Mapping[tuple[Standing, Standing], int]


def own_spots(
    spots: Sequence[SpotWork], person: str, since: date | None = None, until: date | None = None
) -> list[SpotWork]:
    """Return the spots whose earliest logged pass a person logged, on a day from `since` to `until`, both included."""
    return [
        spot
        for spot in spots
        if spot.passes[0].person == person
        and (since is None or spot.passes[0].at.date() >= since)
        and (until is None or spot.passes[0].at.date() <= until)
    ]


def firsts(spots: Sequence[SpotWork]) -> Firsts:
    """Count how first passes stood."""
    stood = Counter(None if spot.first is None else spot.first.standing for spot in spots)
    return Firsts(
        bright=stood[Standing.BRIGHT],
        residue_left=stood[Standing.RESIDUE_LEFT],
        cannot_tell=stood[Standing.CANNOT_TELL],
        retake=stood[Standing.RETAKE],
        unlogged=stood[None],
    )


def passes_needed(spots: Sequence[SpotWork]) -> PassesNeeded:
    """Count the passes until spots were bright; spots without their first pass in the log are left out."""
    whole = [spot for spot in spots if spot.first is not None]
    own = [spot for spot in whole if _alone(spot)]
    bright = Counter(spot.bright_at for spot in own if spot.bright_at is not None)
    still = Counter(spot.passes[-1].pass_no for spot in own if spot.bright_at is None)
    return PassesNeeded(dict(sorted(bright.items())), dict(sorted(still.items())), len(whole) - len(own))


def _alone(spot: SpotWork) -> bool:
    """Say whether one person logged all passes up to the one at which the spot was bright."""
    last = spot.bright_at or spot.passes[-1].pass_no
    return len({one.person for one in spot.passes if one.pass_no <= last}) == 1


def beside_tool(shots: Sequence[Shot], opinions: Sequence[Opinion]) -> Beside:
    """Count a person's own standings beside the tool's; the newest of an inspection counts."""
    stood = {one.number: one.standing for one in shots}
    newest = {one.inspection: one.standing for one in opinions}
    pairs = Counter((stood[number], own) for number, own in newest.items() if number in stood)
    return Beside(dict(pairs.most_common()))
