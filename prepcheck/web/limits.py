"""What one phone and all phones together may ask for, each with its reason."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Rate:
    """`burst` requests at once, then `per_minute`; requests for different things are counted apart."""

    burst: int
    per_minute: float
    what: str = ""


@dataclass(frozen=True)
class WebLimits:
    """Limits of the page. Bytes and pixels of one photo or clip are in the settings.

    Parameters
    ----------
    small_body : int
        Bytes of a form or of JSON: ten times what the longest note with drawn outlines needs.
    bag_body : int
        Bytes of a sealed bag that is brought for checking.
    uploads_open : int
        Uploads that are not logged yet, of all phones: what a day's queue of a shop holds.
    uploads_bytes : int
        Bytes of these together, so that a disk is not filled by a mistake.
    free_bytes : int
        Bytes that must stay free on the disk for the log itself.
    upload_hours : float
        Hours after which an upload that nobody goes on with is removed; a phone's queue over a long weekend fits.
    idle_seconds : float
        A body that stands still for so long is given up; what came is kept.
    piece_bytes : int
        Bytes of an upload between two syncs: what a dead battery of the laptop costs at most.
    waiting : int
        Photos that wait for inspection.
    workers : int
        Inspections at the same time; each process needs about 0.4 GB.
    wait_seconds : float
        How long a question for progress may be held until something changes.
    session_days, sign_in_hours, pairing_minutes : float
        A paired phone is asked again once a month, a person once a shift; a link to pair lies open only for a moment.
    asked, signing_in, pairing, uploading : Rate
        Of one phone: any page or picture; PINs; links to pair; new uploads.
    """

    small_body: int = 1_000_000
    bag_body: int = 500_000_000
    uploads_open: int = 400
    uploads_bytes: int = 8_000_000_000
    free_bytes: int = 200_000_000
    upload_hours: float = 96.0
    idle_seconds: float = 30.0
    piece_bytes: int = 4_000_000
    waiting: int = 400
    workers: int = 2
    wait_seconds: float = 10.0
    session_days: float = 30.0
    sign_in_hours: float = 12.0
    pairing_minutes: float = 10.0
    asked: Rate = Rate(200, 1200.0, "anything")
    signing_in: Rate = Rate(8, 6.0, "signing in")
    pairing: Rate = Rate(8, 6.0, "pairing")
    uploading: Rate = Rate(100, 120.0, "uploads")


class Buckets:
    """Counts requests by who asks; `seconds` is a clock that only goes forward."""

    _MOST = 10_000

    def __init__(self, seconds: Callable[[], float]) -> None:
        self._seconds = seconds
        self._left: dict[tuple[Rate, str], tuple[float, float]] = {}
        self._lock = threading.Lock()

    def wait(self, rate: Rate, who: str) -> float:
        """Count one request and return 0; or the seconds to wait when there were too many, without counting it."""
        now, per_second = self._seconds(), rate.per_minute / 60
        with self._lock:
            left, at = self._left.get((rate, who), (float(rate.burst), now))
            left = min(float(rate.burst), left + (now - at) * per_second)
            taken = left >= 1
            self._forget(now)
            self._left[rate, who] = (left - 1 if taken else left, now)
        return 0.0 if taken else (1 - left) / per_second

    def _forget(self, now: float) -> None:
        """Forget who has long been quiet, so that no number of addresses fills the memory."""
        if len(self._left) >= self._MOST:
            recent = sorted(self._left.items(), key=lambda one: one[1][1])[self._MOST // 2 :]
            self._left = dict(recent)
