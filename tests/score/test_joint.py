"""The joint line, on maps with known truth: what touches it, and the margin on each side.

The margin of 25 mm is shop practice, from memory; no published source for aluminium.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from prepcheck.score import JointLine, judge_joint, score_spot, stand
from prepcheck.score.joint import distances, judge_sides, on_plane
from prepcheck.score.patch import find_patches, patch_mask
from prepcheck.settings import ScoreSettings, Settings
from prepcheck.spot import find_spots
from prepcheck.terms import Standing, State
from tests.scenes import flat, photo_of, plate, surface_of, tilted

RULE = ScoreSettings()
LEVEL = JointLine(np.array([[60.0, 120.0], [260.0, 120.0]]))

LOWER = JointLine(np.array([[60.0, 160.0], [260.0, 160.0]]))


def ground_plate(*patches, state=State.OXIDE):
    """Make a map of 240 x 320 ground all over, with patches (y0, y1, x0, x1)."""
    states = plate(fill=State.BRIGHT)
    for y0, y1, x0, x1 in patches:
        states[y0:y1, x0:x1] = state
    return states


def sides_of(states, line=LEVEL, plane=None, ground=None, rule=RULE):
    surface = surface_of(states)
    ground = np.ones(states.shape, bool) if ground is None else ground
    found = judge_sides(line, ground, patch_mask(surface, ground), surface, plane or flat(0.5), rule)
    return {side.name: side for side in found}


def touching(states, line=LEVEL, plane=None, probability=1.0, rule=RULE):
    surface = surface_of(states, probability=probability)
    return [p for p in find_patches(surface, np.ones(states.shape, bool), plane, rule, line) if p.at_joint]


def test_a_patch_across_the_line_touches_it():
    assert len(touching(ground_plate((115, 125, 100, 110)))) == 1


def test_a_patch_beside_the_line_does_not():
    assert touching(ground_plate((130, 140, 100, 110))) == []


def test_a_patch_beyond_the_end_of_the_line_does_not():
    assert touching(ground_plate((115, 125, 270, 280))) == []


@pytest.mark.parametrize(("gap_px", "touches"), [(1, True), (2, False)])
def test_without_a_scale_only_the_next_pixel_touches(gap_px, touches):
    assert bool(touching(ground_plate((120 + gap_px, 130, 100, 110)))) is touches


@pytest.mark.parametrize(("gap_px", "touches"), [(5, True), (6, False)])
def test_with_a_scale_a_patch_within_a_millimetre_touches(gap_px, touches):
    assert bool(touching(ground_plate((120 + gap_px, 140, 100, 110)), plane=flat(0.2))) is touches


def test_a_patch_touches_surely_only_where_a_sure_core_does():
    (sure,) = touching(ground_plate((115, 125, 100, 110)), probability=0.95)
    (doubtful,) = touching(ground_plate((115, 125, 100, 110)), probability=0.85)
    assert (sure.surely_at_joint, doubtful.surely_at_joint) == (True, False)


def test_a_sure_core_away_from_the_line_leaves_the_touch_doubtful():
    surface = surface_of(ground_plate((115, 160, 100, 110)))
    surface.bright[115:140, 100:110] = 0.2
    (patch,) = find_patches(surface, np.ones((240, 320), bool), None, RULE, LEVEL)
    assert (patch.at_joint, patch.surely_at_joint) == (True, False)


def spot_in(states, probability=1.0):
    surface = surface_of(states, probability=probability)
    (spot,) = find_spots(surface, Settings())
    return spot, surface


def coated_round(*patches):
    """Make a ground square of 200 x 140 px in coating, with patches (y0, y1, x0, x1) of oxide."""
    states = plate()
    states[50:190, 60:260] = State.BRIGHT
    for y0, y1, x0, x1 in patches:
        states[y0:y1, x0:x1] = State.OXIDE
    return states


@pytest.mark.parametrize(
    ("line", "standing"),
    [(None, Standing.BRIGHT), (LEVEL, Standing.RESIDUE_LEFT), (LOWER, Standing.BRIGHT)],
    ids=["no line", "on the line", "line elsewhere"],
)
def test_a_small_patch_leaves_residue_only_at_the_joint(line, standing):
    spot, surface = spot_in(coated_round((118, 123, 150, 155)))
    score = score_spot(spot, surface, photo_of(surface, plane=flat(0.2)), RULE, line)
    assert score.standing == standing


def test_the_reason_says_that_the_joint_is_touched():
    spot, surface = spot_in(coated_round((118, 123, 150, 155)))
    score = score_spot(spot, surface, photo_of(surface, plane=flat(0.2)), RULE, LEVEL)
    assert score.reason == "a patch of residual oxide touches the joint line"


def test_a_doubtful_patch_at_the_joint_cannot_be_told():
    spot, surface = spot_in(coated_round((118, 123, 150, 155)))
    surface.bright[118:123, 150:155] = 0.3
    patches = find_patches(surface, spot.mask, flat(0.2), RULE, LEVEL)
    share = score_spot(spot, surface, photo_of(surface, plane=flat(0.2)), RULE).worst.share
    assert stand(share, patches, RULE)[0] == Standing.CANNOT_TELL


def test_the_shares_of_a_side_are_those_of_the_painted_areas():
    # 25 mm at 0.5 mm a pixel: 50 rows of 201 columns below the line; 10 x 40 px of oxide are 400 of them.
    side = sides_of(ground_plate((140, 150, 100, 140)))["below"]
    assert side.shares["residue"] == pytest.approx(400 / (50 * 201), rel=1e-3)


def test_the_area_of_a_side_is_length_times_margin():
    assert sides_of(ground_plate())["above"].area_mm2 == pytest.approx(50 * 201 * 0.25, rel=1e-6)


@pytest.mark.parametrize(
    ("points", "names"),
    [([[60, 120], [260, 120]], {"above", "below"}), ([[160, 20], [160, 220]], {"left", "right"})],
)
def test_sides_are_named_by_where_they_lie_whichever_way_the_line_is_drawn(points, names):
    for way in (1, -1):
        states = ground_plate((130, 140, 180, 190))
        sides = sides_of(states, JointLine(np.array(points, np.float64)[::way]))
        dirty = {name for name, side in sides.items() if side.shares["residue"] > 0}
        assert set(sides) == names
        assert dirty == names & {"below", "right"}


def test_what_lies_outside_the_spots_is_not_ground():
    ground = np.zeros((240, 320), bool)
    ground[:146] = True  # rows 121 to 145 of 121 to 170
    side = sides_of(ground_plate(), ground=ground)["below"]
    assert side.shares["not_ground"] == pytest.approx(0.5)
    assert side.clear_mm == pytest.approx(26 * 0.5)


def test_background_is_no_part_of_the_margin():
    states = ground_plate((146, 240, 0, 320), state=State.BACKGROUND)
    side = sides_of(states, ground=states != State.BACKGROUND)["below"]
    assert side.shares == {"bright": 1.0, "residue": 0.0, "cannot_tell": 0.0, "not_ground": 0.0}
    assert side.area_mm2 == pytest.approx(25 * 201 * 0.25)


def test_a_side_outside_the_picture_is_left_out():
    assert set(sides_of(ground_plate(), JointLine(np.array([[60.0, 0.0], [260.0, 0.0]])))) == {"below"}


def test_the_clear_width_reaches_to_the_nearest_patch():
    side = sides_of(ground_plate((140, 150, 100, 140)))["below"]
    assert side.clear_mm == pytest.approx((140 - 120) * 0.5)


def test_a_margin_without_a_patch_is_clear_as_far_as_it_is_judged():
    assert sides_of(ground_plate())["above"].clear_mm == RULE.joint_margin_mm


def test_the_margin_is_that_of_the_settings():
    narrow = RULE.model_copy(update={"joint_margin_mm": 5.0})
    assert sides_of(ground_plate((140, 150, 100, 140)), rule=narrow)["below"].shares["residue"] == 0


def test_under_tilt_the_margin_is_measured_on_the_surface():
    # Second way of computing: take pixel middles to the plane, where this line is upright, and count there.
    states = ground_plate((70, 150, 165, 185))
    plane, upright = tilted(0.5, 35), JointLine(np.array([[160.0, 40.0], [160.0, 200.0]]))
    ys, xs = np.mgrid[:240, :320]
    middles = np.column_stack([xs.ravel(), ys.ravel()]).astype(np.float64)
    (x, y), ((x0, y0), (_, y1)) = on_plane(plane, middles).T, on_plane(plane, upright.points)
    near = (x > x0) & (x <= x0 + 25) & (y >= y0) & (y <= y1)
    areas = plane.areas(middles)
    dirty = near & (states.ravel() == State.OXIDE)
    side = sides_of(states, upright, plane)["right"]
    assert side.shares["residue"] == pytest.approx(areas[dirty].sum() / areas[near].sum(), rel=1e-6)
    assert side.area_mm2 == pytest.approx(areas[near].sum(), rel=1e-6)


def test_without_a_scale_no_margin_is_judged_but_touching_is():
    spot, surface = spot_in(coated_round((118, 123, 150, 155)))
    photo = photo_of(surface)
    joint = judge_joint(LEVEL, [(spot, score_spot(spot, surface, photo, RULE, LEVEL))], surface, photo, RULE)
    assert (joint.margin_mm, joint.sides, len(joint.touching)) == (None, (), 1)


def test_the_margin_alone_changes_no_standing():
    # A margin full of small patches, none at the line and none long; the default width is from memory.
    states = coated_round(*((y, y + 3, x, x + 3) for y in (130, 150) for x in (80, 120, 160)))
    spot, surface = spot_in(states)
    with_line, without = (
        score_spot(spot, surface, photo_of(surface, plane=flat(0.2)), RULE, line) for line in (LEVEL, None)
    )
    assert (with_line.standing, with_line.reason) == (without.standing, without.reason)


POINTS = st.lists(
    st.tuples(st.floats(0, 300, width=32), st.floats(0, 200, width=32)), min_size=2, max_size=6, unique=True
)


@given(line=POINTS, at=st.tuples(st.floats(-50, 350, width=32), st.floats(-50, 250, width=32)))
@settings(max_examples=60)
def test_a_distance_is_never_more_than_to_any_place_on_the_line(line, at):
    corners, point = np.array(line, np.float64), np.array([at], np.float64)
    dense = np.concatenate([a + np.linspace(0, 1, 200)[:, None] * (b - a) for a, b in zip(corners, corners[1:])])  # noqa: B905, RUF007
    nearest = np.hypot(*(dense - point).T).min()
    off = abs(distances(corners, point)[0][0])
    assert off <= nearest + 1e-6
    assert off >= nearest - 3.0  # half a step of the dense line


def test_round_a_sharp_corner_the_outside_lies_on_one_side():
    corner = np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 1.0]])
    turn = np.linspace(-0.4 * np.pi, 0.5 * np.pi, 25)
    outside = np.array([10.0, 0.0]) + 3 * np.column_stack([np.cos(turn), np.sin(turn)])
    assert len({bool(off > 0) for off in distances(corner, outside)[0]}) == 1


def test_no_points_have_no_distances():
    assert [len(part) for part in distances(LEVEL.points, np.zeros((0, 2)))] == [0, 0]
