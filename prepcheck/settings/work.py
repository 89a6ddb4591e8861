"""Settings of the welder's work: the air in a vessel, wall, weld and leak test."""

from __future__ import annotations

from prepcheck.settings.setting import COMMON, Group, threshold


class ClearingSettings(Group):
    """Limits on the air in a vessel before hot work, and on what counts as evidence for them.

    Figures from memory stand here as the shop's own choice: it may be stricter, and its source says what it rests on.
    """

    oxygen_least: float = threshold(
        19.5,
        unit="% by volume",
        low=19.5,
        high=20.9,
        reason="below, a ventilated vessel lacks air",
        source="29 CFR 1915.12, seen",
    )
    oxygen_most: float = threshold(
        22.0,
        unit="% by volume, reached is too much",
        low=20.9,
        high=22.0,
        reason="more oxygen makes everything burn harder; the lower of two published limits, for hot work",
        source="29 CFR 1915.12, from memory; 29 CFR 1910.146 says 23.5, seen on a weak page only",
    )
    flammable_most: float = threshold(
        10.0,
        unit="% LEL, reached is too much",
        low=0.1,
        high=10.0,
        reason="a tenth of what can burn, for entry and cold work; any vapour still has a cause",
        source="29 CFR 1915.13, seen",
    )
    oxygen_target: float = threshold(
        8.0,
        unit="% by volume in an inerted vessel, reached is too much",
        low=0.1,
        high=8.0,
        reason="published targets disagree (6.0 to 8 %); where hydrogen may be, none of them holds",
        source="IMO inert gas text, 8 %, seen",
    )
    water_gap_most_mm: float = threshold(
        30.0,
        unit="mm from weld to water",
        low=1.0,
        high=30.0,
        reason="what is not water is vapour space",
        source="a gas supplier's safety text, 25 to 30 mm, seen",
    )
    reading_age_min: float = threshold(
        30.0,
        unit="min",
        low=1.0,
        high=480.0,
        reason="air in a vessel changes; warming metal frees vapour",
        source=COMMON,
    )
    calibration_days: float = threshold(
        183.0, unit="days, where no due date is told", low=1.0, high=366.0, reason="half a year", source=COMMON
    )
    least_places: int = threshold(
        2,
        unit="places",
        low=1,
        high=20,
        reason="one place does not tell of a baffled vessel",
        source="API 1604 as copied by a county, seen, without a number; the number is common practice",
    )
    least_heights: int = threshold(
        2, unit="heights", low=1, high=10, reason="petrol vapour lies low, hydrogen gathers high", source=COMMON
    )


class WallSettings(Group):
    """Wall left under a ground spot, and what fills it again."""

    minimum_mm: float = threshold(
        0.0,
        unit="mm, 0 for none",
        low=0.0,
        high=100.0,
        reason="the shop's own least wall; published ones differ by regime, so the shop picks",
    )
    gauge_error_mm: float = threshold(
        0.1,
        unit="mm, 95 % half width",
        low=0.0,
        high=10.0,
        reason="stands in where the error of the thickness gauge was not told",
        source=COMMON,
    )
    depth_error_mm: float = threshold(
        0.2,
        unit="mm, 95 % half width",
        low=0.0,
        high=10.0,
        reason="stands in where the error of the depth gauge was not told: a ground-out has no flat floor",
        source=COMMON,
    )
    nominal_error_share: float = threshold(
        0.05,
        unit="share of the nominal wall, 95 % half width",
        low=0.0,
        high=0.5,
        reason="plate is rolled to a tolerance, and the far side has worn unseen",
        source=COMMON,
    )
    overfill_share: float = threshold(
        0.25, unit="share of the volume", low=0.0, high=5.0, reason="the cap that is dressed flush", source=COMMON
    )
    filler_loss_share: float = threshold(
        0.15, unit="share of the rod", low=0.0, high=0.9, reason="stub ends and drops", source=COMMON
    )
    rod_mm: float = threshold(
        2.4, unit="mm, diameter", low=0.5, high=10.0, reason="the usual rod for 3 mm plate", source=COMMON
    )
    rod_length_mm: float = threshold(
        914.4, unit="mm", low=50.0, high=5000.0, reason="rods are sold in 36 in; 1000 mm elsewhere", source=COMMON
    )
    fill_least_share: float = threshold(
        0.5,
        unit="share of the nominal wall",
        low=0.0,
        high=1.0,
        reason="with less left the arc falls through before the pool forms: the shop's own line to a patch plate",
        source=COMMON,
    )
    fill_most_area_mm2: float = threshold(
        2500.0,
        unit="mm2",
        low=0.0,
        reason="larger fills draw the plate out of shape: the shop's own line to a patch plate, 50 x 50 mm",
        source=COMMON,
    )


class WeldSettings(Group):
    """Starting values for welding; the shop's qualified procedure rules."""

    rule_most_mm: float = threshold(
        6.0,
        unit="mm",
        low=1.0,
        high=25.0,
        reason="above, the rule of 1 A per 0.001 in reads below the handbook bands for fillets",
        source="own comparison of three handbook tables with the rule, computed",
    )
    post_flow_a_per_s: float = threshold(
        10.0,
        unit="A per s of post-flow",
        low=1.0,
        high=100.0,
        reason="the tungsten and the end crater cool under gas",
        source="trade rule, from memory; one machine's handbook says 2 s, seen",
    )
    post_flow_least_s: float = threshold(
        8.0,
        unit="s",
        low=0.0,
        high=60.0,
        reason="also after short welds at a small current",
        source="trade rule, from memory; one machine's handbook says 2 s, seen",
    )
    arc_efficiency: float = threshold(
        0.6,
        unit="share",
        low=0.05,
        high=1.0,
        reason="share of the arc's power that reaches the plate, TIG",
        source="EN 1011-1, from memory",
    )
    margin_mm: float = threshold(
        25.0,
        unit="mm each side of the weld",
        low=0.0,
        high=500.0,
        reason="arc cleaning reaches only 1 to 3 mm, so what lies beyond has to be clean before",
        source="shop practice, from memory",
    )


class LeakSettings(Group):
    """Pressure tests and what a pressure watched over time can tell."""

    gas_most_kpa: float = threshold(
        35.0,
        unit="kPa, gauge",
        low=1.0,
        high=1000.0,
        reason="a thin tank with flat sides is no pressure vessel; 5 psig is the most that the texts seen put into one",
        source="46 CFR 182.435 and 119.435, 35 kPa (5 psig), seen; API 1604 as copied by a county, 5 psig, seen",
    )
    gauge_error_pa: float = threshold(
        200.0,
        unit="Pa, 95 % half width of one reading",
        low=0.0,
        reason="stands in where the error was not told: 1 % of a 3 psi gauge",
        source=COMMON,
    )
    temperature_error_k: float = threshold(
        0.5,
        unit="K, 95 % half width of one reading",
        low=0.0,
        high=50.0,
        reason="stands in where the error was not told: the gas is not quite as warm as the skin",
        source=COMMON,
    )
    ambient_error_pa: float = threshold(
        100.0,
        unit="Pa, 95 % half width",
        low=0.0,
        high=10_000.0,
        reason="what the weather may change in an hour, where the air pressure was not read at both times",
        source=COMMON,
    )
