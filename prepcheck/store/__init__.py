"""The append-only record store: jobs, spots, passes, photos, inspections, people, entries, and a tree over all of it.

SQLAlchemy and Alembic are loaded when a store is opened, not when this package is imported.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from prepcheck.settings import StoreSettings
from prepcheck.store.address import LOG_FILE, StoreAddress, address_of, password_in, read_address
from prepcheck.store.faults import os_fault
from prepcheck.store.rows import (
    Disagreement,
    EarlierInspection,
    Entry,
    Job,
    JobLine,
    Leaf,
    Logged,
    LoggedEvent,
    LoggedInspection,
    NewJob,
    PassStory,
    Person,
    PinCheck,
    Seal,
    SpotStory,
    Story,
    TreeHead,
)
from prepcheck.store.words import clean, job_number

if TYPE_CHECKING:
    from prepcheck.store.store import Store

__all__ = [
    "LOG_FILE",
    "PHOTO_FOLDER",
    "Disagreement",
    "EarlierInspection",
    "Entry",
    "Job",
    "JobLine",
    "Leaf",
    "Logged",
    "LoggedEvent",
    "LoggedInspection",
    "NewJob",
    "PassStory",
    "Person",
    "PinCheck",
    "Seal",
    "SpotStory",
    "StoreAddress",
    "Story",
    "TreeHead",
    "address_of",
    "clean",
    "default_folder",
    "job_number",
    "open_store",
    "os_fault",
    "password_in",
    "read_address",
]

PHOTO_FOLDER = "photos"


def default_folder() -> Path:
    """Return the user's data folder for the log; nothing is created."""
    from platformdirs import user_data_path

    return user_data_path("prepcheck", appauthor=False)


def open_store(place: Path | StoreAddress, settings: StoreSettings, *, create: bool = True) -> Store:
    """Open the log at `place`, make it if there is none and `create` is set, and bring an older one up to date.

    Raises
    ------
    UnknownRecord
        There is no log and `create` is off.
    StoreFault
        Busy, full, newer, damaged, no log at all, or no permission: one class each where one can tell.
    """
    from prepcheck.store.store import Store

    return Store(address_of(place), settings, create=create)
