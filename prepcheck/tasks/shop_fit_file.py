"""The signed file of a shop's fit: all that it rests on, in canonical JSON (RFC 8785), read as untrusted.

No person is named in it: who fitted stands in the log, where a name can be erased.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import AwareDatetime, Field, ValidationError

from prepcheck import __version__
from prepcheck.archive.keys import Hex32, Hex64, PublicKey, ShopKey, holds
from prepcheck.archive.statement import Count, Part, Word, canonical, sha256
from prepcheck.settings import Settings
from prepcheck.surface import ModelOrigin, ShopFit

if TYPE_CHECKING:
    from prepcheck.evaluate.bootstrap import Figure
    from prepcheck.evaluate.fit_shop import Labelled, Proof, Row
    from prepcheck.evaluate.fit_shop_read import Read

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


def state(
    read: Read,
    fit: ShopFit,
    proof: Proof,
    refused: Sequence[str],
    *,
    origin: ModelOrigin,
    settings: Settings,
    tries: int,
    key: ShopKey,
    at: datetime,
) -> FitStatement:
    """Write down a fit with all that it rests on."""
    photos = tuple(_photo(one) for one in read.photos)
    return FitStatement(
        program=f"prepcheck {__version__}",
        model=origin.name,
        model_sha256=origin.sha256,
        settings_sha256=settings.digest(),
        looking_sha256=looking_sha256(settings),
        slope=fit.slope,
        shift=fit.shift,
        photos=photos,
        left_out=tuple((name[:300], why[:300]) for name, why in read.left_out),
        contradicted=read.contradicted,
        data_sha256=sha256(canonical([one.model_dump() for one in photos])),
        groups=proof.groups,
        bright=proof.bright,
        residue=proof.residue,
        rows=tuple(_row(one) for one in proof.rows),
        gain=None if proof.gain is None else _figure(proof.gain),
        leans=tuple(round(one, 6) for one in proof.leans),
        tries=tries,
        refused=tuple(refused),
        public_key=key.public,
        at=at,
    )


def signed(statement: FitStatement, key: ShopKey) -> bytes:
    """Return the bytes of the signed file."""
    signature = key.sign(_to_sign(statement)).hex()
    return canonical(SignedFit(fit=statement, signature=signature)) + b"\n"


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


def looking_sha256(settings: Settings) -> str:
    """Return the hash of the settings on which the chances of a place rest."""
    return sha256(canonical([settings.photo.model_dump(), settings.card.model_dump(), settings.score.burnt_level]))


def _to_sign(statement: FitStatement) -> bytes:
    return b"prepcheck shop fit 1\n" + canonical(statement)


def _photo(one: Labelled) -> PhotoLine:
    bright = int(one.is_bright.sum())
    return PhotoLine(
        name=one.name[:300],
        sha256=one.sha256,
        kind=one.kind,
        labels_sha256=one.labels_sha256,
        group=one.group,
        bright=bright,
        residue=len(one.labels) - bright,
    )


def _row(one: Row) -> RowLine:
    return RowLine(name=one.name, before=_figure(one.before), after=_figure(one.after), as_told=_figure(one.as_told))


def _figure(one: Figure) -> FigureLine:
    return FigureLine(value=_number(one.value), low=_number(one.low), high=_number(one.high))


def _number(value: float) -> float | None:
    return round(value, 6) if math.isfinite(value) else None
