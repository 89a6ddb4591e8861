"""People and tool side by side at the same points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from prepcheck.agreement.form import Counted
from prepcheck.agreement.kappa import Kappa, by_photo, cohen, fleiss
from prepcheck.errors import WrongUse
from prepcheck.terms import RESIDUE, State

Codes = NDArray[np.uint8]
TOOL = "the tool"
_MOST_ROUNDS = 2


@dataclass(frozen=True, eq=False)
class Answers:
    """What several gave as answers for the same points.

    Parameters
    ----------
    who : tuple of str
        Names, one for each column.
    codes : ndarray, shape (n, m), uint8
        Codes of `prepcheck.terms.State`.
    photos : ndarray, shape (n,), int
        Number of the photo that each point lies in.
    boundary : int
        Points left out because somebody put them on a boundary: half an answer is none that kappa knows.
    """

    who: tuple[str, ...]
    codes: Codes = field(repr=False)
    photos: NDArray[np.int64] = field(repr=False)
    boundary: int = 0

    def kept(self, mask: NDArray[np.bool_] | np.bool_) -> Answers:
        """Return the answers for the points that a mask (n,) keeps."""
        return Answers(self.who, self.codes[mask], self.photos[mask], self.boundary)

    def told(self) -> Answers:
        """Keep the points that all of them could tell; what is not this work and what is not worked yet are one answer.

        Away from spots both words are equally right (design, section 3).
        """
        kept = self.kept(~(self.codes == State.CANNOT_TELL).any(axis=1))
        codes = np.where(kept.codes == State.BACKGROUND, State.COATING, kept.codes).astype(np.uint8)
        return Answers(kept.who, codes, kept.photos, kept.boundary)

    def sides(self) -> Answers:
        """Keep the points that all took for metal of this work, and tell only bright from residue (as `State.OXIDE`)."""
        kept = self.kept(np.isin(self.codes, (State.BRIGHT, *RESIDUE)).all(axis=1))
        codes = np.where(kept.codes == State.BRIGHT, State.BRIGHT, State.OXIDE).astype(np.uint8)
        return Answers(kept.who, codes, kept.photos, kept.boundary)

    def only(self, *columns: int) -> Answers:
        """Keep some of those who answered."""
        return Answers(tuple(self.who[at] for at in columns), self.codes[:, columns], self.photos, self.boundary)


@dataclass(frozen=True)
class Agreement:
    """How well several agree in one way of looking at their answers.

    Parameters
    ----------
    way : str
        ``every answer`` (cannot tell is one), ``all could tell`` (not this work and coating taken as one), or ``bright
        or residue`` (points that all took for one of the two).
    points, of : int
        Points compared, and all that have one answer from each.
    kappa : Kappa
        Cohen's for two, Fleiss' for more.
    by_photo : tuple of float or None
        Interval that takes only photos as independent.
    """

    way: str
    points: int
    of: int
    kappa: Kappa
    by_photo: tuple[float, float] | None


@dataclass(frozen=True, eq=False)
class Comparison:
    """Two or more side by side: how well they agree, and for two the table of who said what."""

    who: tuple[str, ...]
    photos: int
    boundary: int
    agreements: tuple[Agreement, ...]
    table: tuple[tuple[int, ...], ...] | None


def confusion(answers: Answers) -> NDArray[np.int64]:
    """Return how often the first gave the state of the row while the second gave that of the column, shape (7, 7)."""
    order = np.array(list(State), np.uint8)
    first, second = (np.searchsorted(order, answers.codes[:, at]) for at in (0, 1))
    table = np.zeros((len(order), len(order)), np.int64)
    np.add.at(table, (first, second), 1)
    return table


def compare(answers: Answers) -> Comparison:
    """Compare all that answered; two by Cohen's kappa, more by Fleiss'."""
    ways = {"every answer": answers, "all could tell": answers.told(), "bright or residue": answers.sides()}
    agreements = tuple(_agreement(way, seen, len(answers.codes)) for way, seen in ways.items())
    pair = len(answers.who) == 2
    table = tuple(tuple(row) for row in confusion(answers).tolist()) if pair else None
    return Comparison(answers.who, len(np.unique(answers.photos)), answers.boundary, agreements, table)


def pairs(answers: Answers) -> list[Comparison]:
    """Compare each with each other."""
    return [compare(answers.only(*both)) for both in combinations(range(len(answers.who)), 2)]


def side_by_side(who: Sequence[str], columns: Sequence[Sequence[Counted]]) -> Answers:
    """Lay counts of the same points beside each other.

    Parameters
    ----------
    who : sequence of str
        A name for each column.
    columns : sequence of sequence of Counted
        For each of them counts of the same photos in the same order.

    Raises
    ------
    WrongUse
        Two counts of one photo are not of the same points.
    """
    codes, photos, boundary = [], [], 0
    for number, of_one in enumerate(zip(*columns, strict=True)):
        _check_same(of_one)
        whole = [labels for labels in zip(*(one.labels for one in of_one), strict=True) if _plain(labels)]
        boundary += len(of_one[0].labels) - len(whole)
        codes += [[label[0] for label in labels] for labels in whole]
        photos += [number] * len(whole)
    laid = np.array(codes, np.uint8).reshape(-1, len(columns))
    return Answers(tuple(who), laid, np.array(photos, np.int64), boundary)


def reproduce(counts: Sequence[Counted]) -> Answers | None:
    """Lay the first counts of all people beside each other, over the photos that all of them counted.

    None where fewer than two people counted, or they share no photo.
    """
    rounds = _rounds(counts)
    who = list(dict.fromkeys(one.person for one in counts))
    shared = [sha for sha in dict.fromkeys(one.sha256 for one in counts) if all((name, sha) in rounds for name in who)]
    if len(who) < 2 or not shared:
        return None
    return side_by_side(who, [[rounds[name, sha][0] for sha in shared] for name in who])


def repeat(counts: Sequence[Counted]) -> dict[str, Answers]:
    """Lay the first and the second count of the same photos by the same person beside each other, by person."""
    twice: dict[str, list[list[Counted]]] = {}
    for (name, _), made in _rounds(counts).items():
        if len(made) == _MOST_ROUNDS:
            twice.setdefault(name, []).append(made)
    return {
        name: side_by_side((f"{name}, first", f"{name}, second"), list(zip(*made, strict=True)))
        for name, made in twice.items()
    }


def _rounds(counts: Sequence[Counted]) -> dict[tuple[str, str], list[Counted]]:
    """Sort counts by person and photo, in the order given."""
    rounds: dict[tuple[str, str], list[Counted]] = {}
    for one in counts:
        made = rounds.setdefault((one.person, one.sha256), [])
        made.append(one)
        if len(made) > _MOST_ROUNDS:
            what = f"is the third count of {one.photo} by {one.person}"
            raise WrongUse(what, "Give two counts of a photo at most for each person", one.source)
    return rounds


def _check_same(counts: Sequence[Counted]) -> None:
    first = counts[0]
    for one in counts[1:]:
        if (one.sha256, one.grid, len(one.labels)) != (first.sha256, first.grid, len(first.labels)):
            what = f"does not hold the points of {first.source or first.photo}"
            raise WrongUse(what, "Compare counts of the same grid on the same photo", one.source or one.photo)


def _plain(labels: Sequence[tuple[State, ...]]) -> bool:
    return all(len(label) == 1 for label in labels)


def _agreement(way: str, seen: Answers, of: int) -> Agreement:
    def kappa_of(mask: NDArray[np.bool_]) -> Kappa:
        kept = seen.kept(mask)
        return cohen(confusion(kept)) if len(seen.who) == 2 else fleiss(_counts(kept.codes))

    every = kappa_of(np.ones(len(seen.codes), bool))
    return Agreement(way, len(seen.codes), of, every, by_photo(kappa_of, seen.photos))


def _counts(codes: Codes) -> NDArray[np.int64]:
    """Return how many gave each state for each point, shape (n, 7)."""
    return np.stack([(codes == state).sum(axis=1) for state in State], axis=1).astype(np.int64)
