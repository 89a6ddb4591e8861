"""Fusing photos of one view under a moved torch: what counts, what drops out, and what is said."""

import cv2
import numpy as np
import pytest

from prepcheck.photo import Photo
from prepcheck.settings import Settings
from prepcheck.surface import ModelOrigin, SurfaceMap, load_model
from prepcheck.surface.mapping import told
from prepcheck.surface.moved_evidence import lay_over, movement
from prepcheck.surface.moved_light import fuse, light_sides, load_weighing, with_bright
from prepcheck.surface.moved_net import Calibration, planes_of
from prepcheck.synth.layers import blank
from prepcheck.synth.shade import radiance
from prepcheck.terms import State
from tests.synth.test_light import plate, rig

ORIGIN = ModelOrigin("fixed", "0" * 64, 0.6, 1.0, 0.01)
SIZE = (60, 80)
SETTINGS = Settings()


class Moved:
    def __init__(self, x=0.0, y=0.0):
        self.matrix = np.array([[1.0, 0, x], [0, 1, y], [0, 0, 1]])


def chances_of(states, p=0.8):
    chances = np.full((7, *states.shape), (1 - p) / 6, np.float32)
    np.put_along_axis(chances, states[None].astype(int), p, axis=0)
    return chances


def surface_of(states, p=0.8, burnt=None):
    states = np.asarray(states, np.uint8)
    chances, burnt = chances_of(states, p), np.zeros(states.shape, bool) if burnt is None else burnt
    codes, bright = told(chances, burnt, ORIGIN.sure)
    return SurfaceMap(codes, bright, np.ones(states.shape, np.float32), burnt, (2.0, 2.0), ORIGIN, chances)


def photo(value=0.2):
    """A photo of linear brightness `value`, a number or a plane."""
    plane = np.broadcast_to(np.asarray(value, float), SIZE)
    rgb = np.repeat(np.round(255 * np.clip(plane, 0, 1)[..., None] ** (1 / 2.2)), 3, axis=2).astype(np.uint8)
    rgb = rgb.repeat(2, axis=0).repeat(2, axis=1)
    return Photo("p.jpg", "0" * 64, 1, "JPEG", 2 * SIZE[1], 2 * SIZE[0], rgb)


def whole(state, **more):
    return surface_of(np.full(SIZE, state), **more)


HEIGHT = np.random.default_rng(3).normal(size=SIZE)
TOWARDS = {"left": (0, -1), "right": (0, 1), "top": (-1, 0), "bottom": (1, 0)}


def lit(side, steep=1.0):
    """Linear brightness of a rough plate with a torch at `side`: it falls off, and slopes facing the torch are lighter."""
    down, right = np.mgrid[-1 : 1 : SIZE[0] * 1j, -1 : 1 : SIZE[1] * 1j]
    dy, dx = np.gradient(cv2.GaussianBlur(HEIGHT, (0, 0), 2))
    y, x = TOWARDS[side]
    return 0.15 * np.exp(steep * (0.8 * (y * down + x * right) + 2 * (y * dy + x * dx)))


def fused(maps, photos=None, alignments=None, weighing=None):
    photos = photos or [photo() for _ in maps]
    return fuse(photos, maps, alignments or [Moved() for _ in maps[1:]], SETTINGS, weighing)


def test_photos_that_agree_say_what_each_says():
    surface = fused([whole(State.OXIDE), whole(State.OXIDE)]).surface
    assert np.unique(surface.states).tolist() == [State.OXIDE]
    assert surface.chances[State.OXIDE] == pytest.approx(0.8, abs=1e-5)


def test_photos_that_differ_cannot_tell():
    surface = fused([whole(State.OXIDE), whole(State.BRIGHT)]).surface
    assert np.unique(surface.states).tolist() == [State.CANNOT_TELL]


def test_the_surer_photo_decides():
    surface = fused([whole(State.OXIDE, p=0.55), whole(State.BRIGHT, p=0.99)]).surface
    assert np.unique(surface.states).tolist() == [State.BRIGHT]


def test_chances_sum_to_one():
    assert fused([whole(1), whole(2), whole(3)]).surface.chances.sum(axis=0) == pytest.approx(1, abs=1e-5)


