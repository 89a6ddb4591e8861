"""What is seen: photos, a clip or a set are read and inspected; nothing is logged here."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from prepcheck.errors import WrongUse, printable
from prepcheck.inspection import Inspection, settings_sha256
from prepcheck.light_set import MOST_PHOTOS
from prepcheck.looking.look import Look
from prepcheck.photo import Photo, from_bytes, read_bytes
from prepcheck.photo.clip import clip_bytes, clip_from_bytes, is_clip
from prepcheck.record import Record, record_of
from prepcheck.tasks import cached_result

if TYPE_CHECKING:
    from prepcheck.store.store import Store


@dataclass(frozen=True, eq=False)
class Received:
    """The photos of one input, and the bytes that they came in: one file each, or one clip."""

    photos: tuple[Photo, ...]
    files: tuple[bytes, ...] = field(repr=False)


@dataclass(frozen=True, eq=False)
class Sight:
    """What was seen in one input; `inspection` is None for an answer found in the log."""

    received: Received = field(repr=False)
    record: Record
    inspection: Inspection | None = field(default=None, repr=False)


def check_set(paths: Sequence[Path]) -> None:
    """Check that photos can be one moved-light set, before any is read.

    Raises
    ------
    WrongUse
        There are fewer than 2 or more than 6, or a clip is among them.
    """
    if clips := [path for path in paths if is_clip(path)]:
        raise WrongUse("a clip is a set of its own", "Give it alone", clips[0].name, command="without --moved-light")
    if not 2 <= len(paths) <= MOST_PHOTOS:
        raise WrongUse(
            f"a moved-light set has 2 to {MOST_PHOTOS} photos, not {len(paths)}",
            "Take photos of one view with the torch in different places",
        )


def see(
    paths: Sequence[Path],
    look: Look,
    store: Store | None,
    *,
    names: Sequence[str] | None = None,
    keep_maps: bool = False,
    told: Callable[[str], None] = lambda stage: None,
) -> Sight:
    """Read one photo, one clip or the photos of a set and inspect them; nothing is logged.

    Parameters
    ----------
    paths, look
        As in `look_at`.
    store : Store or None
        Where an earlier, equal answer may be found.
    names : sequence of str, optional
        Names of the photos where they are not those of the files.
    keep_maps : bool
        Whether the inspection itself is needed, so that an earlier answer will not do.
    told : callable
        Hears ``reading`` and ``looking`` as they begin.

    Raises
    ------
    BrokenInput, ModelFault
        A photo cannot be read or the model not be used.
    """
    told("reading")
    received = _receive(paths, names or [path.name for path in paths], look)
    told("looking")
    record = None if store is None or keep_maps else _from_log(received.photos, look, store)
    if record is not None:
        return Sight(received, record)
    inspection = look.inspect(received.photos)
    return Sight(received, record_of(inspection), inspection)


def received(files: Sequence[bytes], names: Sequence[str], look: Look, *, clip: bool) -> Received:
    """Read the photos in the bytes of files: one or more photos, or one clip.

    The answer for a clip bears its name, so its first frame does.

    Raises
    ------
    BrokenInput
        One cannot be read.
    """
    if clip:
        first, *others = clip_from_bytes(files[0], names[0], look.settings)
        return Received((replace(first, name=names[0]), *others), tuple(files))
    photos = [
        from_bytes(*both, look.settings, keep_position=look.keep_position) for both in zip(files, names, strict=True)
    ]
    return Received(tuple(photos), tuple(files))


def _receive(paths: Sequence[Path], names: Sequence[str], look: Look) -> Received:
    clip = len(paths) == 1 and is_clip(paths[0])
    most = look.settings.photo.max_bytes
    files = [clip_bytes(path, look.settings) if clip else read_bytes(path, most) for path in paths]
    return received(files, names, look, clip=clip)


def _from_log(photos: Sequence[Photo], look: Look, store: Store) -> Record | None:
    """Return the answer of an earlier, equal computation."""
    return cached_result(
        store,
        photos[0].sha256,
        look.model.origin.sha256,
        settings_sha256(look.settings, look.model),
        look.inputs_sha256(photos),
        name=printable(photos[0].name),
    )
