"""Every threshold of prepcheck: frozen, with unit, reason and source, and with its own hash.

A settings file is TOML with the group names below as tables::

    [score]
    residue_limit = 0.03
"""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from prepcheck.errors import BadSettings
from prepcheck.own_file import first_fault, read_text

COMMON = "common practice, no source"
OWN = "own choice, see reason"
T = TypeVar("T", int, float, str)
_MOST_BYTES = 16_000
"""Of a settings file: ten times what all settings together need; a parser of TOML takes long over nested names."""


def threshold(
    value: T, *, unit: str, reason: str, source: str = OWN, low: float | None = None, high: float | None = None
) -> T:
    """Declare one setting with its default `value`, `unit`, `reason`, `source` and allowed range (both ends included).

    `low` and `high` bound the value of numbers; for text they bound nothing.
    """
    field: T = Field(value, ge=low, le=high, description=reason, json_schema_extra={"unit": unit, "source": source})
    return field


class Group(BaseModel):
    """A frozen group of settings; unknown names and values of another type are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class PhotoSettings(Group):
    """Limits on what is read."""

    max_bytes: int = threshold(
        150_000_000,
        unit="byte",
        low=1,
        reason="a 200 MP JPEG at high quality stays below 100 MB; more is no phone photo",
    )
    max_pixels_jpeg: int = threshold(
        200_000_000, unit="px", low=1, reason="largest phone sensors; JPEG is decoded reduced, so memory stays bounded"
    )
    max_pixels_other: int = threshold(
        60_000_000, unit="px", low=1, reason="formats that must be decoded whole; 60 MP is 180 MB of pixels"
    )
    detail_px: int = threshold(
        2560,
        unit="px",
        low=640,
        high=8192,
        reason="long side of the raster kept for card and sharpness: markers of a card at 5 % of the width stay readable",
    )
    working_px: int = threshold(
        1280, unit="px", low=320, high=4096, reason="long side seen by the model: what it was trained on"
    )
    smoothing_px: float = threshold(
        1.5,
        unit="px of the map",
        low=0.0,
        high=10.0,
        reason="spread (standard deviation) over which the model's chances are averaged: on 80 own pictures, not those"
        " reported on, 1.2 to 2 px took false patches from 4.9 to 3.2 to 2.5 a photo and patch recall from 0.47 to 0.45",
    )


class FitnessSettings(Group):
    """When a photo is fit to be judged."""

    blur_px: float = threshold(
        1.5,
        unit="px at working size",
        low=0.0,
        high=20.0,
        reason="between the sharpest 98 % of 88 workshop photographs (up to 1.4) and their copies blurred by 2 px (from 1.55)",
    )
    dark_level: float = threshold(
        40.0,
        unit="of 255",
        low=0.0,
        high=255.0,
        reason="below, in linear light 2 % of white, noise of a phone hides scratches",
    )
    white_share: float = threshold(
        0.75, unit="share of picture", low=0.0, high=1.0, reason="a part before a white wall still shows in the rest"
    )
    burnt_share: float = threshold(
        0.25,
        unit="share of the spots",
        low=0.0,
        high=1.0,
        reason="with more than that unseen no spot can be called bright",
    )
    cast_degrees: float = threshold(
        15.0,
        unit="degree in linear RGB",
        low=0.0,
        high=60.0,
        reason="of 88 workshop photographs 7 lie above, of their copies in uncorrected lamp light (2856 K) 86",
    )
    patch_px: float = threshold(
        4.0, unit="px at working size", low=1.0, reason="a patch as long as the limit must be resolved"
    )


class CardSettings(Group):
    """The scale card."""

    check_line_mm: float = threshold(
        100.0, unit="mm", low=90.0, high=110.0, reason="true length of the printed checking line: measure it"
    )
    print_error: float = threshold(
        0.003,
        unit="share of a length",
        low=0.0,
        high=0.1,
        reason="what a ruler read to a quarter of a millimetre leaves open on the 100 mm checking line",
    )
    least_markers: int = threshold(
        3, unit="of 4 markers", low=2, high=4, reason="one corner may be covered; two leave the tilt open"
    )
    most_misfit: float = threshold(
        0.01,
        unit="share of a marker's side",
        low=0.0,
        high=1.0,
        reason="a card bent to a radius of 150 mm is off by as much, and its lengths are wrong by 0.8 %",
    )
    most_misfit_px: float = threshold(
        0.6,
        unit="px of the detail raster",
        low=0.0,
        reason="twice the error of a corner measured in blurred pictures; counts where markers are small",
    )
    most_error: float = threshold(
        0.03,
        unit="share of a length, standard deviation, beside the card",
        low=0.0,
        high=1.0,
        reason="a patch limit of 3 mm then means 2.8 to 3.2 mm, about what a person measures with a ruler",
    )
    most_error_middle: float = threshold(
        0.1,
        unit="share of a length, standard deviation, in the middle of the picture",
        low=0.0,
        high=1.0,
        reason="a card small and far from the middle hardly shows its tilt; beyond this the number misleads",
    )
    stated_error: float = threshold(
        0.02, unit="share of a length", low=0.0, high=1.0, reason="what a person reads off a ruler in the photo"
    )
    most_difference: float = threshold(
        0.05, unit="share of a length", low=0.0, high=1.0, reason="a print shrunk to fit the page is off by as much"
    )


class SpotSettings(Group):
    """How ground spots are outlined."""

    ground_probability: float = threshold(
        0.5, unit="probability", low=0.0, high=1.0, reason="a pixel belongs to a spot when that is more likely than not"
    )
    bridge_share: float = threshold(
        0.004,
        unit="share of the long side",
        low=0.0,
        high=0.1,
        reason="gaps and bumps narrower than this do not split or grow a spot; about 5 px at working size",
    )
    least_share: float = threshold(
        0.004, unit="share of picture", low=0.0, high=1.0, reason="smaller finds are specks, not spots"
    )
    most_share: float = threshold(
        0.9,
        unit="share of picture",
        low=0.1,
        high=1.0,
        reason="a spot's edge must be seen; pictures of even textures (brick, gravel, fabric) are taken for one large spot",
    )
    least_width_px: float = threshold(
        64.0, unit="px at working size", low=1.0, reason="below this a 3 mm patch in a 50 mm spot has under 4 px"
    )
    most_spots: int = threshold(20, unit="spots", low=1, high=254, reason="numbers fit the 8-bit spot map")


class FollowSettings(Group):
    """How a spot is followed from grinding pass to pass."""

    tolerance_px: float = threshold(
        2.0,
        unit="px at working size",
        low=0.0,
        high=20.0,
        reason="passes are laid over each other no better than this; a change within it of an edge is no change",
    )
    same_overlap: float = threshold(
        0.3,
        unit="share of the union of both outlines",
        low=0.0,
        high=1.0,
        reason="a spot may grow threefold by grinding on; below, a person says which spot it is",
    )
    same_lead: float = threshold(
        2.0, unit="times the next best overlap", low=1.0, reason="two spots that overlap alike cannot be told apart"
    )
    sure_probability: float = threshold(
        0.8,
        unit="probability",
        low=0.5,
        high=1.0,
        reason="residue has to be so sure in each pass: on 50 made-up sequences 2 false patches, at 0.7 there were 5",
    )
    stay_overlap: float = threshold(
        0.3,
        unit="share of the smaller patch",
        low=0.0,
        high=1.0,
        reason="patches that only touch are two; a patch that shrinks stays the same one",
    )
    least_patch_mm2: float = threshold(
        3.0,
        unit="mm2",
        low=0.0,
        reason="smaller places are no patches in the measures either",
        source="design, section 4",
    )
    least_patch_px: float = threshold(
        60.0,
        unit="square px at working size",
        low=1.0,
        reason="stands in where no scale is known: 3 mm2 at 0.22 mm per px",
    )


class ScoreSettings(Group):
    """The standing rule (design, section 3)."""

    residue_limit: float = threshold(
        0.05,
        unit="share of the worst unit area",
        low=0.0,
        high=1.0,
        reason="nearest published limit for non-ferrous metal; made for blast cleaning, so a default and not a grade",
        source="SSPC-SP 17 (2019), colour variation on at most 5 % of each unit area",
    )
    patch_limit_mm: float = threshold(
        3.0, unit="mm", low=0.0, reason="a patch of the size of a weld pool's edge reaches the pool", source=COMMON
    )
    patch_limit_share: float = threshold(
        0.1,
        unit="share of the spot's width",
        low=0.0,
        high=1.0,
        reason="stands in for the limit in mm when no scale is known: about 3 mm in a spot of 30 mm",
    )
    unit_area_mm: float = threshold(
        76.0,
        unit="mm, side of the square tile",
        low=1.0,
        reason="the tile by which the worst place is judged",
        source="SSPC-SP 15 (2012) section 2.3, 76 x 76 mm; the 2004 edition says 80 x 80 mm",
    )
    sure_patch_probability: float = threshold(
        0.9,
        unit="probability",
        low=0.5,
        high=1.0,
        reason="a patch is sure when a connected core of it, each pixel at least so probable, is over the limit",
    )
    burnt_level: int = threshold(
        250, unit="of 255, all channels", low=1, high=255, reason="at and above, the sensor recorded no surface",
        source="design, section 4",
    )  # fmt: skip


class AlignSettings(Group):
    """When one photo may be laid over another."""

    most_error_px: float = threshold(
        3.0,
        unit="px at working size, estimated, root mean square",
        low=0.1,
        high=20.0,
        reason="a patch of 3 mm is 14 px long at 0.22 mm per px; laid a fifth of that off it still lies on itself",
    )
    least_matches: int = threshold(
        12, unit="places that agree", low=5, reason="a homography has eight unknowns, and each place tells two"
    )
    least_share: float = threshold(
        0.25,
        unit="share of the places found",
        low=0.0,
        high=1.0,
        reason="by chance a place is found within 3 px of where it should be in one of 15 cases",
    )
    least_overlap: float = threshold(
        0.3, unit="share of the first photo", low=0.0, high=1.0, reason="less is another view, not a shaken hand"
    )
    most_scale: float = threshold(
        2.5, unit="times", low=1.0, high=10.0, reason="from farther away scratches are no longer resolved"
    )


class MovedLightSettings(Group):
    """When photos of one view count as taken under a moved light."""

    least_moved: float = threshold(
        0.045,
        unit="1 - correlation of shading between two photos",
        low=0.0,
        high=2.0,
        reason="best parts moved from still torches in own sets; below it a second photo tells little more than the first",
    )


class ClipSettings(Group):
    """Limits on a clip of a torch sweep, held against what it says before any frame is decoded, and while decoding."""

    max_bytes: int = threshold(
        400_000_000, unit="byte", low=1, reason="30 s of 4K at 100 Mbit/s; a sweep of 5 s in 1080p is 10 to 20 MB"
    )
    max_seconds: float = threshold(
        30.0, unit="s", low=1.0, high=600.0, reason="a sweep takes some 5 s; every second costs decoding"
    )
    max_frames: int = threshold(
        1800, unit="frames", low=2, reason="30 s at 60 frames a second; bounds the work where times are wrong"
    )
    max_pixels: int = threshold(
        9_000_000,
        unit="px of a frame",
        low=1,
        reason="4K is 8.3 or 8.8 million; more is four times the work, not detail",
    )


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


class Settings(Group):
    """All settings. Give it to every step; its hash is part of each result's origin."""

    photo: PhotoSettings = PhotoSettings()
    fitness: FitnessSettings = FitnessSettings()
    card: CardSettings = CardSettings()
    spot: SpotSettings = SpotSettings()
    follow: FollowSettings = FollowSettings()
    score: ScoreSettings = ScoreSettings()
    align: AlignSettings = AlignSettings()
    moved_light: MovedLightSettings = MovedLightSettings()
    clip: ClipSettings = ClipSettings()
    clearing: ClearingSettings = ClearingSettings()
    wall: WallSettings = WallSettings()
    weld: WeldSettings = WeldSettings()
    leak: LeakSettings = LeakSettings()
    store: StoreSettings = StoreSettings()
    steps: StepSettings = StepSettings()
    people: PeopleSettings = PeopleSettings()

    def digest(self) -> str:
        """SHA-256 (hex) of the canonical JSON (RFC 8785) of all values."""
        import rfc8785

        return hashlib.sha256(rfc8785.dumps(self.model_dump())).hexdigest()


def load(path: Path | None) -> Settings:
    """Read a TOML settings file over the defaults; None gives the defaults.

    Raises
    ------
    BadSettings
        The file cannot be read, is no TOML, names a setting that does not exist, or a value is out of range.
    """
    if path is None:
        return Settings()
    text = read_text(path, _MOST_BYTES, BadSettings)
    try:
        return Settings.model_validate(tomllib.loads(text))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise BadSettings(f"is no TOML file ({error})", "Mend the file", str(path)) from error
    except ValidationError as error:
        raise BadSettings(first_fault(error), "Mend the file", str(path)) from error