def test_a_place_burnt_out_in_one_photo_counts_from_the_other():
    glare = np.zeros(SIZE, bool)
    glare[:, :40] = True
    surface = fused([whole(State.OXIDE, burnt=glare), whole(State.BRIGHT)]).surface
    assert np.unique(surface.states[:, :38]).tolist() == [State.BRIGHT]
    assert not surface.burnt.any()


def test_a_place_burnt_out_in_every_photo_cannot_be_told():
    glare = np.zeros(SIZE, bool)
    glare[:, :40] = True
    surface = fused([whole(State.BRIGHT, burnt=glare), whole(State.BRIGHT, burnt=glare)]).surface
    assert np.unique(surface.states[:, :38]).tolist() == [State.CANNOT_TELL]
    assert np.unique(surface.states[:, 42:]).tolist() == [State.BRIGHT]


def test_a_place_that_only_the_first_photo_covers_is_as_the_first_says():
    surface = fused([whole(State.OXIDE), whole(State.BRIGHT, p=0.99)], alignments=[Moved(x=80)]).surface
    assert np.unique(surface.states[:, :38]).tolist() == [State.OXIDE]
    assert np.unique(surface.states[:, 42:]).tolist() == [State.BRIGHT]


def test_maps_are_brought_into_the_frame_of_the_first():
    there = np.full(SIZE, State.BRIGHT)
    there[20:30, 20:30] = State.OXIDE
    here = np.roll(there, (5, 10), axis=(0, 1))
    surface = fused([surface_of(here), surface_of(there)], alignments=[Moved(x=20, y=10)]).surface
    assert np.array_equal(surface.states, here)


def test_the_order_of_the_other_photos_does_not_matter():
    maps = [whole(1), whole(2, p=0.6), whole(3, p=0.4)]
    photos = [photo(lit(side)) for side in ("left", "top", "right")]
    one, other = (fused([maps[k] for k in o], [photos[k] for k in o]) for o in ((0, 1, 2), (0, 2, 1)))
    assert one.surface.chances == pytest.approx(other.surface.chances, abs=1e-5)
    assert one.moved == pytest.approx(other.moved)


def test_what_the_net_sees_of_a_black_photo_is_finite():
    assert np.isfinite(planes_of(lay_over([photo(), photo(0.0)], [whole(1), whole(2)], [np.eye(3)]))).all()


@pytest.mark.parametrize("exposure", [0.5, 2.0])
def test_exposure_alone_is_no_moved_light(exposure):
    result = fused([whole(1), whole(1)], [photo(lit("left")), photo(exposure * lit("left"))])
    assert result.moved < 0.02
    assert not result.enough


def test_too_little_movement_is_said_in_words():
    assert "hardly moved" in fused([whole(1), whole(1)]).advice


def test_a_torch_moved_from_left_to_right_is_movement_enough():
    result = fused([whole(1), whole(1)], [photo(lit("left")), photo(lit("right"))])
    assert result.enough


def test_movement_grows_with_what_the_second_light_adds():
    mixtures = [photo((1 - share) * lit("left") + share * lit("top")) for share in (0.2, 0.5, 1.0)]
    spreads = [movement(lay_over([photo(lit("left")), one], [whole(1)] * 2, [np.eye(3)])) for one in mixtures]
    assert spreads == sorted(spreads)
    assert spreads[0] > 0


def test_one_still_photo_beside_a_moved_pair_is_enough():
    photos = [photo(lit("left")), photo(lit("left")), photo(lit("top"))]
    assert fused([whole(1)] * 3, photos).enough


def test_the_side_of_each_light_is_guessed_from_the_slopes():
    views = lay_over([photo(lit("left")), photo(lit("top"))], [whole(1)] * 2, [np.eye(3)])
    assert light_sides(views) == [pytest.approx((-1, 0), abs=0.05), pytest.approx((0, -1), abs=0.05)]


def test_an_even_change_names_no_side():
    assert light_sides(lay_over([photo(0.1), photo(0.3)], [whole(1)] * 2, [np.eye(3)])) == [None, None]


def test_advice_names_a_side_without_light_and_where_it_cannot_be_told():
    doubtful = np.full(SIZE, State.BRIGHT)
    doubtful[:, 55:] = State.OXIDE
    maps = [surface_of(doubtful), whole(State.BRIGHT)]
    advice = fused(maps, [photo(lit("left")), photo(lit("top"))]).advice
    assert "towards the right" in advice
    assert "light from the right" in advice or "light from the bottom" in advice


