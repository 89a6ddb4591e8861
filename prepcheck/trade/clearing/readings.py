"""The gate of a vessel's condition: what speaks against it in the readings. It never says that work may start."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from prepcheck.errors import WrongUse
from prepcheck.settings import ClearingSettings
from prepcheck.trade.clearing.conditions import CHECKS
from prepcheck.trade.clearing.evidence import Evidence, gather
from prepcheck.trade.clearing.limits import WHO_CERTIFIES
from prepcheck.trade.clearing.meters import check_meters, check_times
from prepcheck.trade.entries import Certificate, GasReading, VesselCondition
from prepcheck.trade.facts import Remark, Weight
from prepcheck.trade.units import System

WITHIN_LIMITS = (
    "Readings within the limits entered, in this condition, at these places, at this time; "
    "whoever the law names decides"
)
"""The strongest that is ever said."""
_HEAVIEST = (Weight.HOLD, Weight.WARN, Weight.NOTE)


def check_readings(
    condition: VesselCondition,
    readings: Sequence[GasReading],
    now: datetime,
    settings: ClearingSettings,
    system: System = System.METRIC,
) -> tuple[Remark, ...]:
    """Hold the readings against what their condition asks for.

    Parameters
    ----------
    condition : VesselCondition
        Ventilated, inerted or water-filled, since when.
    readings : sequence of GasReading
        All of the job, in any order. Of each gas the latest at a place and height counts; what was taken before the
        condition is set aside.
    now : datetime
        With an offset.
    settings : ClearingSettings
        The shop's limits; each says what it rests on.
    system : System
        Units in which remarks tell lengths.

    Returns
    -------
    tuple of Remark
        Heaviest first, and of those what the air holds before what to measure and to enter. Figures from memory never hold.
        Without a hold, one note says `WITHIN_LIMITS` with condition, places and times.

    Raises
    ------
    WrongUse
        `now` has no offset.
    """
    if now.tzinfo is None:
        raise WrongUse("the time of the check has no offset", "Give it one")
    evidence = gather(condition, readings, now, system)
    remarks = (
        *CHECKS[condition.condition](condition, evidence, settings),
        *check_times(condition, evidence, now, settings),
        *check_meters(evidence, settings),
    )
    ordered = tuple(sorted(remarks, key=lambda one: _HEAVIEST.index(one.weight)))
    held = any(one.weight is Weight.HOLD for one in ordered)
    return ordered if held else (*ordered, *_outcome(condition, evidence, settings))


def check_certificate(certificate: Certificate | None, condition: VesselCondition, now: datetime) -> tuple[Remark, ...]:
    """Say what is missing of who certified the vessel, under the rule that the user names (29 CFR 1915.14, seen)."""
    if certificate is None:
        text = "Nobody is entered who tested and certified the vessel, nor the rule that asks for it."
        return (Remark("certificate_missing", Weight.WARN, text, WHO_CERTIFIES),)
    if certificate.at > now:
        return (
            Remark("certificate_from_the_future", Weight.HOLD, "The certificate is later than now; set the clock."),
        )
    if certificate.at < condition.at:
        text = "The certificate is older than this condition; it was given for another."
        return (Remark("certificate_before_condition", Weight.HOLD, text),)
    return ()


def _outcome(condition: VesselCondition, evidence: Evidence, settings: ClearingSettings) -> tuple[Remark, ...]:
    times = [one.taken_at for one in evidence.current]
    places = dict.fromkeys(one.place for one in evidence.current if one.place)
    detail = f"{WITHIN_LIMITS}. Condition: {condition.condition.value}"
    if times:
        again = min(times) + timedelta(minutes=settings.reading_age_min)
        detail += f". Places: {', '.join(places)}. Measured {min(times):%H:%M} to {max(times):%H:%M}"
        detail += f"; measure again by {again:%H:%M}, and after every break"
    return (Remark("readings_within_limits", Weight.NOTE, f"{detail}."),)
