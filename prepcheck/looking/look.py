"""How to look: with which settings and model, at which scale, with whose outlines, and with the shop's own fit."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from prepcheck.errors import UnknownRecord, WrongUse
from prepcheck.inspection import Inspection, Outlines
from prepcheck.light_set import inspect_photos
from prepcheck.outline_file import read_outlines
from prepcheck.photo import Photo
from prepcheck.record import PhotoRecord
from prepcheck.settings import Settings, load
from prepcheck.store import StoreAddress
from prepcheck.surface import Model, load_model
from prepcheck.surface.moved_light import load_weighing
from prepcheck.tasks import open_log

if TYPE_CHECKING:
    from prepcheck.store.store import Store


@dataclass(frozen=True)
class Look:
    """How to look at each photo of a call.

    Parameters
    ----------
    settings, model : Settings, Model
        Thresholds and the loaded model.
    mm_per_px : float, optional
        A stated scale.
    outlines : Outlines, optional
        What a person drew or refused.
    keep_position : bool
        Whether to keep where the photo was taken.
    """

    settings: Settings
    model: Model
    mm_per_px: float | None = None
    outlines: Outlines | None = None
    keep_position: bool = False

    def inspect(self, photos: Sequence[Photo]) -> Inspection:
        """Inspect a photo that was read, or several as one moved-light set."""
        return inspect_photos(
            photos, self.model, self.settings, stated_mm_per_px=self.mm_per_px, outlines=self.outlines
        )

    def inputs_sha256(self, photos: Sequence[Photo | PhotoRecord] = ()) -> str:
        """SHA-256 (hex) of what the answer depends on beside first photo, model and settings; empty for nothing.

        Of a set these are all photos in order, under their names, and the learned numbers that weigh them.
        """
        told: list[Any] = []
        if self.mm_per_px is not None or self.outlines is not None:
            outlines = self.outlines or Outlines()
            drawn = [outline.tolist() for outline in outlines.drawn]
            told = [self.mm_per_px, self.outlines is not None, drawn, sorted(outlines.refused.items())]
            told += [] if outlines.joint is None else [outlines.joint.points.tolist(), outlines.joint.margin_mm]
        if len(photos) > 1:
            weighing = load_weighing(self.model.origin.sha256)
            told += [[(photo.sha256, photo.name) for photo in photos], "" if weighing is None else weighing.sha256]
        return hashlib.sha256(json.dumps(told).encode()).hexdigest() if told else ""


def prepare(
    *,
    settings_file: Path | None = None,
    model_name: str | None = None,
    mm_per_px: float | None = None,
    outline_file: Path | None = None,
    keep_position: bool = False,
    photos: int = 1,
) -> Look:
    """Check all that a call says of its `photos` photos and load the model, before any work starts.

    Raises
    ------
    BadSettings, BadOutlines, WrongUse, ModelFault
        Whatever cannot be used.
    """
    if mm_per_px is not None and not 1e-4 <= mm_per_px <= 100:
        raise WrongUse(
            "a scale must lie between 0.0001 and 100 mm a pixel", "State that of the full photo", command="--mm-per-px"
        )
    if outline_file is not None and photos > 1:
        raise WrongUse("outlines belong to one photo", "Inspect the photos one by one", str(outline_file))
    settings = load(settings_file)
    outlines = None if outline_file is None else read_outlines(outline_file)
    return Look(settings, load_model(model_name), mm_per_px, outlines, keep_position)


def at_shop(look: Look, store: Store | StoreAddress | Path) -> Look:
    """Return how to look with the fit of the tool that holds in a store; as before where there is no store or no fit.

    A fit that cannot be used is told by a flag of each answer.

    Raises
    ------
    StoreFault
        There is a log, and it cannot be read.
    """
    from prepcheck.tasks.shop_fit import shop_model

    try:
        log = open_log(store, look.settings, create=False)[0] if isinstance(store, Path | StoreAddress) else store
    except UnknownRecord:
        return look
    return replace(look, model=shop_model(log, look.settings, look.model))
