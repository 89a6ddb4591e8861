"""What evaluation knows of one photo after looking at it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from prepcheck.evaluate.bootstrap import Counts
from prepcheck.evaluate.causes import Causes
from prepcheck.evaluate.measures import Tally
from prepcheck.terms import Standing


@dataclass(frozen=True, eq=False)
class Judged:
    """One labelled photo, compared with the inspection.

    Parameters
    ----------
    name, photo_sha256 : str
        The photo.
    group : str
        Scene: photos of one scene are drawn together.
    split : dict of str to str
        What to split by.
    tally : Counts
        Its counts; of the same class for all photos of a folder.
    standing : Standing
        By the tool.
    truly : str
        What it is by the standing rule applied to the truth; empty where the truth is not known everywhere.
    flags : tuple of str
        Codes of its blocking flags.
    seconds : float
        Time of reading and inspecting.
    badness : float
        How bad it came out, 0..1, to sort by.
    causes : tuple of (str, float)
        What went wrong, largest share first.
    numbers : str
        Its figures in a line.
    panels : tuple of bytes
        Photo, truth and map as small JPEG pictures.
    rules : dict of str to (Tally, float)
        What each baseline reached, and its seconds.
    """

    name: str
    photo_sha256: str
    group: str
    split: Mapping[str, str]
    tally: Counts
    standing: Standing
    truly: str
    flags: tuple[str, ...]
    seconds: float
    badness: float
    causes: Causes
    numbers: str
    panels: tuple[bytes, bytes, bytes] = field(repr=False)
    rules: Mapping[str, tuple[Tally, float]] = field(default_factory=dict, repr=False)

    @property
    def caption(self) -> str:
        """What went wrong, in words."""
        said = [f"{what} {share:.0%}" for what, share in self.causes[:4]]
        said += [f"flag {flag.replace('_', ' ')}" for flag in self.flags]
        return ", ".join(said) or "nothing of one percent or more"
