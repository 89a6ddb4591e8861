"""Where residue was mapped, for the hatches of a picture: an archived photo looked at once more.

Only drawn where program, model and settings are those of the logged answer and the spots come out the same; the figures
told are the logged ones all the same.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from prepcheck import __version__
from prepcheck.errors import PrepcheckError
from prepcheck.inspection import Inspection, settings_sha256
from prepcheck.light_set import inspect_photos
from prepcheck.photo import from_bytes
from prepcheck.record import Record, record_of
from prepcheck.settings import Settings
from prepcheck.surface import Model

Raster = NDArray[np.uint8]
_CLIP_FORMATS = ("MP4", "MOV")


class Again:
    """Looks at logged photos once more; each of them once.

    Parameters
    ----------
    photo : callable
        Returns the bytes of a photo by SHA-256.
    load : callable
        Loads the model.
    settings : Settings
        All thresholds.
    """

    def __init__(self, photo: Callable[[str], bytes], load: Callable[[], Model], settings: Settings) -> None:
        self._photo, self._load, self._settings = photo, load, settings
        self._seen: dict[str, Raster | None] = {}

    def __call__(self, record: Record) -> Raster | None:
        """Return the states of a logged photo, shape (h, w), uint8; None where they are not those of the answer."""
        key = record.model_dump_json(include={"photo", "photos"})
        if key not in self._seen:
            self._seen[key] = self._states(record)
        return self._seen[key]

    def _states(self, record: Record) -> Raster | None:
        try:
            model = self._load()
            if not self._same_means(record, model):
                return None
            inspection = self._inspected(record, model)
        except PrepcheckError:
            return None  # what is wrong with the photo is told where it is shown
        return inspection.surface.states if record_of(inspection).spots == record.spots else None

    def _same_means(self, record: Record, model: Model) -> bool:
        origin = record.origin
        means = (__version__, model.origin.sha256, settings_sha256(self._settings, model))
        return means == (origin.version, origin.model_sha256, origin.settings_sha256)

    def _inspected(self, record: Record, model: Model) -> Inspection:
        received = record.photos or [record.photo]
        if record.photo.format in _CLIP_FORMATS:
            from prepcheck.photo.clip import clip_from_bytes

            photos = clip_from_bytes(self._photo(record.photo.sha256), record.photo.name, self._settings)
        else:
            photos = tuple(from_bytes(self._photo(one.sha256), one.name, self._settings) for one in received)
        told = photos if record.photos else photos[:1]
        return inspect_photos(told, model, self._settings, stated_mm_per_px=record.photo.stated_mm_per_px)
