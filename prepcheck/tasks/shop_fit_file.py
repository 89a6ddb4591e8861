"""What the signed file of a shop's fit says: written down from what the fit was made of and proved by."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from prepcheck import __version__
from prepcheck.archive.keys import ShopKey
from prepcheck.archive.shop_fit_file import FigureLine, FitStatement, PhotoLine, RowLine
from prepcheck.archive.statement import canonical, sha256
from prepcheck.settings import Settings
from prepcheck.surface import ModelOrigin, ShopFit

if TYPE_CHECKING:
    from prepcheck.evaluate.bootstrap import Figure
    from prepcheck.evaluate.fit_shop import Labelled, Proof, Row
    from prepcheck.evaluate.fit_shop_read import Read


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


def looking_sha256(settings: Settings) -> str:
    """Return the hash of the settings on which the chances of a place rest."""
    return sha256(canonical([settings.photo.model_dump(), settings.card.model_dump(), settings.score.burnt_level]))


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
