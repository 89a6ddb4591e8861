"""Following a spot from grinding pass to pass."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from prepcheck.photo.align import Alignment
from prepcheck.settings import Settings
from prepcheck.spot.follow import (
    AskPerson,
    EarlierPass,
    compare,
    persisting_patches,
    same_spot,
)
from prepcheck.spot.spot import Spot, drawn_spots, find_spots
from prepcheck.surface import SurfaceMap
from prepcheck.surface.mapping import told
from prepcheck.terms import FLAGS, State
from tests.scenes import EXACT, flat, plate, surface_of, tilted

SETTINGS = Settings()
MASKS = ("newly_bright", "still_residue", "newly_exposed", "still_bright", "not_comparable")


def moved(dx=0.0, dy=0.0, **kwargs):
    return Alignment(np.array([[1, 0, dx], [0, 1, dy], [0, 0, 1.0]]), **kwargs)


STILL = moved()


def ground(*patches, spot=(400, 300, 200), size=(600, 800)):
    """Paint a coated plate with a bright spot and patches (state, x, y, radius)."""
    states = plate(*size)
    cv2.circle(states, spot[:2], spot[2], int(State.BRIGHT), -1)
    for state, x, y, r in patches:
        cv2.circle(states, (x, y), r, int(state), -1)
    return states


def passes(first, second, alignment=STILL, *, probability=0.97, plane=None, **kwargs):
    """Compare two painted passes."""
    earlier, later = (surface_of(states, probability=probability) for states in (first, second))
    (spot,) = find_spots(later, SETTINGS)
    return compare(earlier, later, alignment, spot, SETTINGS, plane=plane, **kwargs), spot


def areas(change):
    return {name: int(getattr(change, name).sum()) for name in MASKS}


OXIDE = (State.OXIDE, 400, 300, 30)


def test_oxide_that_was_ground_off_is_newly_bright():
    change, _ = passes(ground(OXIDE), ground())
    assert change.newly_bright.sum() == pytest.approx(np.pi * 30**2, rel=0.05)


def test_oxide_that_stayed_is_still_residue():
    change, _ = passes(ground(OXIDE), ground(OXIDE))
    assert change.still_residue.sum() == pytest.approx(np.pi * 30**2, rel=0.05)
    assert not change.newly_bright.any()
    assert not change.newly_exposed.any()


@pytest.mark.parametrize("state", [State.OXIDE, State.PIT])
def test_what_comes_up_in_bright_metal_is_newly_exposed(state):
    change, _ = passes(ground(), ground((state, 350, 300, 12)))
    assert change.newly_exposed.sum() == pytest.approx(np.pi * 12**2, rel=0.1)


def test_oxide_under_coating_is_newly_exposed():
    change, _ = passes(ground((State.COATING, 400, 300, 60)), ground((State.OXIDE, 400, 300, 60)))
    assert change.newly_exposed[300, 400]


def test_a_spot_that_grew_is_newly_bright_where_it_grew():
    change, spot = passes(ground(spot=(400, 300, 120)), ground())
    assert change.newly_bright.sum() == pytest.approx(np.pi * (200**2 - 120**2), rel=0.03)
    assert spot.mask[change.newly_bright].all()


def test_glare_in_one_pass_is_not_comparable():
    glare = (State.CANNOT_TELL, 350, 300, 25)
    before, _ = passes(ground(glare), ground())
    after, spot = passes(ground(), ground(glare))
    assert before.not_comparable[300, 350]
    assert after.not_comparable[300, 350] or not spot.mask[300, 350]


def test_what_the_earlier_photo_did_not_show_is_not_comparable():
    change, _ = passes(ground(), ground(), moved(350))
    assert change.not_comparable[300, 220]
    assert not change.not_comparable[300, 500]


def test_the_five_masks_share_the_spot():
    first = ground(OXIDE, (State.CANNOT_TELL, 300, 250, 20), spot=(420, 300, 180))
    change, spot = passes(first, ground((State.PIT, 480, 350, 15), (State.OXIDE, 410, 300, 25)), moved(3, -2))
    together = sum(getattr(change, name).astype(int) for name in MASKS)
    np.testing.assert_array_equal(together, spot.mask.astype(int))


@pytest.mark.parametrize("shift", [(1, 1), (2, 0), (0, -2), (-1.4, 1.4)])
def test_a_registration_error_of_two_pixels_changes_nothing(shift):
    picture = ground(OXIDE, (State.PIT, 480, 350, 9), (State.COATING, 300, 200, 14))
    change, _ = passes(picture, picture, moved(*shift))
    assert not change.newly_bright.any()
    assert not change.newly_exposed.any()


def test_beyond_the_tolerance_a_shift_is_a_change():
    change, _ = passes(ground(OXIDE), ground((State.OXIDE, 412, 300, 30)))
    assert change.newly_bright.any()
    assert change.newly_exposed.any()


def test_a_less_exact_alignment_widens_the_tolerance():
    change, _ = passes(ground(OXIDE), ground((State.OXIDE, 405, 300, 30)), moved(error_px=10))
    assert not change.newly_bright.any()


def test_a_small_pit_is_found_in_spite_of_the_tolerance():
    change, _ = passes(ground(), ground((State.PIT, 430, 320, 2)))
    assert change.newly_exposed[320, 430]


def test_maps_of_other_reduction_and_view_are_laid_over():
    first = cv2.resize(ground(OXIDE), (400, 300), interpolation=cv2.INTER_NEAREST)
    turn = np.array([[0, -1, 599], [1, 0, 0], [0, 0, 1.0]])
    earlier = surface_of(first, probability=0.97, reduction=(2.0, 2.0))
    later = surface_of(np.ascontiguousarray(np.rot90(ground(OXIDE), -1)), probability=0.97)
    (spot,) = find_spots(later, SETTINGS)
    change = compare(earlier, later, Alignment(turn), spot, SETTINGS)
    assert not change.newly_bright.any()
    assert change.still_residue.sum() == pytest.approx(np.pi * 30**2, rel=0.05)


def test_areas_are_in_mm2_of_the_plane():
    change, _ = passes(ground(OXIDE), ground(), plane=flat(0.1))
    assert change.areas_mm2["newly_bright"] == pytest.approx(np.pi * 3**2, rel=0.05)


def test_areas_follow_the_tilt_of_the_plane():
    plane = tilted(0.1, 30.0)
    change, _ = passes(ground(OXIDE), ground(OXIDE), plane=plane)
    rim = np.array([[400 + 30 * np.cos(t), 300 + 30 * np.sin(t)] for t in np.linspace(0, 2 * np.pi, 400)])
    on_plane = cv2.perspectiveTransform(rim[None], plane.to_mm)[0].astype(np.float32)
    assert change.areas_mm2["still_residue"] == pytest.approx(cv2.contourArea(on_plane), rel=0.05)


def test_without_a_scale_no_area_is_given():
    change, _ = passes(ground(OXIDE), ground())
    assert change.areas_mm2 is None


def test_residue_of_two_passes_persists():
    change, _ = passes(ground(OXIDE), ground(OXIDE), pass_no=1, plane=flat(0.1))
    (patch,) = change.persisting
    assert (patch.since, patch.passes) == (1, 2)
    assert patch.area_mm2 == pytest.approx(np.pi * 3**2, rel=0.05)
    assert patch.at == pytest.approx((400, 300), abs=3)
    assert patch.probability == pytest.approx(0.97, abs=0.005)


def test_a_patch_is_outlined_in_full_size_pixels():
    surface = surface_of(ground(OXIDE), probability=0.97, reduction=(2.0, 2.0))
    (spot,) = find_spots(surface, SETTINGS)
    (patch,) = compare(surface, surface, STILL, spot, SETTINGS).persisting
    (x, y), r = cv2.minEnclosingCircle(patch.outline.astype(np.float32))
    assert (x, y, r) == pytest.approx((800.5, 600.5, 60), abs=2)
    assert patch.at == pytest.approx((800.5, 600.5), abs=5)
    assert patch.inside.sum() * 4 == patch.area_px


def test_residue_seen_once_does_not_persist():
    change, _ = passes(ground(), ground(OXIDE))
    assert change.persisting == ()


def test_residue_that_is_gone_does_not_persist():
    change, _ = passes(ground(OXIDE), ground())
    assert change.persisting == ()


def test_residue_that_was_not_sure_does_not_persist():
    earlier, later = surface_of(ground(OXIDE), probability=0.75), surface_of(ground(OXIDE), probability=0.97)
    (spot,) = find_spots(later, SETTINGS)
    assert compare(earlier, later, STILL, spot, SETTINGS).persisting == ()
    assert compare(later, earlier, STILL, spot, SETTINGS).persisting == ()


def test_coating_that_stays_does_not_persist():
    coat = (State.COATING, 400, 300, 30)
    change, _ = passes(ground(coat), ground(coat))
    assert change.persisting == ()


def test_patches_that_only_touch_do_not_persist():
    change, _ = passes(ground((State.OXIDE, 350, 300, 40)), ground((State.OXIDE, 424, 300, 40)))
    assert change.persisting == ()


def test_a_patch_that_shrinks_persists_as_what_is_left():
    change, _ = passes(ground((State.OXIDE, 400, 300, 60)), ground((State.OXIDE, 420, 300, 15)))
    (patch,) = change.persisting
    assert patch.area_px == pytest.approx(np.pi * 15**2, rel=0.1)


def test_specks_do_not_persist():
    speck = (State.OXIDE, 400, 300, 2)
    change, _ = passes(ground(speck), ground(speck))
    assert change.persisting == ()


def history(*pictures, probability=0.97):
    maps = [surface_of(states, probability=probability) for states in pictures]
    earlier = [EarlierPass(number, one, STILL) for number, one in enumerate(maps[:-1], start=1)]
    spots = drawn_spots([np.array([[200.0, 100], [600, 100], [600, 500], [200, 500]])], maps[-1])
    return persisting_patches(earlier, maps[-1], spots[0], SETTINGS)


def test_a_patch_is_told_since_the_pass_from_which_it_stays():
    (patch,) = history(ground(), ground(OXIDE), ground(OXIDE), ground(OXIDE))
    assert (patch.since, patch.passes) == (2, 3)


def test_a_pass_that_cannot_tell_is_passed_over():
    (patch,) = history(ground(OXIDE), ground((State.CANNOT_TELL, 400, 300, 50)), ground(OXIDE))
    assert (patch.since, patch.passes) == (1, 2)


def test_a_pass_that_shows_bright_metal_ends_the_row():
    assert history(ground(OXIDE), ground(), ground(OXIDE)) == ()


def test_persisting_patches_come_largest_first():
    patches = ((State.OXIDE, 300, 300, 10), (State.PIT, 400, 250, 25), (State.OXIDE, 480, 350, 15))
    found = history(ground(*patches), ground(*patches))
    assert [round(np.sqrt(one.area_px / np.pi)) for one in found] == [25, 15, 10]


def test_no_earlier_pass_means_nothing_persists():
    assert history(ground(OXIDE)) == ()


def spots_of(*discs):
    surface = surface_of(with_discs(*discs))
    return find_spots(surface, SETTINGS), surface


def with_discs(*discs):
    states = plate(600, 800)
    for x, y, r in discs:
        cv2.circle(states, (x, y), r, int(State.BRIGHT), -1)
    return states


def ring(x, y, r):
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    return np.column_stack([x + r * np.cos(turn), y + r * np.sin(turn)])


def test_the_spot_under_the_earlier_outline_is_the_same_one():
    spots, surface = spots_of((200, 300, 80), (550, 300, 80))
    found = same_spot(ring(540, 290, 70), spots, surface, np.eye(3), SETTINGS)
    assert found is spots[1]


def test_the_spot_is_found_through_the_homography():
    spots, surface = spots_of((200, 300, 80), (550, 300, 80))
    found = same_spot(ring(190, 300, 80), spots, surface, moved(360).matrix, SETTINGS)
    assert found is spots[1]


def test_a_spot_ground_wider_is_still_found():
    spots, surface = spots_of(
        (400, 300, 150),
    )
    assert same_spot(ring(400, 300, 90), spots, surface, np.eye(3), SETTINGS) is spots[0]


def test_a_spot_half_in_view_is_found():
    spots, surface = spots_of(
        (20, 300, 100),
    )
    assert same_spot(ring(20, 300, 100), spots, surface, np.eye(3), SETTINGS) is spots[0]


def test_without_alignment_a_person_is_asked():
    spots, surface = spots_of((200, 300, 80))
    found = same_spot(ring(200, 300, 80), spots, surface, None, SETTINGS)
    assert found == AskPerson("the new photo could not be laid over the earlier one")


def test_a_photo_without_spot_is_asked_about():
    found = same_spot(ring(200, 300, 80), (), surface_of(plate()), np.eye(3), SETTINGS)
    assert isinstance(found, AskPerson)
    assert "no ground spot" in found.reason


def test_a_place_out_of_view_is_asked_about():
    spots, surface = spots_of((200, 300, 80))
    found = same_spot(ring(200, 300, 80), spots, surface, moved(2000).matrix, SETTINGS)
    assert isinstance(found, AskPerson)
    assert "does not show" in found.reason


def test_a_place_behind_the_camera_is_asked_about():
    spots, surface = spots_of((200, 300, 80))
    behind = np.array([[1, 0, 0], [0, 1, 0], [-0.005, 0, 1.0]])
    assert isinstance(same_spot(ring(200, 300, 80), spots, surface, behind, SETTINGS), AskPerson)


def test_little_overlap_is_asked_about():
    spots, surface = spots_of((200, 300, 80))
    found = same_spot(ring(310, 300, 80), spots, surface, np.eye(3), SETTINGS)
    assert isinstance(found, AskPerson)
    assert "shares 30%" in found.reason


def test_two_spots_under_the_outline_are_asked_about():
    spots, surface = spots_of((310, 300, 80), (490, 300, 80))
    found = same_spot(ring(400, 300, 165), spots, surface, np.eye(3), SETTINGS.model_copy(
        update={"follow": SETTINGS.follow.model_copy(update={"same_overlap": 0.1})}
    ))  # fmt: skip
    assert found == AskPerson("spots 1 and 2 both lie where the earlier one was")


def test_the_flag_gives_advice_and_claims_no_depth():
    card = FLAGS["residue_may_go_deep"]
    assert card.name == "residue may go deep"
    assert not card.blocking
    assert all(word in card.action for word in ("Grind", "dust is still white", "measure the wall", "patch plate"))
    assert "no photo shows" in card.why


def chances_of(in_metal, *, other=State.BRIGHT):
    """Make a map that says oxide with the chances given, (h, w), and `other` with the rest."""
    chances = np.zeros((7, *in_metal.shape), np.float32)
    chances[State.OXIDE], chances[other] = in_metal, 1 - in_metal
    burnt = np.zeros(in_metal.shape, bool)
    states, bright = told(chances, burnt, 0.5)
    return SurfaceMap(states, bright, np.ones(in_metal.shape, np.float32), burnt, (1.0, 1.0), EXACT, chances)


def staying(*maps):
    """Follow a spot that is the whole picture over passes of one map each."""
    *earlier, latest = maps
    passes = [EarlierPass(number, one, STILL) for number, one in enumerate(earlier, start=1)]
    spot = Spot(1, np.zeros((0, 2)), np.ones(latest.states.shape, bool))
    return persisting_patches(passes, latest, spot, SETTINGS)


def fields(seed, count=2, size=(120, 160)):
    """Draw smooth chances of oxide with places that are sure and places that are bright."""
    rng = np.random.default_rng(seed)
    noise = (cv2.GaussianBlur(rng.normal(size=size), (0, 0), 6) * 22 for _ in range(count))
    return [np.asarray(1 / (1 + np.exp(-5 * one)), np.float32) for one in noise]


def disc(chance, radius, *, on=None):
    field = np.full((120, 160), 0.02, np.float32) if on is None else on.copy()
    cv2.circle(field, (80, 60), radius, float(chance), -1)
    return field


def whole(patch, size=(120, 160)):
    mask, (x, y), (height, width) = np.zeros(size, bool), patch.corner, patch.inside.shape
    mask[y : y + height, x : x + width] = patch.inside
    return mask


SEEDS = range(8)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_place_that_is_bright_in_one_pass_never_persists(seed):
    first, second = fields(seed)
    patches = staying(chances_of(first), chances_of(second))
    assert patches, "the fields have something that stays"
    near = cv2.dilate(first, np.ones((3, 3), np.uint8))
    for patch in patches:
        assert second[whole(patch)].min() >= SETTINGS.follow.stay_probability
        assert near[whole(patch)].min() >= SETTINGS.follow.stay_probability


def test_a_place_that_is_surely_bright_now_does_not_persist_however_sure_it_was():
    assert staying(chances_of(disc(0.999, 30)), chances_of(disc(0.45, 30))) == ()


@pytest.mark.parametrize("which", [0, 1])
def test_both_passes_have_to_be_sure(which):
    chances = [disc(0.99, 30), disc(0.99, 30)]
    assert len(staying(*map(chances_of, chances))) == 1
    chances[which] = disc(0.7, 30)
    assert staying(*map(chances_of, chances)) == ()


def test_a_sure_heart_tells_the_whole_patch_that_is_likely():
    field = disc(0.99, 5, on=disc(0.6, 30))
    (patch,) = staying(chances_of(field), chances_of(field))
    assert patch.inside.sum() == pytest.approx(np.pi * 30**2, rel=0.05)
    assert patch.probability == pytest.approx(0.99, abs=0.001)


@pytest.mark.parametrize("seed", SEEDS)
def test_surer_residue_in_a_patch_never_loses_it(seed):
    first, second = fields(seed)
    for patch in staying(chances_of(first), chances_of(second)):
        inside = whole(patch)
        surer = [np.where(inside, 1 - (1 - one) / 2, one).astype(np.float32) for one in (first, second)]
        (again,) = (one for one in staying(*map(chances_of, surer)) if whole(one)[inside].any())
        assert whole(again)[inside].all()
        assert again.probability >= patch.probability


@pytest.mark.parametrize("seed", SEEDS)
def test_a_pass_before_makes_no_patch_less_sure(seed):
    zeroth, first, second = map(chances_of, fields(seed, 3))
    before, after = staying(first, second), staying(zeroth, first, second)
    for patch in before:
        (again,) = (one for one in after if whole(one)[whole(patch)].any())
        assert whole(again)[whole(patch)].all()
        assert again.probability >= patch.probability


def test_foreign_matter_that_lies_on_the_metal_does_not_persist():
    dirt = chances_of(np.where(disc(1.0, 30) > 0.5, np.float32(0.05), np.float32(0.0)), other=State.FOREIGN)
    assert staying(dirt, dirt) == ()


def test_oxide_or_pit_that_cannot_be_told_apart_persists():
    field = disc(0.98, 30)
    halves = chances_of(field)
    halves.chances[State.PIT] = halves.chances[State.OXIDE] = field / 2
    assert len(staying(halves, halves)) == 1


def test_what_is_burnt_out_is_no_evidence():
    field = chances_of(disc(0.99, 30))
    burnt = replace(field, burnt=np.ones(field.states.shape, bool))
    assert staying(field, burnt) == ()
    assert staying(burnt, field) == ()
