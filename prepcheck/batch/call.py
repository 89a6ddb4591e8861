"""What a call of a batch says, held against photos and log before any work starts."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from prepcheck.batch.crew import Crew, Workers
from prepcheck.batch.log import Log
from prepcheck.batch.placing import Placing, read_placing
from prepcheck.batch.sets import Sets
from prepcheck.batch.sources import Most, Source, open_source, photos
from prepcheck.errors import WrongUse
from prepcheck.settings import Settings
from prepcheck.tasks import open_log

if TYPE_CHECKING:
    from prepcheck.store import StoreAddress


@dataclass(frozen=True)
class Said:
    """What a call says of places in the log.

    Parameters
    ----------
    places : mapping of str to str or None
        Job, spot and person for all photos.
    names : str or None
        Pattern of file names.
    sidecar : Path or None
        Table beside the photos.
    new_people : bool
        Whether names of people may be new to the log.
    photos_come : bool
        Whether there may be no photo with a place yet.
    """

    places: Mapping[str, str | None]
    names: str | None = None
    sidecar: Path | None = None
    new_people: bool = False
    photos_come: bool = False

    def read(self) -> Placing:
        """Read pattern and table; `WrongUse` when they cannot be used."""
        return read_placing(call=self.places, names=self.names, sidecar=self.sidecar)


def source_at(text: str, settings: Settings) -> Source:
    """Return the photos at a path or an address of an object store as a source; `WrongUse` when it is none."""
    from prepcheck.archive.bucket import is_address

    most = Most(settings.photo.max_bytes, settings.clip.max_bytes)
    if is_address(text):
        from prepcheck.batch.objects import open_objects

        return open_objects(text, most)
    return open_source(Path(text), most)


def in_sets(source: Source, placing: Placing) -> Source:
    """Return a source in which the photos that a table puts together are one item."""
    return Sets(source, placing.sets) if placing.sets else source


def crew_of(workers: int | None, cluster: str | None, keys: Path | None) -> Crew:
    """Return who works: a cluster, or `workers` processes of this machine, one for each core when None.

    Raises
    ------
    WrongUse, ClusterFault
        The cluster may not be spoken to, or does not answer; or both are asked for.
    """
    if cluster is None:
        return Workers(workers or os.cpu_count() or 1)
    if workers is not None:
        raise WrongUse("a cluster has its own workers", "Leave out --workers", cluster)
    from prepcheck.batch.cluster import Cluster

    return Cluster(cluster, keys)


def checked_log(
    said: Said, placing: Placing, source: Source, store: Path | StoreAddress | None, settings: Settings
) -> Log | None:
    """Open the log if the call names places in it, and hold all of it against photos and log; None when it names none.

    Raises
    ------
    WrongUse, UnknownRecord, StoreFault
        Something cannot be logged as it is said, no photo has a place, or the log cannot be opened.
    """
    if not placing.says_anything:
        placing.check(photos(source), None, new_people=True, photos_come=said.photos_come)
        return None
    log, archive = open_log(store, settings, create=False)
    placed = placing.check(photos(source), log, new_people=said.new_people, photos_come=said.photos_come)
    if not placed and not said.photos_come:
        what = "no photo has all of job, spot and person"
        raise WrongUse(what, "Say them with --job, --spot and --person, --names or --sidecar", source.name)
    return Log(log, archive, placing)