def test_nothing_is_advised_where_all_is_told():
    assert fused([whole(1), whole(1)], [photo(lit("left")), photo(lit("right"))]).advice == ""


@pytest.mark.parametrize("count", [1, 7])
def test_too_few_or_too_many_photos_are_no_set(count):
    with pytest.raises(ValueError, match=f"{count} photos"):
        fused([whole(1)] * count)


def test_a_map_without_chances_is_refused():
    bare = SurfaceMap(*(whole(1).__dict__[k] for k in ("states", "bright", "ground", "burnt", "reduction", "model")))
    with pytest.raises(ValueError, match="without chances"):
        fused([bare, whole(1)])


def test_others_share_the_rest_as_before():
    chances = np.array([0.1, 0.4, 0.3, 0.1, 0.1, 0, 0], np.float32).reshape(7, 1, 1)
    changed = with_bright(chances, np.array([[np.log(0.7 / 0.3)]], np.float32))
    assert changed.ravel() == pytest.approx([0.05, 0.7, 0.15, 0.05, 0.05, 0, 0], abs=1e-6)


class Learned:
    """Stands in for a net: hardly any place is bright metal."""

    sha256 = "f" * 64

    def fits(self, model_sha256):
        return model_sha256 == ORIGIN.sha256

    def bright_odds(self, views):
        return np.full(views.burnt.shape, -4.0, np.float32)

    def calibration(self, photos):
        return Calibration(sure=0.9, error_scale=3.0, error_floor=0.02)


def test_a_net_changes_what_is_bright_and_brings_its_own_calibration():
    surface = fused([whole(1), whole(1)], weighing=Learned()).surface
    assert surface.bright == pytest.approx(1 / (1 + np.exp(4)), abs=1e-5)
    assert (surface.model.sure, surface.model.error_scale, surface.model.error_floor) == (0.9, 3.0, 0.02)


def test_the_net_that_ships_was_learned_for_the_default_model():
    assert load_weighing(load_model().origin.sha256) is not None


def test_for_another_model_no_net_ships():
    assert load_weighing("1" * 64) is None


def lamp(degrees, far=1e3):
    turn = np.radians(degrees)
    return rig(lamp=(far * np.sin(turn), 0.0, far * np.cos(turn)), colour=(1e6,) * 3)


def test_a_matt_place_changes_between_photos_as_the_cosines():
    # standards.md 7.6: a Lambertian surface lit at 20 and at 50 degrees, ratio 1.4619
    surface = blank(SIZE, 1e6)
    surface.metal[:], surface.base[:] = 1.0, 0.0  # black all around
    surface.alpha_u[:] = surface.alpha_v[:] = 0.02
    surface.metal[20:40, 20:50], surface.base[20:40, 20:50] = 0.0, 1.0
    photos = [photo(radiance(surface, lamp(degrees))[..., 1]) for degrees in (20, 50)]
    light = lay_over(photos, [whole(2)] * 2, [np.eye(3)]).light
    assert float(light[0, 30, 35] - light[1, 30, 35]) == pytest.approx(np.log(1.4619), abs=0.02)


@pytest.mark.parametrize(("alpha", "half"), [(0.1, 3.71), (0.3, 11.68), (0.5, 21.81)])
def test_metal_seen_square_halves_when_the_light_moves_by_twice_the_lobe(alpha, half):
    # standards.md 7.5: D falls to half at this half-vector angle; Smith's term (Walter 2007) and Fresnel's are taken out
    seen = [float(radiance(plate(1.0, 1.0, alpha), lamp(degrees))[4, 4, 1]) for degrees in (0.0, 2 * half)]
    cosine = np.cos(np.radians(2 * half))
    masking = 2 * cosine / (cosine + np.sqrt(alpha**2 + (1 - alpha**2) * cosine**2))
    assert seen[1] / seen[0] / masking == pytest.approx(0.5, abs=0.01)


def test_metal_changes_far_more_than_the_cosines_when_the_light_leaves_its_lobe():
    near, off = (float(radiance(plate(1.0, 0.5, 0.2), lamp(degrees))[4, 4, 1]) for degrees in (20, 50))
    assert near / off > 4 * 1.4619
