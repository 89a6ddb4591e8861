"""Checks a bag by RFC 8493: complete (all files and no others), or also intact (all checksums)."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from prepcheck.archive import bag_parts as parts
from prepcheck.archive.bag_names import twins
from prepcheck.archive.bag_source import Source, read
from prepcheck.archive.faults import Fault, Kind


@dataclass(frozen=True)
class BagCheck:
    """What was found in a bag.

    Parameters
    ----------
    faults : tuple of Fault
        All of them.
    said : tuple of str
        What is no fault and worth knowing.
    info : dict
        Values of ``bag-info.txt`` by label in small letters.
    listed : frozenset of str
        Paths that a manifest or tag manifest lists.
    """

    faults: tuple[Fault, ...]
    said: tuple[str, ...]
    info: dict[str, list[str]]
    listed: frozenset[str]


def check_bag(source: Source, *, intact: bool) -> BagCheck:
    """Check a bag and collect every fault.

    Parameters
    ----------
    source : Source
        From `prepcheck.archive.bag_source.open_source`.
    intact : bool
        Whether to compute all checksums; else only that all listed files are there and no others.
    """
    check = _Check(source)
    check.complete()
    if intact:
        check.intact()
    listed = frozenset(path for manifest in check.manifests for path in manifest.hashes)
    return BagCheck(tuple(check.faults), tuple(check.said), check.info, listed)


class _Check:
    def __init__(self, source: Source) -> None:
        self.source = source
        self.faults = list(source.faults)
        self.said: list[str] = []
        self.tell = parts.collector(self.faults)
        self.payload = {path for path in source.sizes if path.startswith("data/")}
        self.declared = parts.read_declaration(self._bytes("bagit.txt", needed=True), self.tell)
        self.info = parts.read_info(self._text("bag-info.txt"))
        self.manifests = self._manifests()

    def complete(self) -> None:
        """Check that everything listed is there and nothing else, and the form of the bag."""
        if not any(not manifest.of_tags for manifest in self.manifests):
            self.tell(Kind.FORM, "the bag", "has no payload manifest")
        if not self.payload and not self.source.has_folder("data"):
            self.tell(Kind.FORM, "the bag", "has no folder data")
        self.faults += twins(self.source.sizes)
        self._missing()
        self._added()
        self._oxum()
        parts.check_fetch(self._text("fetch.txt"), self.declared, self.tell)

    def intact(self) -> None:
        """Compute each listed file's checksums in one reading."""
        wanted: dict[str, dict[str, str]] = {}
        for manifest in self.manifests:
            for path, hash in manifest.hashes.items():
                wanted.setdefault(path, {})[manifest.algorithm] = hash
        for path in sorted(wanted.keys() & self.source.sizes.keys()):
            self._hash(path, wanted[path])

    def _hash(self, path: str, wanted: dict[str, str]) -> None:
        hashers = {algorithm: hashlib.new(algorithm, usedforsecurity=False) for algorithm in wanted}
        try:
            for chunk in self.source.chunks(path):
                for hasher in hashers.values():
                    hasher.update(chunk)
        except OSError as error:
            self.tell(Kind.CHANGED, path, f"cannot be read ({error.strerror or error})")
            return
        for algorithm, hasher in hashers.items():
            if hasher.hexdigest() != wanted[algorithm]:
                self.tell(Kind.CHANGED, path, f"its {algorithm} is not the one in the manifest")

    def _manifests(self) -> list[parts.Manifest]:
        found = []
        for path in sorted(self.source.sizes):
            kind = parts.manifest_kind(path)
            if kind is None:
                continue
            if kind[1] not in parts.ALGORITHMS:
                self.said.append(f"{path} was not used: its algorithm is not known here")
                continue
            if kind[1] in parts.WEAK:
                self.said.append(f"{path} rests on {kind[1]}, which can be forged")
            found.append(parts.read_manifest(path, self._text(path), self.declared, self.tell))
        return found

    def _missing(self) -> None:
        for manifest in self.manifests:
            for path in manifest.hashes.keys() - self.source.sizes.keys():
                self.tell(Kind.MISSING, path, f"is listed in {manifest.file} and not there")

    def _added(self) -> None:
        strict = self.declared.version >= (1, 0)
        payload = [manifest for manifest in self.manifests if not manifest.of_tags]
        tags = [manifest for manifest in self.manifests if manifest.of_tags]
        for path in sorted(self.payload):
            lacking = [manifest.file for manifest in payload if path not in manifest.hashes]
            if payload and (len(lacking) == len(payload) or (strict and lacking)):
                self.tell(Kind.ADDED, path, f"is not listed in {', '.join(lacking)}")
        for manifest in tags:
            for other in payload if strict else ():
                if other.file not in manifest.hashes:
                    self.tell(Kind.FORM, manifest.file, f"does not list {other.file}")

    def _oxum(self) -> None:
        told = parts.read_oxum(self.info, self.tell)
        there = sum(self.source.sizes[path] for path in self.payload), len(self.payload)
        if told is not None and told != there:
            says, is_ = (f"{octets} bytes in {files} files" for octets, files in (told, there))
            self.tell(Kind.CHANGED, "data", f"holds {is_}, Payload-Oxum says {says}")

    def _text(self, path: str) -> str:
        return parts.text_of(self._bytes(path), self.declared.encoding, path, self.tell)

    def _bytes(self, path: str, *, needed: bool = False) -> bytes:
        if path not in self.source.sizes:
            if needed:
                self.tell(Kind.MISSING, path, "is not there")
            return b""
        try:
            return read(self.source, path)
        except OSError as error:
            self.tell(Kind.CHANGED, path, f"cannot be read ({error.strerror or error})")
            return b""
