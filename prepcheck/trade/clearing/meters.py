"""What a reading is worth: when it was taken, with which sensor, how that was calibrated. The same in every condition."""

from __future__ import annotations

from datetime import datetime, timedelta

from prepcheck.settings import ClearingSettings
from prepcheck.trade.clearing import limits
from prepcheck.trade.clearing.evidence import Evidence, oxygen_at
from prepcheck.trade.entries import Gas, GasReading, Sensor, VesselCondition
from prepcheck.trade.facts import Mark, Remark, Weight, of_setting
from prepcheck.trade.plan import source_of

_BLIND = (Sensor.INFRARED, Sensor.PHOTOIONISATION)
_NOT_FOR_OXYGEN = (Sensor.CATALYTIC, Sensor.INFRARED, Sensor.PHOTOIONISATION)


def check_times(
    condition: VesselCondition, evidence: Evidence, now: datetime, settings: ClearingSettings
) -> tuple[Remark, ...]:
    """Look for times that cannot be, readings from before the condition, and readings that are too old."""
    age = of_setting(settings, "reading_age_min")
    old = [one for one in evidence.current if now - one.taken_at > timedelta(minutes=age.value)]
    return (
        *_condition_from_the_future(condition, now),
        *evidence.about(
            evidence.future, Weight.HOLD, "reading_from_the_future", "Set the clock right; taken later than now"
        ),
        *evidence.about(
            evidence.set_aside, Weight.NOTE, "reading_before_condition", "Set aside, taken before this condition"
        ),
        *evidence.by_figure(
            age, "reading_aged", f"Measure again there, or enter the condition anew; older than {age.value:g} min", old
        ),
    )


def _condition_from_the_future(condition: VesselCondition, now: datetime) -> tuple[Remark, ...]:
    if condition.at <= now:
        return ()
    text = f"The condition is entered for {condition.at:%Y-%m-%d %H:%M}, later than now; set the clock right."
    return (Remark("condition_from_the_future", Weight.HOLD, text),)


def check_meters(evidence: Evidence, settings: ClearingSettings) -> tuple[Remark, ...]:
    """Look at sensors, meters and calibrations of all current readings."""
    return (
        *_impossible(evidence),
        *_calibration(evidence, settings),
        *_sensors(evidence),
        *_told_about_meters(evidence),
    )


def _impossible(evidence: Evidence) -> tuple[Remark, ...]:
    odd = [one for one in evidence.current if one.value < 0 or (one.gas is Gas.OXYGEN and one.value > 100)]
    factors = [one for one in evidence.current if not 0.1 <= one.factor <= 20]
    return (
        *evidence.about(
            odd, Weight.HOLD, "reading_impossible", "No air holds this; look at the meter's zero and measure again"
        ),
        *evidence.about(factors, Weight.HOLD, "factor_impossible", "The correction factor must lie from 0.1 to 20"),
    )


def _calibration(evidence: Evidence, settings: ClearingSettings) -> tuple[Remark, ...]:
    days = of_setting(settings, "calibration_days")
    now = evidence.current
    missing = [one for one in now if one.calibrated_on is None and one.calibration_due is None]
    expired = [one for one in now if one.calibration_due is not None and one.calibration_due < one.taken_at.date()]
    later = [one for one in now if one.calibrated_on is not None and one.calibrated_on > one.taken_at.date()]
    stale = [one for one in now if _days_since_calibration(one) > days.value]
    return (
        *evidence.about(missing, Weight.HOLD, "calibration_missing", "No calibration is told"),
        *evidence.about(
            expired, Weight.HOLD, "calibration_expired", "The meter was due for calibration before it was used"
        ),
        *evidence.about(
            later, Weight.HOLD, "calibration_later", "The calibration is said to be later than the reading"
        ),
        *evidence.by_figure(
            days, "calibration_stale", f"Calibrated over {days.value:g} days before, no due date told", stale
        ),
    )


def _days_since_calibration(reading: GasReading) -> int:
    if reading.calibrated_on is None or reading.calibration_due is not None:
        return 0
    return (reading.taken_at.date() - reading.calibrated_on).days


def _sensors(evidence: Evidence) -> tuple[Remark, ...]:
    least = limits.CATALYTIC_OXYGEN
    starved = [one for one in evidence.of(Gas.FLAMMABLE) if starved_of_oxygen(one, evidence)]
    infrared = [one for one in evidence.of(Gas.FLAMMABLE) if one.sensor is Sensor.INFRARED]
    ionising = [one for one in evidence.of(Gas.FLAMMABLE) if one.sensor is Sensor.PHOTOIONISATION]
    odd = [one for one in evidence.of(Gas.OXYGEN) if one.sensor in _NOT_FOR_OXYGEN]
    refused = (
        f"No evidence: a catalytic sensor reads low or nothing under about {least.value:g} % oxygen;"
        " there it was less, or nobody measured it"
    )
    return (
        *evidence.by_figure(least, "catalytic_without_oxygen", refused, starved),
        *evidence.about(infrared, Weight.NOTE, "blind_to_hydrogen", "Infrared does not see hydrogen", source_of(least)),
        *evidence.about(
            ionising, Weight.NOTE, "blind_to_hydrogen", "Photoionisation does not see hydrogen", Mark.MEMORY.value
        ),
        *evidence.about(odd, Weight.HOLD, "no_oxygen_sensor", "This kind of sensor does not measure oxygen"),
    )


def starved_of_oxygen(reading: GasReading, evidence: Evidence) -> bool:
    """Whether a catalytic sensor had, or may have had, too little oxygen to burn what it measures."""
    if reading.sensor is not Sensor.CATALYTIC:
        return False
    oxygen = oxygen_at(reading, evidence)
    return oxygen is None or oxygen < limits.CATALYTIC_OXYGEN.value


def sees_hydrogen(reading: GasReading, evidence: Evidence) -> bool:
    """Whether `reading` would have shown hydrogen: its kind of sensor does, or its handbook was asked."""
    if reading.sensor in _BLIND or starved_of_oxygen(reading, evidence):
        return False
    return reading.sees_hydrogen if reading.sees_hydrogen is not None else reading.sensor is Sensor.CATALYTIC


def _told_about_meters(evidence: Evidence) -> tuple[Remark, ...]:
    unnamed = [one for one in evidence.current if not one.meter.strip()]
    gasless = [one for one in evidence.of(Gas.FLAMMABLE) if not one.calibration_gas.strip()]
    unknown = [one for one in evidence.of(Gas.FLAMMABLE) if one.sensor is Sensor.OTHER]
    return (
        *evidence.about(unnamed, Weight.WARN, "meter_not_named", "Nobody can look up the meter; name it"),
        *evidence.about(gasless, Weight.WARN, "calibration_gas_not_told",
               "A meter reads true for its calibration gas alone; tell which, and the factor"),
        *evidence.about(unknown, Weight.WARN, "sensor_not_told", "Tell the kind of sensor; what it is blind to is not known"),
    )  # fmt: skip
