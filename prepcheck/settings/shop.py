"""Settings of the shop: its log, the steps of its jobs, its people, its papers."""

from __future__ import annotations

from typing import Literal

from prepcheck.settings.setting import COMMON, Group, threshold


class StoreSettings(Group):
    """The record store."""

    busy_seconds: float = threshold(
        10.0, unit="s", low=0.0, high=600.0, reason="how long to wait for another process before saying so"
    )
    near_duplicate_bits: int = threshold(
        4,
        unit="of 64 bits",
        low=0,
        high=32,
        reason="difference of picture hashes up to which two pictures look the same",
    )


class StepSettings(Group):
    """The steps of a job."""

    clean_to_weld_hours: float = threshold(
        4.0,
        unit="h",
        low=0.25,
        high=24.0,
        reason="the oxide grows again; clean only what can be welded in 4 to 5 h, what lay overnight is cleaned again",
        source="Mathers, The Welding of Aluminium and its Alloys, p. 68, seen; limits of 8 h, 24 h or one shift are told from"
        " memory only",
    )
    clock_slack_s: float = threshold(
        120.0,
        unit="s",
        low=0.0,
        high=3600.0,
        reason="two clocks in a shop differ by as much; beyond it a time lies in the future, or a clock was moved back",
        source=COMMON,
    )


class PeopleSettings(Group):
    """PINs of people. They keep hands off by mistake; who can write the log's file can do without one."""

    pin_least: int = threshold(
        4, unit="characters", low=4, high=32, reason="what a person in gloves still types", source=COMMON
    )
    wrong_pins: int = threshold(
        5, unit="wrong PINs in a row", low=1, high=20, reason="more is guessing, not a slip", source=COMMON
    )
    locked_minutes: float = threshold(
        15.0,
        unit="min after the last wrong PIN",
        low=0.1,
        high=1440.0,
        reason="guessing 10,000 PINs of four digits then takes months, and the day's work is not lost",
        source=COMMON,
    )
    hash_passes: int = threshold(
        3,
        unit="passes of Argon2id",
        low=1,
        high=100,
        reason="second recommended option",
        source="RFC 9106, from memory",
    )
    hash_memory_kib: int = threshold(
        65_536,
        unit="KiB",
        low=64,
        high=1_048_576,
        reason="second recommended option, 64 MiB: a tenth of a second on a shop's computer",
        source="RFC 9106, from memory",
    )
    hash_lanes: int = threshold(
        4, unit="lanes", low=1, high=64, reason="second recommended option", source="RFC 9106, from memory"
    )


class ShopFitSettings(Group):
    """A shop's own fit of the tool's last calibration, from counted points and brushed corrections."""

    least_photos: int = threshold(
        10,
        unit="photos that do not show the same",
        low=4,
        high=1000,
        reason="the proof leaves each photo out in turn and draws photos anew; of fewer, one photo decides",
    )
    least_each: int = threshold(
        50,
        unit="points of bright metal, and of residue",
        low=10,
        high=100_000,
        reason="one point in fifty called bright that is not is 2 %: fewer cannot show whether that rises",
    )
    independent_points: float = threshold(
        10.0,
        unit="points a photo",
        low=1.0,
        high=1000.0,
        reason="points of one photo share its light and metal: however many there are, a photo weighs as much as so many at most",
    )
    slope_spread: float = threshold(
        0.3,
        unit="standard deviation around 1",
        low=0.01,
        high=2.0,
        reason="pulls to no change: the model was calibrated on far more pictures than one shop has",
    )
    shift_spread: float = threshold(
        0.5,
        unit="nats around 0",
        low=0.01,
        high=2.0,
        reason="pulls to no change: odds 1.6 times higher or lower are one standard deviation",
    )
    brushed_points: int = threshold(
        400,
        unit="places a brushed photo",
        low=10,
        high=10_000,
        reason="taken evenly from what was brushed; neighbours say the same, and tens of thousands of them take long",
    )
    drift_chance: float = threshold(
        0.01,
        unit="chance, in each of the checks",
        low=0.0001,
        high=0.2,
        reason="a shop looks every few weeks and there are three checks: a false alarm in some thirty looks",
    )


class ReportSettings(Group):
    """What the shop wants to read. Changes no figure, so it is no part of the settings' hash."""

    units: Literal["metric", "us"] = threshold(
        "metric",
        unit="system of units",
        reason="of plans, reports and jobs as they are shown; what is typed names its own",
    )
    paper: Literal["a4", "letter"] = threshold("a4", unit="size of paper", reason="of the report's PDF")
