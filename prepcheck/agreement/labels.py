"""What a person writes for a point: a state, or two for a point on the boundary between them."""

from __future__ import annotations

import re

from prepcheck.terms import State

Label = tuple[State, ...]
"""One state; two for a point on a boundary, which counts one half for each (ASTM E562 section 3.2.1)."""

HELP = (
    "0 not this work, 1 bright, 2 oxide, 3 pit, 4 coating, 5 foreign, 9 cannot tell (also weld bead and heat tint); "
    "on a boundary both, as 1+2"
)
"""The labels in one line; a plus sign, since a spreadsheet turns 1/2 into a date."""

_WORDS: dict[str, State] = {
    **{str(int(state)): state for state in State},
    **{state.key.replace("_", " "): state for state in State},
    **{state.label: state for state in State},
    "6": State.CANNOT_TELL,
    "9": State.CANNOT_TELL,
    "?": State.CANNOT_TELL,
}


def parse_label(text: str) -> Label:
    """Read one label: numbers or words, two of them joined by ``+`` or ``/`` on a boundary.

    Raises
    ------
    ValueError
        It is none, or names three states.
    """
    words = [" ".join(part.replace("_", " ").split()).casefold() for part in re.split(r"[+/]", text)]
    states = dict.fromkeys(_WORDS[word] for word in words if word in _WORDS)
    if len(words) > 2 or any(word not in _WORDS for word in words):
        raise ValueError(f"{text.strip()[:40]!r} is no label")
    return tuple(states)


def write_label(label: Label) -> str:
    """Return a label as `parse_label` reads it: the numbers, joined by ``+`` on a boundary."""
    return "+".join("9" if state is State.CANNOT_TELL else str(int(state)) for state in label)


def counts_for(label: Label, state: State) -> float:
    """Return how much a point counts for a state: 1, a half on its boundary, or 0."""
    return label.count(state) / len(label)
