"""Which filler suits a base alloy, and where a test weld has to come first.

The rule is that of a filler maker's guide (seen): more than 2.5 % magnesium takes 5356 and never 4043; 6xxx and up to
2.5 % take either; above 66 C (150 F) in service never 5356; to match when anodised, 5356.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from prepcheck.errors import WrongUse
from prepcheck.trade.bounds import bounded
from prepcheck.trade.facts import Fact, Mark

MAGNESIUM_LINE = Fact(2.5, "% Mg", "a filler maker's guide", Mark.SEEN)
HOT_SERVICE = Fact(339.15, "K", "a filler maker's guide, 150 F (66 C)", Mark.SEEN)
"""66 C in K."""
ANODISED_FILLER = "5356"
MAKE_UP = {
    "4043": ("4.5 to 6.0 % Si", "a seller's data sheet, seen in the source"),
    "5356": ("4.5 to 5.5 % Mg", "a seller's data sheet, seen in the source"),
    "5554": ("2.4 to 3.0 % Mg", "from memory, check it"),
}
"""What each filler is alloyed with, and the source."""

_MAGNESIUM: dict[str, tuple[float, float]] = {
    "5005": (0.5, 1.1), "5049": (1.6, 2.5), "5050": (1.1, 1.8), "5052": (2.2, 2.8), "5059": (5.0, 6.0),
    "5083": (4.0, 4.9), "5086": (3.5, 4.5), "5154": (3.1, 3.9), "5251": (1.7, 2.4), "5383": (4.0, 5.2),
    "5454": (2.4, 3.0), "5456": (4.7, 5.5), "5754": (2.6, 3.6),
}  # fmt: skip
"""Limits of magnesium in % by mass: 5052 as in the guide, the others from memory (check them)."""


class Family(StrEnum):
    """What kind of base metal it is, as far as the choice of filler goes."""

    LOW_MAGNESIUM = "up to 2.5 % magnesium"
    STRADDLES = "magnesium on both sides of 2.5 %"
    HIGH_MAGNESIUM = "over 2.5 % magnesium"
    HEAT_TREATED = "2xxx or 7xxx"
    CASTING = "casting"
    OTHER = "no rule for this series"
    UNKNOWN = "unknown alloy"


NEEDS_TEST = frozenset({Family.HEAT_TREATED, Family.CASTING, Family.OTHER, Family.UNKNOWN})
"""No filler is named for these: an analysis or a test weld comes first."""
CUT_EDGES = frozenset("267")
"""Series of which plasma or laser cut edges are taken back before welding."""


@dataclass(frozen=True)
class Base:
    """A base metal: its four figures (or none), and its family."""

    name: str
    family: Family

    @property
    def loses_cut_edge(self) -> bool:
        """Whether cut edges of this series crack and are taken back."""
        return self.name[:1] in CUT_EDGES


@dataclass(frozen=True)
class Choice:
    """Fillers that suit, the first one first, and those that never do, each with why."""

    base: Base
    suits: tuple[str, ...]
    never: tuple[tuple[str, str], ...] = ()
    anodised_match: bool = True
    """False where a match after anodising was wanted and no filler that suits gives it."""

    @property
    def needs_test(self) -> bool:
        """Whether an analysis or a test weld has to come before any filler."""
        return not self.suits


def base_alloy(text: str) -> Base:
    """Read a base alloy as people write it: ``5083``, ``EN AW-5083 H111``, ``6061-T6``, ``5xxx``, ``casting``, ``unknown``.

    Raises
    ------
    WrongUse
        Nothing of the kind.
    """
    told = text.strip().lower()[:60]
    if re.search(r"\bcast(ing)?\b|\ba?[1-9]\d\d\.\d|\ba3[0-9]\d\b|\bac-", told):
        return Base("casting", Family.CASTING)
    if re.search(r"\bunknown\b|\bnot known\b", told):
        return Base("unknown", Family.UNKNOWN)
    found = re.findall(r"(?<![\dx.])([1-8](?:\d{3}|xxx))(?![\dx])", told)
    if len(set(found)) != 1:
        raise WrongUse(
            "the alloy is not one that is known here",
            "Write four figures such as 5083, 5xxx, casting or unknown",
            text[:60],
        )
    return Base(found[0], _family(found[0]))


def _family(name: str) -> Family:
    if name[0] in "136":
        return Family.LOW_MAGNESIUM
    if name[0] in "27":
        return Family.HEAT_TREATED
    if name[0] != "5":
        return Family.OTHER
    least, most = _MAGNESIUM.get(name, (MAGNESIUM_LINE.value, 100.0))  # the guide names all other 5xxx as over the line
    if most <= MAGNESIUM_LINE.value:
        return Family.LOW_MAGNESIUM
    return Family.STRADDLES if least < MAGNESIUM_LINE.value else Family.HIGH_MAGNESIUM


def magnesium(base: Base) -> tuple[float, float] | None:
    """Return the limits of magnesium in % by mass, where the table has them."""
    return _MAGNESIUM.get(base.name)


_SUITS = {
    Family.LOW_MAGNESIUM: ("4043", "5356"),
    Family.STRADDLES: ("5356",),
    Family.HIGH_MAGNESIUM: ("5356",),
}
_SUITS_HOT = {
    Family.LOW_MAGNESIUM: ("4043", "5554"),
    Family.STRADDLES: ("5554",),
    Family.HIGH_MAGNESIUM: ("5554",),
}


def choose(base: Base, *, service_k: float | None = None, anodised: bool = False) -> Choice:
    """Choose fillers for a base metal, its temperature in service, and whether it has to match when anodised.

    Raises
    ------
    WrongUse
        A temperature out of range.
    """
    if service_k is not None:
        bounded(service_k, "the service temperature", "K", most=800.0)
    hot = service_k is not None and service_k > HOT_SERVICE.value
    suits = (_SUITS_HOT if hot else _SUITS).get(base.family, ())
    matching = tuple(name for name in suits if name == ANODISED_FILLER) if anodised else suits
    return Choice(base, matching or suits, _never(base, hot), not anodised or bool(matching) or not suits)


def _never(base: Base, hot: bool) -> tuple[tuple[str, str], ...]:
    never = []
    if base.family is Family.HIGH_MAGNESIUM:
        never.append(("4043", "the base has over 2.5 % magnesium"))
    if base.family is Family.STRADDLES:
        never.append(("4043", "the base may have over 2.5 % magnesium"))
    if hot and base.family not in NEEDS_TEST:
        never.append(("5356", "it gets too warm in service"))
    return tuple(never)
