"""Times as people type them."""

from __future__ import annotations

from datetime import datetime

from prepcheck.errors import WrongUse

HELP = 'When: "13:40" today, "2026-11-24 13:40", or with an offset; now if not told.'


def now() -> datetime:
    """Return the time of this moment, to the second, with the local offset."""
    return datetime.now().astimezone().replace(microsecond=0)


def moment(text: str | None, at: datetime, what: str) -> datetime:
    """Read a time; one without day is of the day of `at`, one without offset is local, and None is `at` itself.

    Raises
    ------
    WrongUse
        `text` is no time.
    """
    if text is None:
        return at
    written = text.strip()[:40]
    try:
        if len(written) <= 5:
            return datetime.strptime(f"{at:%Y-%m-%d} {written}", "%Y-%m-%d %H:%M").astimezone()
        found = datetime.fromisoformat(written)
        return found.astimezone() if found.tzinfo is None else found
    except (ValueError, OverflowError, OSError) as error:
        raise WrongUse(f"{what} is no time", 'Write it like "13:40" or "2026-11-24 13:40"', written) from error
