"""The signed file of a shop's fit: all that it rests on, in canonical JSON (RFC 8785), read as untrusted.

No person is named in it: who fitted stands in the log, where a name can be erased.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AwareDatetime, Field, ValidationError

from prepcheck.archive.keys import Hex32, Hex64, PublicKey, ShopKey, holds
from prepcheck.archive.statement import Count, Part, Word, canonical, sha256
from prepcheck.surface import ShopFit

FIT_FOLDER = "shop-fits"
"""In the store's folder, and below ``data/`` of a bag: each file under its SHA-256."""
MOST_BYTES = 20_000_000
Number = Annotated[float, Field(allow_inf_nan=False)]


class FigureLine(Part):
    """A measure with its 95 % interval; None where there was nothing to measure."""

    value: Number | None
    low: Number | None
    high: Number | None


class RowLine(Part):
    """A measure on left-out photos: see `prepcheck.evaluate.fit_shop.Row`."""

    name: Word
    before: FigureLine
    after: FigureLine
    as_told: FigureLine


class PhotoLine(Part):
    """A photo that the fit rests on, and the hash of what people said of it. Photos of one group show the same."""

    name: Word
    sha256: Hex32
    kind: Literal["counted", "brushed"]
    labels_sha256: Hex32
    group: Word
    bright: Count
    residue: Count


class FitStatement(Part):
    """What is signed.

    `looking_sha256` is the hash of the settings by which photos are looked at: with others the fit is not proved. `leans`
    are those of the groups of photos when left out, against which later ones are held. `tries` counts the fits of this log
    before it, refused ones too: who tries long enough finds one that seems to help.
    """

    statement: Literal["prepcheck shop fit"] = "prepcheck shop fit"
    version: Literal[1] = 1
    program: Word
    model: Word
    model_sha256: Hex32
    settings_sha256: Hex32
    looking_sha256: Hex32
    slope: Number
    shift: Number
    photos: tuple[PhotoLine, ...]
    left_out: tuple[tuple[Word, Word], ...]
    contradicted: Count
    data_sha256: Hex32
    groups: Count
    bright: Count
    residue: Count
    rows: tuple[RowLine, ...]
    gain: FigureLine | None
    leans: tuple[Number, ...]
    tries: Count
    refused: tuple[Word, ...]
    public_key: Hex32
    at: AwareDatetime


class SignedFit(Part):
    """The file."""

    fit: FitStatement
    signature: Hex64


def signed(statement: FitStatement, key: ShopKey) -> bytes:
    """Return the bytes of the signed file."""
    signature = key.sign(_to_sign(statement)).hex()
    return canonical(SignedFit(fit=statement, signature=signature)) + b"\n"


def fit_name(named: str) -> str:
    """Return the name of the file of the fit with this SHA-256."""
    return f"{named}.json"


def fit_bytes(store_folder: Path, named: str) -> bytes:
    """Return the file of a fit in a store's folder, cut where it is too large; `OSError` when it cannot be read."""
    with (store_folder / FIT_FOLDER / fit_name(named)).open("rb") as file:
        return file.read(MOST_BYTES + 1)


def opened(data: bytes, named: str, keys: Sequence[PublicKey]) -> FitStatement | str:
    """Return what a file says, or why it cannot be used.

    Parameters
    ----------
    data : bytes
        The file.
    named : str
        SHA-256 (hex) that the log has of it.
    keys : sequence of PublicKey
        Of the shop.
    """
    if sha256(data) != named:
        return "its file is not the one that was logged"
    try:
        told = SignedFit.model_validate_json(data)
        ShopFit(told.fit.slope, told.fit.shift)
    except (ValidationError, ValueError):
        return "its file cannot be read as a fit"
    if told.fit.public_key not in {key.public_key for key in keys}:
        return "it was signed with a key that is none of this shop's"
    if not holds(told.fit.public_key, bytes.fromhex(told.signature), _to_sign(told.fit)):
        return "its signature is not right"
    return told.fit


def _to_sign(statement: FitStatement) -> bytes:
    return b"prepcheck shop fit 1\n" + canonical(statement)
