"""How a person's work is said: counts first, a percentage only with its interval, and none where there is too little."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from prepcheck.agreement.proportion import SOURCE, Proportion, proportion
from prepcheck.progress.blocks import Block
from prepcheck.progress.gather import PersonWork
from prepcheck.progress.misses import Place
from prepcheck.progress.tally import Tally, shares_of
from prepcheck.progress.work import Beside, Firsts, PassesNeeded
from prepcheck.report.feedback_tool import ToolErrors
from prepcheck.report.words import interval_words, share_words
from prepcheck.terms import State

TOO_FEW = "too few to tell"
SPOTS_DIFFER = (
    "Spots differ: alloy, coating, depth of pits, light and tool decide as much as the hand. A number here says how these"
    " spots went, not how good anybody is."
)
RESTS_ON_TOOL = "Bright and residue left are the tool's answers, not the truth; the tool is wrong at times."
INTERVALS = f"Intervals are 95%, {SOURCE}. Spots of one job resemble each other, so they are rather too narrow."
ADVICE: dict[State | Place, tuple[str, str]] = {
    State.OXIDE: ("oxide", "What stays dull grey while the torch moves is not metal yet: go on."),
    State.PIT: ("pits", "Look into each with the torch from the side; measure the wall before you open one further."),
    State.COATING: ("coating", "Take it back past the ground area, so that none lies where the heat comes."),
    State.FOREIGN: (
        "foreign matter",
        "Degrease, then brush with stainless steel kept for aluminium; look for brown specks.",
    ),
    Place.RIM: ("the rim", "Go around the outline with the torch low, and grind a few millimetres further."),
    Place.JOINT: ("the joint line", "Look along both sides of it first: that is where the heat goes."),
    Place.MIDDLE: ("the middle", "Cross the spot in a second direction: nothing stays between two strokes."),
    Place.SPREAD: ("small places", "Go over the whole spot once more rather than after single specks."),
}
"""What to look for next, with a label. Common practice, no source; degreasing before brushing: Mathers, section 4.7, seen."""


def tally_words(tally: Tally, least: int, what: str = "") -> str:
    """Say a tally: ``18 of 20 spots, 90% (95% interval 68 to 99)``; of fewer than `least`, ``3 of 4, too few to tell``."""
    counted = f"{tally.hits} of {tally.of}" + (f" {what}" if what else "")
    if not tally.of:
        return "none yet"
    if tally.of < least:
        return f"{counted}, {TOO_FEW}"
    found = exact(tally)
    return f"{counted}, {share_words(found.share)} (95% interval {interval_words((found.low, found.high))})"


def exact(tally: Tally) -> Proportion:
    """Return the tally with its exact interval."""
    return proportion(tally.hits, tally.of)


def apart_words(told: Firsts) -> str:
    """Say what counts neither way; empty for nothing."""
    kinds = {
        "cannot tell": told.cannot_tell,
        "to retake": told.retake,
        "without the first pass in the log": told.unlogged,
    }
    return ", ".join(f"{count} {kind}" for kind, count in kinds.items() if count)


def needed_words(told: PassesNeeded) -> str:
    """Say how many spots took how many passes: ``1 pass: 12, 2 passes: 5; not bright yet: 1 after 2 passes``."""
    done = ", ".join(f"{_number(n, 'pass', 'es')}: {count}" for n, count in told.bright.items())
    still = ", ".join(f"{count} after {_number(n, 'pass', 'es')}" for n, count in told.open.items())
    parts = [done, f"not bright yet: {still}" if still else ""]
    parts += [f"{told.shared} ground with others" if told.shared else ""]
    return "; ".join(part for part in parts if part) or "none yet"


def misses_of(work: PersonWork) -> dict[tuple[State, Place], Tally]:
    """Count what was left, and where, out of the first passes that left residue; most frequent first."""
    return shares_of((one.miss.state, one.miss.place) for one in work.left)


def by_state(work: PersonWork) -> dict[State, Tally]:
    """Count what was left most of."""
    return shares_of(one.miss.state for one in work.left)


def by_place(work: PersonWork) -> dict[Place, Tally]:
    """Count where the largest patch lay."""
    return shares_of(one.miss.place for one in work.left)


def miss_words(kind: tuple[State, Place]) -> str:
    """Say what was left and where: ``coating left at the rim``."""
    state, place = kind
    return f"{state.label}, {place}"


def usual_words(misses: Mapping[tuple[State, Place], Tally], least: int) -> str:
    """Say what was left most often."""
    if not misses:
        return "nothing was told to be left"
    kind, tally = next(iter(misses.items()))
    tied = sum(one.hits == tally.hits for one in misses.values()) > 1
    lead = "no one kind more than others; first " if tied else ""
    return f"{lead}{miss_words(kind)}: {tally_words(tally, least)}"


def advice_for(work: PersonWork, most: int = 3) -> list[tuple[str, str]]:
    """Return what to look for next, each with a label, by what was left most often; each piece once."""
    pieces = Counter[State | Place]()
    for one in work.left:
        pieces.update([one.miss.state, one.miss.place])
    return [ADVICE[piece] for piece, _ in pieces.most_common(most)]


def change_words(blocks: Sequence[Block], least: int) -> str:
    """Say whether the first and the last stretch differ by more than chance: their intervals lie apart, or they do not.

    A cautious rule: two shares may differ though their intervals overlap.
    """
    told = [block for block in blocks if block.tally.of >= least]
    if len(told) < 2:
        return f"Two stretches of {least} spots or more are needed to tell a change; {TOO_FEW}."
    first, last = exact(told[0].tally), exact(told[-1].tally)
    if last.low > first.high:
        return "The last stretch lies above the first by more than chance would make; the spots may have been easier."
    if last.high < first.low:
        return "The last stretch lies below the first by more than chance would make; the spots may have been harder."
    return "The intervals of the first and the last stretch overlap: no change can be told from this."


def beside_words(told: Beside) -> str:
    """Say how often a person's own standing went against the tool's: ``2 x tool residue left, person bright``."""
    pairs = [f"{n} x tool {tool}, person {own}" for (tool, own), n in told.pairs.items()]
    return "; ".join(pairs) or "no disagreement logged"


def tool_words(errors: Sequence[ToolErrors], fitted: int = 0) -> Iterator[str]:
    """Say how often the tool was wrong where the truth was known, by model; with the numbers of cases.

    Parameters
    ----------
    errors : sequence of ToolErrors
        Of the models that answered.
    fitted : int
        How many answers were read with a fit of the shop's own, of which cards know nothing.
    """
    for one in errors:
        told = [*_case_words(one), *_point_words(one)]
        if told:
            yield f"Model {one.model} on photos that it never learned from: {'; '.join(told)}."
        else:
            yield f"Model {one.model}: no figures of its own errors are at hand."
    if fitted:
        yield f"{_number(fitted, 'answer')} came with the shop's own fit, which these figures leave out: prepcheck calibrate."


def _case_words(errors: ToolErrors) -> Iterator[str]:
    missed = ", ".join(_wrong(one.missed, one.of) for one in errors.scenes if one.missed.of)
    alarmed = ", ".join(_wrong(one.alarmed, one.of) for one in errors.scenes if one.alarmed.of)
    if missed:
        yield f"truly dirty and called bright, {missed}"
    if alarmed:
        yield f"truly clean and called residue left, {alarmed}"


def _wrong(tally: Tally, what: str) -> str:
    found = exact(tally)
    return f"{tally.hits} of {tally.of} {what} ({interval_words((found.low, found.high))}%)"


def _point_words(errors: ToolErrors) -> Iterator[str]:
    for one in errors.points:
        told = f"{share_words(one.share)} ({interval_words((one.low, one.high))}%)"
        yield f"points that are not bright and called bright, {told} in {one.photos} {one.of}"


def _number(count: int, word: str, plural: str = "s") -> str:
    return f"{count} {word}{'' if count == 1 else plural}"
