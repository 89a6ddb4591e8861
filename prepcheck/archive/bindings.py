"""Checks that what a sealed bag shows is what the log's entries are about: records, photos, the shop's own fits."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from prepcheck.archive.bag_parts import Tell
from prepcheck.archive.bag_source import Source, read
from prepcheck.archive.faults import Kind
from prepcheck.archive.keys import PublicKey
from prepcheck.archive.sequence import erasures, name_of, told, words
from prepcheck.archive.shop_fit_file import FIT_FOLDER, fit_name, opened
from prepcheck.archive.statement import LogFile, PhotoLine, PhotosFile, record_file


def check_records(log: LogFile, hashes: Mapping[str, str], tell: Tell) -> None:
    """Check that each inspection's record is there and the one that was logged, and that there are no others.

    Parameters
    ----------
    hashes : mapping
        SHA-256 by path, of the payload manifest.
    """
    expected = {}
    for entry in log.entries:
        text = told(entry)
        if text.get("kind") == "inspection":
            expected[_record_path(text.get("number"))] = (name_of(entry), text.get("record_sha256"))
    there = {path for path in hashes if path.startswith("data/records/")}
    for path in sorted(expected.keys() - there):
        tell(Kind.LOG, path, f"the record of {expected[path][0]} is not in the bag")
    for path in sorted(there - expected.keys()):
        tell(Kind.LOG, path, "belongs to no entry of the log")
    for path in sorted(there & expected.keys()):
        if hashes[path] != expected[path][1]:
            tell(Kind.LOG, path, f"is not the record that {expected[path][0]} logged")


def check_photos(log: LogFile, photos: PhotosFile, hashes: Mapping[str, str], tell: Tell) -> None:
    """Check that each photo of an inspection is listed, and that each file is the one listed, and that there are no others."""
    logged = {sha256 for entry in log.entries for sha256 in words(told(entry).get("photos"))}
    listed = [line.sha256 for line in photos.photos]
    if len(set(listed)) != len(listed):
        tell(Kind.LOG, "data/photos.json", "lists a photo twice")
    for sha256 in sorted(logged - set(listed)):
        tell(Kind.LOG, "data/photos.json", f"a photo of the log is missing: {sha256}")
    for sha256 in sorted(set(listed) - logged):
        tell(Kind.LOG, "data/photos.json", f"lists a photo that no entry of the log names: {sha256}")
    files = {f"data/{line.file}" for line in photos.photos if line.file is not None}
    for path in sorted({path for path in hashes if path.startswith("data/photos/")} - files):
        tell(Kind.LOG, path, "is no photo that photos.json lists")
    reasons = erasures(log)
    for line in photos.photos:
        _check_photo(line, hashes, tell)
        if line.file is None and not line.left_out:
            tell(Kind.LOG, "data/photos.json", f"does not say why a photo is left out: {line.sha256}")
        if line.erased and line.sha256 not in reasons:
            tell(Kind.LOG, "data/photos.json", f"calls a photo erased, and no entry of the job says so: {line.sha256}")


def _check_photo(line: PhotoLine, hashes: Mapping[str, str], tell: Tell) -> None:
    if line.file is None:
        return
    path = f"data/{line.file}"
    if hashes.get(path) != line.file_sha256:
        tell(Kind.LOG, path, "is not the file that photos.json lists")
    if line.original != (line.file_sha256 == line.sha256):
        tell(Kind.LOG, path, "is called the original and is another, or the other way round")


def check_fits(
    log: LogFile, source: Source, hashes: Mapping[str, str], keys: Sequence[PublicKey], tell: Tell
) -> list[str]:
    """Check the files of the shop's own fits, and return those by their hash that answers name and the bag does not hold.

    A bag may lack them: until they were put in, all did. One that is there is the one named, holds under a key of the shop,
    and was made for the model that answered; and there are no others.
    """
    named = set(_fits_named(log, source, hashes))
    folder = f"data/{FIT_FOLDER}/"
    paths = {fit: f"{folder}{fit_name(fit)}" for fit, _ in named}
    for path in sorted({path for path in hashes if path.startswith(folder)} - set(paths.values())):
        tell(Kind.LOG, path, "is no fit that an answer of the job was read with")
    for fit, model in sorted(named):
        if paths[fit] in hashes and (wrong := _fit_fault(source, paths[fit], fit, model, keys)):
            tell(Kind.LOG, paths[fit], wrong)
    return sorted(fit for fit, path in paths.items() if path not in hashes)


def _fits_named(log: LogFile, source: Source, hashes: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Give the hash of each fit that an answer names, with that of the model that answered."""
    for text in map(told, log.entries):
        record = logged_record(source, hashes, text) if text.get("kind") == "inspection" else None
        origin = record.get("origin") if isinstance(record, dict) else None
        if isinstance(origin, dict) and isinstance(origin.get("shop_fit"), str):
            yield origin["shop_fit"], str(origin.get("model_sha256"))


def _fit_fault(source: Source, path: str, fit: str, model: str, keys: Sequence[PublicKey]) -> str:
    """Say what is wrong with the file of a fit; nothing where it holds."""
    try:
        found = opened(read(source, path), fit, keys)
    except (KeyError, OSError):
        return ""  # told already: it is missing, or cannot be read
    if isinstance(found, str):
        return f"the shop's own fit: {found}"
    return (
        ""
        if found.model_sha256 == model
        else "the shop's own fit was made for another model than the one that answered"
    )


def logged_record(source: Source, hashes: Mapping[str, str], text: Mapping[str, Any]) -> Any:
    """Return the record of an inspection, by what its entry in the log says; None when it is not the one that was logged."""
    path = _record_path(text.get("number"))
    return read_json(source, path) if hashes.get(path, "") == text.get("record_sha256") else None


def read_json(source: Source, path: str) -> Any:
    """Return the JSON of a file of the bag; None when there is none."""
    try:
        return json.loads(read(source, path))
    except (KeyError, OSError, ValueError, RecursionError):
        return None


def _record_path(number: Any) -> str:
    return f"data/{record_file(number)}" if isinstance(number, int) and 0 <= number < 2**53 else "data/records/?"
