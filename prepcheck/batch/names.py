"""Names of files that say where a photo belongs, by a pattern such as ``{job}_{spot}_{pass_no}``."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import PurePosixPath
from string import Formatter

from prepcheck.errors import WrongUse

_FIELDS = {"job": "[Jj]?-?[0-9]{1,9}", "spot": ".{1,80}?", "pass_no": "[0-9]{1,2}", "person": ".{1,80}?", "": ".*?"}
_KNOWN = "{job}, {spot}, {pass_no}, {person}, and {} for what says nothing"
_LONGEST = 200


@dataclass(frozen=True)
class Names:
    """A pattern, read.

    Parameters
    ----------
    pattern : str
        With fields between letters of its own; with a ``/`` it goes for the path below the source, else for the name.

    Raises
    ------
    WrongUse
        It has a field that is not known, the same one twice, none, or two without a letter between them.
    """

    pattern: str

    def __post_init__(self) -> None:
        try:
            parts = list(Formatter().parse(self.pattern[:_LONGEST]))
        except ValueError as error:
            raise WrongUse(f"is no pattern ({error})", f"Fields are {_KNOWN}", self.pattern) from error
        fields = [field for _, field, _, _ in parts if field is not None]
        named = [field for field in fields if field]
        if (
            not named
            or set(fields) - set(_FIELDS)
            or len(set(named)) < len(named)
            or any(form or turn for *_, form, turn in parts)
        ):
            raise WrongUse("names no field, a strange one, or one twice", f"Fields are {_KNOWN}", self.pattern)
        if any(not literal for literal, _, _, _ in parts[1:]):
            raise WrongUse("has two fields with nothing between them", "Put a letter between them", self.pattern)

    def of(self, name: str) -> dict[str, str]:
        """Return what a name says, by field; empty when it does not fit."""
        path = PurePosixPath(name)
        text = str(path.with_suffix("")) if "/" in self.pattern else path.stem
        found = re.fullmatch(self._form(), text, re.DOTALL)
        return {} if found is None else found.groupdict()

    def _form(self) -> str:
        made = ""
        for literal, field, _, _ in Formatter().parse(self.pattern):
            made += re.escape(literal)
            if field is not None:
                made += f"(?P<{field}>{_FIELDS[field]})" if field else _FIELDS[""]
        return made
