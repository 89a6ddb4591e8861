"""The text files of a bag (RFC 8493): how each is read, with every fault told."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from prepcheck.archive.bag_names import decode, name_fault
from prepcheck.archive.faults import Fault, Kind

ALGORITHMS = {"md5": 32, "sha1": 40, "sha224": 56, "sha256": 64, "sha384": 96, "sha512": 128}
"""Checksum algorithms that are read, with the length of their hexadecimal form."""
WEAK = ("md5", "sha1")
DECLARATION = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"

_STRICT = re.compile(r"BagIt-Version: (\d+)\.(\d+)\r?\n?Tag-File-Character-Encoding: (\S+)(\r\n|\r|\n)?")
_LOOSE = re.compile(r"BagIt-Version\s*:\s*(\d+)\.(\d+)\s+Tag-File-Character-Encoding\s*:\s*(\S+)\s*")
_LINE = re.compile(r"([0-9A-Fa-f]+)[ \t]+(\S.*)")
_FETCH = re.compile(r"(\S+)[ \t]+(\d+|-)[ \t]+(\S.*)")
_OXUM = re.compile(r"(\d+)\.(\d+)")
_MANIFEST = re.compile(r"(tag)?manifest-([a-z0-9]+)\.txt")
_KNOWN_VERSIONS = ((0, 93), (0, 94), (0, 95), (0, 96), (0, 97), (1, 0))

Tell = Callable[[Kind, str, str], None]
"""Takes a fault: kind, where, what."""


@dataclass(frozen=True)
class Declaration:
    """What ``bagit.txt`` says: the version of BagIt, and the encoding of the other text files."""

    version: tuple[int, int] = (1, 0)
    encoding: str = "UTF-8"


@dataclass(frozen=True)
class Manifest:
    """One manifest: its file, algorithm, and hash (small letters) by path."""

    file: str
    algorithm: str
    of_tags: bool
    hashes: dict[str, str]


def read_declaration(data: bytes, tell: Tell) -> Declaration:
    """Read ``bagit.txt``."""
    if data.startswith(b"\xef\xbb\xbf"):
        tell(Kind.FORM, "bagit.txt", "starts with a byte order mark")
    text = data.decode("utf-8-sig", "replace")
    found = _LOOSE.fullmatch(text)
    if found is None:
        tell(Kind.FORM, "bagit.txt", "does not tell the version of BagIt and the encoding in two lines")
        return Declaration()
    version = (int(found[1]), int(found[2]))
    if version not in _KNOWN_VERSIONS:
        tell(Kind.FORM, "bagit.txt", f"names an unknown version of BagIt, {version[0]}.{version[1]}")
    if version >= (1, 0) and (_STRICT.fullmatch(text) is None or found[3] != "UTF-8"):
        tell(Kind.FORM, "bagit.txt", "is not written exactly as version 1.0 asks")
    return Declaration(version, found[3])


def text_of(data: bytes, encoding: str, where: str, tell: Tell) -> str:
    """Decode a text file."""
    try:
        return data.decode(encoding)
    except (LookupError, UnicodeDecodeError):
        tell(Kind.FORM, where, f"is no text in {encoding}")
        return ""


def manifest_kind(path: str) -> tuple[bool, str] | None:
    """Return whether a file is a tag manifest, and its algorithm; None when it is no manifest."""
    found = _MANIFEST.fullmatch(path)
    return None if found is None else (found[1] is not None, found[2])


def read_manifest(file: str, text: str, declared: Declaration, tell: Tell) -> Manifest:
    """Read a manifest whose name `manifest_kind` knows."""
    of_tags, algorithm = manifest_kind(file) or (False, "")
    hashes: dict[str, str] = {}
    for number, line in _lines(text):
        found = _LINE.fullmatch(line)
        if found is None or len(found[1]) != ALGORITHMS[algorithm]:
            tell(Kind.FORM, file, f"line {number} is no hash with a path")
            continue
        path = _listed_path(found[2], declared)
        wrong = name_fault(path) or _scope_fault(path, of_tags)
        if wrong is not None:
            tell(Kind.NAME, file, f"line {number} names {path}: {wrong}")
        elif path in hashes:
            tell(Kind.FORM, file, f"line {number} names {path} again")
        else:
            hashes[path] = found[1].lower()
    return Manifest(file, algorithm, of_tags, hashes)


def _listed_path(text: str, declared: Declaration) -> str:
    """Return the path that a line names; checksum tools put ``*`` or ``./`` before it."""
    return decode(text.removeprefix("*").removeprefix("./"), percent=declared.version >= (1, 0))


def _scope_fault(path: str, of_tags: bool) -> str | None:
    kind = manifest_kind(path)
    if not of_tags:
        return None if path.startswith("data/") else "lies outside data/"
    if path.startswith("data/"):
        return "is no tag file"
    return "a tag manifest lists no tag manifest" if kind is not None and kind[0] else None


def read_info(text: str) -> dict[str, list[str]]:
    """Read ``bag-info.txt``: values by label (small letters), in order; continued lines are joined."""
    found: dict[str, list[str]] = {}
    label = ""
    for _, line in _lines(text):
        if line[0] in " \t" and label:
            found[label][-1] += " " + line.strip()
            continue
        label, _, value = line.partition(":")
        label = label.strip().lower()
        found.setdefault(label, []).append(value.strip())
    return found


def read_oxum(info: dict[str, list[str]], tell: Tell) -> tuple[int, int] | None:
    """Return what Payload-Oxum says: octets and number of payload files."""
    values = info.get("payload-oxum", [])
    if len(values) > 1:
        tell(Kind.FORM, "bag-info.txt", "has Payload-Oxum more than once")
    found = _OXUM.fullmatch(values[0]) if values else None
    if values and found is None:
        tell(Kind.FORM, "bag-info.txt", "has a Payload-Oxum that is not octets.files")
    return None if found is None else (int(found[1]), int(found[2]))


def check_fetch(text: str, declared: Declaration, tell: Tell) -> None:
    """Check the lines of ``fetch.txt``; nothing is ever fetched."""
    for number, line in _lines(text):
        found = _FETCH.fullmatch(line)
        path = "" if found is None else _listed_path(found[3], declared)
        if found is None:
            tell(Kind.FORM, "fetch.txt", f"line {number} is no address, length and path")
        elif (wrong := name_fault(path) or _scope_fault(path, False)) is not None:
            tell(Kind.NAME, "fetch.txt", f"line {number} names {path}: {wrong}")


def _lines(text: str) -> Iterator[tuple[int, str]]:
    for number, line in enumerate(re.split("\r\n|\r|\n", text), 1):
        if line.strip():
            yield number, line


def collector(faults: list[Fault]) -> Tell:
    """Return a function that puts faults into a list."""
    return lambda kind, where, what: faults.append(Fault(kind, where, what))
