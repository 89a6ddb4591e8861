"""Names of files in a bag: how a manifest writes them, and which are not to be trusted."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable

from prepcheck.archive.faults import LIMITS, Fault, Kind

_ENCODED = {"\r": "%0D", "\n": "%0A", "%": "%25"}
_DECODED = {code: letter for letter, code in _ENCODED.items()}


def encode(path: str) -> str:
    """Return a path as a manifest writes it: CR, LF and % as percent codes, nothing else (RFC 8493, section 2.1.3)."""
    return re.sub("[\r\n%]", lambda found: _ENCODED[found[0]], path)


def decode(text: str, *, percent: bool = True) -> str:
    """Return the path that a manifest writes as `text`; bags before version 1.0 do not encode `percent` itself."""
    codes = "%0[AaDd]|%25" if percent else "%0[AaDd]"
    return re.sub(codes, lambda found: _DECODED[found[0].upper()], text)


def name_fault(path: str) -> str | None:
    """Say what speaks against a path inside a bag; None when nothing does."""
    parts = path.split("/")
    if not path or len(path) > LIMITS.name:
        return "its name is empty or too long"
    if not _is_text(path):
        return "its name is no Unicode text"
    if path[0] in "/~" or "\\" in path or re.match("[A-Za-z]:", path):
        return "its name leads out of the bag (absolute, a home folder, a drive or a backslash)"
    if ".." in parts:
        return "its name leads out of the bag (..)"
    if "" in parts or "." in parts:
        return "its name has an empty part or a dot for a folder"
    return f"lies more than {LIMITS.depth} folders deep" if len(parts) > LIMITS.depth else None


def _is_text(path: str) -> bool:
    return "\0" not in path and not any("\ud800" <= letter <= "\udfff" for letter in path)


def twins(paths: Iterable[str]) -> list[Fault]:
    """Return a fault for all names that differ only in case or Unicode form: elsewhere they are one file."""
    same = defaultdict(set)
    for path in paths:
        same[unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())].add(path)
    told = "differs from another only in case or in its Unicode form"
    return [Fault(Kind.NAME, path, told) for group in same.values() if len(group) > 1 for path in sorted(group)]
