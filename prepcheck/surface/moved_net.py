"""A small net that sees two to six photos of one view together and corrects their mean.

Two files that ``cv2.dnn`` runs: one sees each photo by itself, laid over the first, the other what all show together.
`moved_net.json` says for which model they were learned and holds their SHA-256 and calibration; all three come from
``python -m prepcheck.train moved`` and ``python -m prepcheck.train.moved_calibrate``.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import Annotated, Any

import cv2
import numpy as np
from pydantic import BaseModel, Field

from prepcheck.errors import ModelFault
from prepcheck.moved_planes import FINE, FINEST, MOST_LIGHT, NARROW, ODDS_SCALE, SEEN, STEP, WIDE
from prepcheck.resources import folder
from prepcheck.surface.model import checked_bytes, read_as, read_net
from prepcheck.surface.moved_evidence import Planes, Views, blur, log_odds
from prepcheck.terms import State

FILE, EACH, TOGETHER = "moved_net.json", "moved_each.onnx", "moved_together.onnx"

SMOOTHING = 1.5
"""Standard deviation in map pixels over which the log odds are averaged, as one photo's chances are: on 70 own sets, not those
reported on, 0, 1 and 2 gave 0.97, 0.85 and 0.65 false patches with two photos, and patch recall 0.68, 0.67 and 0.63."""


class Calibration(BaseModel):
    """`sure` and interval of fused maps of one count of photos, fitted as in `prepcheck.train.calibrate`."""

    sure: Annotated[float, Field(ge=0, le=1)]
    error_scale: Annotated[float, Field(ge=0, allow_inf_nan=False)]
    error_floor: Annotated[float, Field(ge=0, allow_inf_nan=False)]


def nearest(calibration: dict[int, Calibration], photos: int) -> Calibration:
    """Return the numbers of the nearest count of photos."""
    return calibration[min(calibration, key=lambda count: abs(count - photos))]


class Numbers(BaseModel):
    """What goes with the nets' files."""

    model_sha256: str
    each_sha256: str
    together_sha256: str
    temperature: Annotated[float, Field(gt=0, allow_inf_nan=False)]
    shift: Annotated[float, Field(allow_inf_nan=False)]
    calibration: Annotated[dict[int, Calibration], Field(min_length=1)]


@dataclass(frozen=True, eq=False)
class MovedNet:
    """The two nets, their numbers, and the SHA-256 (hex) of the file with these. May be used from several threads."""

    numbers: Numbers = field(repr=False)
    each: Any = field(repr=False)
    together: Any = field(repr=False)
    sha256: str
    turn: Lock = field(default_factory=Lock, repr=False)

    def fits(self, model_sha256: str) -> bool:
        """Tell whether the nets were learned for a model."""
        return self.numbers.model_sha256 == model_sha256

    def bright_odds(self, views: Views) -> Planes:
        """Return the log odds of bright metal, shape (h, w), with temperature and shift.

        Raises
        ------
        ModelFault
            The nets do not give what they should.
        """
        return np.asarray(self.raw_odds(views) / self.numbers.temperature + self.numbers.shift, np.float32)

    def raw_odds(self, views: Views) -> Planes:
        """Return the log odds as the nets have them, smoothed, shape (h, w).

        Raises
        ------
        ModelFault
            The nets do not give what they should.
        """
        mean = log_odds(views.mean[State.BRIGHT])
        rows, columns = mean.shape
        planes = _padded(planes_of(views))
        seen = planes[:, SEEN : SEEN + 1]
        half = np.stack([_halved(one[0])[None] for one in seen])
        fine = np.concatenate([_padded(mean[None, None] / ODDS_SCALE)[0], gathered(planes[:, FINE], seen)])
        try:
            with self.turn:
                features = np.stack([_run(self.each, one) for one in planes])
                said = _run(self.together, np.concatenate([gathered(features, half), _unshuffled(fine)]))
        except cv2.error as error:
            raise ModelFault("the net for several photos cannot be run", "Reinstall prepcheck", FILE) from error
        if said.shape != (4, *half.shape[2:]) or not np.isfinite(said).all():
            raise ModelFault("the net for several photos gives no usable map", "Reinstall prepcheck", FILE)
        return blur(mean + _shuffled(said)[:rows, :columns], SMOOTHING)

    def calibration(self, photos: int) -> Calibration:
        """Return the numbers of the nearest count of photos for which they were fitted."""
        return nearest(self.numbers.calibration, photos)


