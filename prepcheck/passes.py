"""Use cases: a photo of a later pass is compared with the passes before, and the history of a spot is drawn."""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from prepcheck.archive import Archive
from prepcheck.errors import ChooseOutline, PrepcheckError, UnknownRecord
from prepcheck.inspection import Inspection
from prepcheck.light_set import inspect_photos
from prepcheck.photo import Photo, from_bytes
from prepcheck.photo.align import Alignment, NotAligned, Ready, align, ready
from prepcheck.photo.clip import clip_from_bytes
from prepcheck.record import PersistingRecord, PhotoRecord, Record, SinceLastPass
from prepcheck.report.history import MOST_PASSES, draw_history
from prepcheck.report.pass_picture import PassPicture
from prepcheck.settings import Settings
from prepcheck.spot import Spot
from prepcheck.spot.follow import AskPerson, Change, EarlierPass, PersistingPatch, compare, same_spot
from prepcheck.store import EarlierInspection
from prepcheck.store.words import MOST_PASS_NO
from prepcheck.surface import Model, SurfaceMap
from prepcheck.tasks import job_story

if TYPE_CHECKING:
    from prepcheck.store.store import Store

_MOST_BACK = 4
"""Passes looked back on; each is inspected again, which takes as long as a new photo."""
_CLIP_FORMATS = ("MP4", "MOV")
_ITSELF = Alignment(np.eye(3))
CHANGES = ("newly_bright", "still_residue", "newly_exposed", "still_bright", "not_comparable")
"""Names of what a spot is shared out into since an earlier pass."""


@dataclass(frozen=True, eq=False)
class Again:
    """An earlier pass looked at again, and how it lies on a later photo."""

    earlier: EarlierInspection
    inspection: Inspection
    lies: Alignment | NotAligned


class Lately:
    """Looks again at logged photos and sets, and remembers the last few, for passes that are logged one after the other.

    Parameters
    ----------
    archive, model, settings
        Where their photos lie, and how to look at them.
    """

    def __init__(self, archive: Archive, model: Model, settings: Settings) -> None:
        self._means = archive, model, settings
        self._seen: OrderedDict[str, Inspection] = OrderedDict()

    def __call__(self, record: Record) -> Inspection:
        """Return the inspection of a record's photos; raises as `look_again`."""
        key = json.dumps([record.photo.model_dump(), [photo.model_dump() for photo in record.photos]])
        seen = self._seen.pop(key, None)
        self._seen[key] = look_again(record, *self._means) if seen is None else seen
        while len(self._seen) > _MOST_BACK:
            self._seen.popitem(last=False)
        return self._seen[key]


def looked_at_again(
    one: EarlierInspection, latest: Ready | None, look: Callable[[Record], Inspection], settings: Settings
) -> Again:
    """Inspect a logged photo or set again from its archived bytes and lay it on `latest`, None when it is that itself.

    Raises
    ------
    PrepcheckError
        A photo is missing, was changed or cannot be read.
    """
    inspection = look(one.record)
    return Again(one, inspection, _ITSELF if latest is None else align(latest, inspection.photo, settings))


def look_again(record: Record, archive: Archive, model: Model, settings: Settings) -> Inspection:
    """Inspect the photo or set of a logged record again from its archived bytes, without what a person drew.

    Raises
    ------
    PrepcheckError
        A photo is missing, was changed or cannot be read.
    """
    photos = archived_photos(record.photos or [record.photo], archive, settings)
    return inspect_photos(photos, model, settings, stated_mm_per_px=record.photo.stated_mm_per_px)


def since_last_pass(
    inspection: Inspection,
    asked: int | None,
    earlier: Sequence[EarlierInspection],
    look: Callable[[Record], Inspection],
    settings: Settings,
) -> tuple[int | None, SinceLastPass | None]:
    """Find the job's spot in a new photo and compare it with the passes before.

    Parameters
    ----------
    inspection : Inspection
        Of the new photo or set.
    asked : int or None
        The outline that a person named; otherwise the spot is looked for where the last pass had it.
    earlier : sequence of EarlierInspection
        Of the passes before, oldest first.
    look : callable
        Looks again at their photos, such as `Lately`.
    settings : Settings
        Thresholds.

    Returns
    -------
    (int or None, SinceLastPass or None)
        Number of the outline, and what changed; None for what is not known.

    Raises
    ------
    ChooseOutline
        Several outlines, none named, and the photo does not show which of them is the spot.
    """
    spots = [spot for spot, _ in (inspection.by_person or inspection.answer).spots]
    if not earlier or not spots:
        return asked, None
    last, latest = earlier[-1], ready(inspection.photo, settings)
    try:
        again = [looked_at_again(one, latest, look, settings) for one in earlier[-_MOST_BACK:]]
    except PrepcheckError as error:
        found, why = None, f"its photo cannot be used ({error.message})"
    else:
        found, why = _laid_over(again)
    number = _number(spots, asked, last, inspection.surface, found, why, inspection.photo.name, settings)
    spot = next((one for one in spots if one.number == number), None)
    if spot is None:
        return number, None  # logging says that there is no such outline
    if not found:
        return number, SinceLastPass(inspection=last.number, pass_no=last.pass_no, reason=why)
    return number, _told(spot, inspection, last, found, settings)


