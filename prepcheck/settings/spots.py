"""Settings of what is judged: how spots are outlined, followed and scored."""

from __future__ import annotations

from prepcheck.settings.setting import COMMON, Group, threshold


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
    stay_probability: float = threshold(
        0.5,
        unit="probability",
        low=0.5,
        high=1.0,
        reason="a place belongs to a patch when oxide or a pit is more likely than not in each of the passes",
    )
    sure_probability: float = threshold(
        0.95,
        unit="probability",
        low=0.5,
        high=1.0,
        reason="a patch is told when one place of it is so sure in both passes: the least of those tried with at most 0.1 "
        "false patches a sequence, on 128 made-up sequences with eye-7: 0.06, at 0.925 there were 0.11",
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
    joint_margin_mm: float = threshold(
        25.0,
        unit="mm on each side of the joint line",
        low=1.0,
        high=500.0,
        reason="the width that is cleaned beside a weld; shown with its mark, changes no standing",
        source="shop practice, from memory",
    )
    joint_touch_mm: float = threshold(
        1.0,
        unit="mm from the joint line",
        low=0.0,
        high=25.0,
        reason="a line drawn with a finger lies about so far off; a patch so near counts as touching",
    )
    burnt_level: int = threshold(
        250, unit="of 255, all channels", low=1, high=255, reason="at and above, the sensor recorded no surface",
        source="design, section 4",
    )  # fmt: skip