def planes_of(views: Views) -> Planes:
    """Lay out what the net sees of each photo, shape (n, `PLANES`, h, w), float32.

    Log odds of bright metal, oxide, coating, foreign matter and ground; log brightness less its mean over the likely
    ground, less that over a wide, a narrow and the finest square; where the photo is seen, 0 or 1.
    """
    return np.stack([_planes(views, k) for k in range(len(views.chances))])


def _planes(views: Views, k: int) -> Planes:
    chances, light = views.chances[k], views.light[k]
    kinds = [chances[s] for s in (State.BRIGHT, State.OXIDE, State.COATING, State.FOREIGN)]
    odds = log_odds(np.stack([*kinds, views.ground[k]])) / ODDS_SCALE
    likely = views.ground[k] * views.covers[k]
    level = light - (light * likely).sum(dtype=np.float64) / max(1e-3, likely.sum(dtype=np.float64))
    contrast = [light - cv2.blur(light, (n, n), borderType=cv2.BORDER_REPLICATE) for n in (WIDE, NARROW, FINEST)]
    lights = np.clip(np.stack([level, *contrast]), -MOST_LIGHT, MOST_LIGHT)
    return np.concatenate([odds, lights, views.seen[k][None]]).astype(np.float32)


def gathered(planes: Planes, seen: Planes) -> Planes:
    """Return mean, highest, lowest and standard deviation over the photos that see a place, shape (4 c, h, w).

    Parameters
    ----------
    planes : ndarray, shape (n, c, h, w), float32
    seen : ndarray, shape (n, 1, h, w), float32
        How much of a place a photo sees; every place is seen in one at least.
    """
    there, total = seen > 0, seen.sum(axis=0)
    mean = (planes * seen).sum(axis=0) / total
    spread = np.sqrt((np.square(planes - mean) * seen).sum(axis=0) / total + 1e-6)
    highest = np.where(there, planes, -np.inf).max(axis=0)
    lowest = np.where(there, planes, np.inf).min(axis=0)
    return np.concatenate([mean, highest, lowest, spread]).astype(np.float32)


def load_moved_net(models: Path | None = None) -> MovedNet | None:
    """Read the nets that ship with prepcheck, or those in a folder; None when there are none.

    Raises
    ------
    ModelFault
        A file is broken, or not the one that `moved_net.json` names.
    """
    return _load((models or folder("models")) / FILE)


@lru_cache(maxsize=4)
def _load(path: Path) -> MovedNet | None:
    if not path.is_file():
        return None
    numbers = read_as(path, Numbers)
    parts = ((EACH, numbers.each_sha256), (TOGETHER, numbers.together_sha256))
    each, together = (read_net(checked_bytes(path.with_name(name), sha256), name) for name, sha256 in parts)
    return MovedNet(numbers, each, together, hashlib.sha256(path.read_bytes()).hexdigest())


def _run(net: Any, planes: Planes) -> Planes:
    net.setInput(np.ascontiguousarray(planes[None]))
    return np.array(net.forward()[0], np.float32)


def _unshuffled(planes: Planes) -> Planes:
    """Lay each square of 2 x 2 places one behind the other: (c, h, w) to (4 c, h / 2, w / 2)."""
    c, h, w = planes.shape
    return planes.reshape(c, h // 2, 2, w // 2, 2).transpose(0, 2, 4, 1, 3).reshape(4 * c, h // 2, w // 2)


def _shuffled(planes: Planes) -> Planes:
    """Lay four planes out as squares of 2 x 2 places: (4, h, w) to (2 h, 2 w)."""
    _, h, w = planes.shape
    return planes.reshape(2, 2, h, w).transpose(2, 0, 3, 1).reshape(2 * h, 2 * w)


def _padded(planes: Planes) -> Planes:
    """Repeat the last rows and columns of (n, c, h, w) up to multiples of `STEP`, at least twice it."""
    below, right = (max(-side % STEP, 2 * STEP - side) for side in planes.shape[2:])
    return np.pad(planes, ((0, 0), (0, 0), (0, below), (0, right)), mode="edge")


def _halved(plane: Planes) -> Planes:
    size = (plane.shape[1] // 2, plane.shape[0] // 2)
    return np.asarray(cv2.resize(plane, size, interpolation=cv2.INTER_AREA), np.float32)