def spot_history(
    store: Store, archive: Archive, job: str, spot: str, model: Model, settings: Settings
) -> NDArray[np.uint8]:
    """Draw the passes of a job's spot side by side, laid over the latest, with the chart of its bright share.

    A pass whose photos show no outline of the spot is not drawn, and of many passes only the latest ones are.

    Returns
    -------
    ndarray, shape (h, w, 3), uint8

    Raises
    ------
    UnknownRecord
        No such job or spot, or nothing to draw.
    """
    story = job_story(store, job, spot)
    (of_spot,) = story.spots
    logged = store.earlier_passes(story.job.number, str(of_spot.number), MOST_PASS_NO + 1, unfit=True)
    if not logged:
        raise UnknownRecord("no photo that shows its outline was logged", "Log one first", f"spot {of_spot.number}")
    latest = logged[-1]
    base = ready(archived_photos(latest.photos, archive, settings)[0], settings)
    look = partial(look_again, archive=archive, model=model, settings=settings)
    again = (looked_at_again(one, None if one is latest else base, look, settings) for one in logged[-MOST_PASSES:])
    name = f"spot {of_spot.number}" + (f", {of_spot.name}" if of_spot.name else "")
    return draw_history(
        [_picture(one) for one in again],
        title=f"{story.job.number}, {name}",
        persisting=[] if latest.since is None else [_ringed(patch) for patch in latest.since.persisting],
    )


def _ringed(patch: PersistingRecord) -> tuple[NDArray[np.float64], str]:
    area = "" if patch.area_mm2 is None else f", {patch.area_mm2:.0f} mm²"
    return np.array(patch.outline, np.float64), f"residue in {patch.passes} passes, from pass {patch.since} on{area}"


def archived_photos(photos: Sequence[PhotoRecord], archive: Archive, settings: Settings) -> list[Photo]:
    """Read the photo, set or clip of a logged record from its archived bytes, without scale; errors as in `look_again`."""
    if photos[0].format in _CLIP_FORMATS:
        return list(clip_from_bytes(archive.get(photos[0].sha256), photos[0].name, settings))
    return [from_bytes(archive.get(photo.sha256), photo.name, settings) for photo in photos]


def _laid_over(again: list[Again]) -> tuple[list[EarlierPass], str]:
    """Return the passes that lie on the new photo, none where the last one does not, with the reason."""
    last = again[-1].lies
    if isinstance(last, NotAligned):
        return [], last.reason
    passes = [
        EarlierPass(one.earlier.pass_no, one.inspection.surface, one.lies)
        for one in again
        if isinstance(one.lies, Alignment)
    ]
    return passes, ""


def _number(
    spots: list[Spot],
    asked: int | None,
    last: EarlierInspection,
    surface: SurfaceMap,
    found: list[EarlierPass] | None,
    why: str,
    name: str,
    settings: Settings,
) -> int:
    """Return the outline of the job's spot: as asked, the only one, or the one where the last pass had it."""
    if asked is not None or len(spots) == 1:
        return spots[0].number if asked is None else asked
    numbers = ", ".join(str(spot.number) for spot in spots)
    matrix = found[-1].alignment.matrix if found else None
    same = same_spot(np.array(last.spot.outline, np.float64), spots, surface, matrix, settings)
    if isinstance(same, AskPerson):
        what = (
            f"shows outlines {numbers}; which is the spot of pass {last.pass_no} cannot be told: {why or same.reason}"
        )
        raise ChooseOutline(what, "Say which is the job's spot", name, command="--outline")
    return same.number


def _told(
    spot: Spot, inspection: Inspection, last: EarlierInspection, found: list[EarlierPass], settings: Settings
) -> SinceLastPass:
    *older, before = found
    change = compare(
        before.surface,
        inspection.surface,
        before.alignment,
        spot,
        settings,
        plane=inspection.photo.plane,
        pass_no=last.pass_no,
        older=older,
    )
    return SinceLastPass(
        inspection=last.number,
        pass_no=last.pass_no,
        error_px=round(before.alignment.error_px, 2),
        shares=_shares(change, spot),
        areas_mm2=None if change.areas_mm2 is None else {k: round(v, 2) for k, v in change.areas_mm2.items()},
        persisting=[_persisting(patch) for patch in change.persisting],
    )


def _shares(change: Change, spot: Spot) -> dict[str, float]:
    whole = np.count_nonzero(spot.mask)
    return {name: round(np.count_nonzero(getattr(change, name)) / whole, 6) for name in CHANGES}


def _persisting(patch: PersistingPatch) -> PersistingRecord:
    return PersistingRecord(
        at=(round(patch.at[0], 1), round(patch.at[1], 1)),
        area_px=round(patch.area_px),
        area_mm2=None if patch.area_mm2 is None else round(patch.area_mm2, 2),
        since=patch.since,
        passes=patch.passes,
        probability=round(patch.probability, 4),
        outline=[(round(float(x), 1), round(float(y), 1)) for x, y in patch.outline],
    )


def _picture(again: Again) -> PassPicture:
    one, photo = again.earlier, again.inspection.photo
    lies = again.lies
    spot = one.spot
    return PassPicture(
        pass_no=one.pass_no,
        rgb=photo.rgb,
        states=again.inspection.surface.states,
        size=(photo.width, photo.height),
        to_latest=lies.matrix if isinstance(lies, Alignment) else None,
        outline=np.array(spot.outline, np.float64),
        standing=spot.standing,
        bright_share=spot.bright_share,
        interval=spot.interval,
        when=one.at[:10],
    )
