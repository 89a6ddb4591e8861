"""The renderer checked against Lambert's law, a uniform sky, the plain shading model and its own truth."""

import json
from dataclasses import replace

import numpy as np
import pytest

from prepcheck.synth.layers import ALUMINIUM, blank
from prepcheck.synth.light import SIZE, Rig, irradiance_of
from prepcheck.synth.rendered import Render, mesh_points, rim, save_render, truth_at, wall
from prepcheck.synth.scene import make_surface
from prepcheck.synth.setting import (
    Blocker,
    Panel,
    Setting,
    hidden,
    level,
    look,
    numbers_of,
    sample_mix,
    sample_setting,
    scaled,
)
from prepcheck.synth.shade import radiance
from prepcheck.synth.surroundings import SHAPE, captured, pose, sample_surroundings, sky_table, white
from prepcheck.terms import State

ROWS, COLS, MM = 60, 80, 1.0


@pytest.fixture(scope="module")
def studio():
    pytest.importorskip("mitsuba", reason="needs the extra train")
    from prepcheck.synth.rendered import Studio

    try:
        return Studio((ROWS, COLS), "llvm_ad_rgb", 32)
    except (ImportError, RuntimeError) as error:
        pytest.skip(f"Mitsuba finds no LLVM here: {error}")


def plate(metal, base=0.5, alpha=0.3, shape=(ROWS, COLS)):
    layers = blank(shape, MM)
    layers.metal[:], layers.base[:] = metal, base
    layers.alpha_u[:] = layers.alpha_v[:] = alpha
    return layers


def square(centre, size=4.0, aim=(0.0, 0.0, 0.0)):
    normal = np.asarray(aim, float) - centre
    a = np.cross(normal, [0.3, 1.0, 0.2])
    a *= size / 2 / np.linalg.norm(a)
    b = np.cross(normal, a)
    return Panel(np.asarray(centre, float), a, b * (size / 2 / np.linalg.norm(b)), np.ones(3))


def setting(sky=0.0, torch=(), view=None):
    view = view or look(np.asarray([0.0, 0.0, 1.0]), 400.0, 0.1)
    return Setting(view, np.full((*SHAPE, 3), sky, np.float32), (), torch, (), {})


def middle(light):
    return float(light[:, ROWS // 2 - 5 : ROWS // 2 + 5, COLS // 2 - 5 : COLS // 2 + 5].mean())


def test_a_sloping_wall_is_integrated_to_its_height():
    y, x = np.mgrid[0:40, 0:60].astype(np.float32)
    true = 3.0 * np.cos(np.pi * (x + 0.5) / 60) + 2.0 * np.cos(2 * np.pi * (y + 0.5) / 40)
    dy, dx = np.gradient(true, 0.5)
    found = wall(dx.astype(np.float32), dy.astype(np.float32), 0.5)
    assert np.abs(found - true).max() < 0.06


def test_the_mesh_is_mirrored_beyond_the_layers():
    layers = plate(1.0)
    layers.height[:] = np.arange(COLS, dtype=np.float32)[None] * 0.01
    points = mesh_points(layers, 5.0)
    left = points[ROWS // 2 // 2, :, 2][1:6]
    assert (np.diff(left) < 0).all()


def test_truth_is_the_pixel_under_the_point():
    state = np.zeros((ROWS, COLS), np.uint8)
    state[10, 20] = State.PIT
    points = np.asarray([[[20.5, 10.5], [19.4, 10.5]]], np.float32)
    assert truth_at(state, state, points)[0].tolist() == [[State.PIT, 0]]


def test_truth_beyond_the_layers_is_mirrored():
    state = np.zeros((ROWS, COLS), np.uint8)
    state[:, 2] = State.PIT
    assert truth_at(state, state, np.asarray([[[-2.5, 7.0]]], np.float32))[0, 0, 0] == State.PIT


def test_a_rim_is_where_the_part_ends_and_not_where_states_change():
    state = np.full((ROWS, COLS), State.BRIGHT, np.uint8)
    state[:, 40:] = State.OXIDE
    state[:10] = State.BACKGROUND
    edge = rim(state)
    assert edge[10].all()
    assert not edge[20:].any()


def test_a_scaled_light_gives_white_paper_a_radiance_of_one():
    panels = scaled((square([200.0, 50.0, 300.0], 40.0), square([-100.0, 0.0, 500.0], 200.0)))
    assert level(panels) == pytest.approx(1.0)


def test_a_small_far_panel_obeys_the_inverse_square():
    assert level((square([0, 0, 1000.0]),)) == pytest.approx(16.0 / 1000.0**2 / np.pi, rel=1e-3)


def test_a_lamp_behind_a_blocker_is_hidden_and_one_beside_it_is_not():
    blocker = Blocker(np.asarray([0, 0, 300.0]), np.asarray([50.0, 0, 0]), np.asarray([0, 50.0, 0]), np.zeros(3))
    assert hidden((square([40.0, 0.0, 600.0]),), (blocker,))
    assert not hidden((square([400.0, 0.0, 600.0]),), (blocker,))
    assert not hidden((square([0.0, 0.0, 200.0]),), (blocker,))


def test_a_pose_turns_without_stretching():
    rotation = pose(np.random.default_rng(0))
    assert rotation @ rotation.T == pytest.approx(np.eye(3), abs=1e-9)


def test_white_paper_under_a_uniform_sky_has_the_skys_radiance():
    assert white(np.full((*SHAPE, 3), 0.7, np.float32)) == pytest.approx(0.7, rel=2e-3)


def test_captured_places_are_finite_and_have_mean_one():
    place = captured()["workshop"]
    weight = np.sin((np.arange(SHAPE[0]) + 0.5) / SHAPE[0] * np.pi)[:, None]
    luminance = (place @ np.float32([0.2126, 0.7152, 0.0722]) * weight).sum() / (weight.sum() * SHAPE[1])
    assert luminance == pytest.approx(1.0, rel=0.01)


def test_drawn_surroundings_light_white_paper_to_about_one():
    levels = [white(sample_surroundings(np.random.default_rng(k))[1]) for k in range(12)]
    assert 0.4 < min(levels) <= max(levels) <= 1.01


def test_the_table_of_a_sky_draws_each_texel_with_the_density_it_states():
    sky = captured()["hall"]
    picks, density = sky_table(sky)
    area = np.sin((np.arange(SHAPE[0]) + 0.5) / SHAPE[0] * np.pi)[:, None] * (2 * np.pi**2 / (SHAPE[0] * SHAPE[1]))
    drawn = np.bincount(picks, minlength=density.size) / picks.size
    assert drawn == pytest.approx((density.reshape(SHAPE) * area).ravel(), abs=1e-6)
    assert (drawn.reshape(SHAPE) * (sky.mean(axis=2) > 5)).sum() > 0.2


def test_the_same_seed_draws_the_same_setting():
    layers = plate(1.0)
    first, second = (numbers_of(sample_setting(np.random.default_rng(3), layers), layers.shape, MM) for _ in range(2))
    assert np.array_equal(first, second)


def test_a_mix_never_leaves_the_picture_dark():
    mixes = np.stack([sample_mix(np.random.default_rng(k)) for k in range(60)])
    assert mixes.shape == (60, 3, 3)
    assert (mixes >= 0).all()
    assert mixes.sum(axis=1).min() > 0.2


def test_the_frame_is_filled_by_the_surface():
    layers = make_surface(5, (ROWS, COLS))
    for seed in range(20):
        v = sample_setting(np.random.default_rng(seed), layers).view
        corners = [v.ahead + v.half * (a * v.right + b * ROWS / COLS * v.down) for a in (-1, 1) for b in (-1, 1)]
        ends = np.asarray([v.eye - d * v.eye[2] / d[2] for d in corners])
        assert (np.abs(ends[:, :2]) < 0.62 * layers.mm_per_px * np.asarray([COLS, ROWS])).all()


def test_a_saved_render_is_whole_and_read_back(tmp_path):
    from prepcheck.train.renders import read_render

    light = np.random.default_rng(0).random((3, 3, 8, 9), np.float32)
    path = save_render(tmp_path, 7, Render(light, np.ones((2, 8, 9), np.uint8), {"tilt_deg": 3.0}))
    back, truth = read_render(path)
    assert np.abs(back - light).max() < 1e-3
    assert truth.shape == (2, 8, 9)
    assert json.loads((tmp_path / "0000007.json").read_text()) == {"tilt_deg": 3.0, "seed": 7}
    assert not list(tmp_path.glob("*.part"))


def test_a_straight_view_that_shows_the_whole_surface_keeps_its_scale():
    view = look(np.asarray([0.0, 0.0, 1.0]), 400.0, 0.5 * COLS * MM / 400.0)
    assert view.mm_per_px(COLS) == pytest.approx(MM)


def test_matt_under_a_uniform_sky_follows_lambert_plus_at_most_its_skin(studio):
    light = studio.take(plate(0.0, 0.5, 0.6), setting(sky=1.0), 1).light
    assert 0.5 * 0.96 < middle(light[0]) < 0.5 * 0.96 + 0.04


def test_smooth_metal_under_a_uniform_sky_keeps_its_reflectance(studio):
    light = studio.take(plate(1.0, 0.9, 0.1), setting(sky=1.0), 1).light
    assert middle(light[0]) == pytest.approx(0.9, abs=0.02)


@pytest.mark.parametrize("metal", [0.0, 1.0])
@pytest.mark.parametrize("alphas", [(0.3, 0.3), (0.15, 0.4)])
def test_one_lamp_gives_what_the_plain_shading_model_gives(studio, metal, alphas):
    layers = plate(metal, 0.6)
    layers.alpha_u[:], layers.alpha_v[:] = alphas
    layers.theta[:] = 0.7
    at = np.asarray([250.0, 100.0, 500.0])
    torch = square(at, 4.0)
    rendered = middle(studio.take(layers, setting(torch=(torch,)), 1).light[2])
    power = 16.0 * np.ones(3)  # area times radiance one, at the distance's inverse square
    assert rendered == pytest.approx(plain(layers, at, power), rel=0.1)


def plain(layers, at, power):
    """The same lamp and camera in the plain shading model, which counts in picture widths."""
    places, colours = np.tile(np.float32([[0, 0, 3]]), (3, 1)), np.zeros((3, 3), np.float32)
    places[0], colours[0] = at / COLS, power / COLS**2 / 1.03
    shadows = np.tile(np.float32([1, 0, 0, 0.1, 0]), (4, 1))
    dark = np.zeros((4, SIZE, SIZE, 3), np.float32)
    rig = Rig(
        dark, irradiance_of(dark[0]), 1e6, np.float32([0, 0, 5.0]), places, colours, np.zeros((3, 3), np.float32),
        np.full(3, 3.0, np.float32), np.zeros(3, np.float32), shadows,
    )  # fmt: skip
    return middle(np.moveaxis(radiance(layers, rig), -1, 0))


def test_turned_aluminium_looks_like_mitsubas_own(studio):
    import mitsuba as mi

    layers = plate(1.0, 0.9)
    layers.base[:], layers.theta[:] = ALUMINIUM, 0.7
    layers.alpha_u[:], layers.alpha_v[:] = 0.15, 0.35
    at = np.asarray([150.0, 60.0, 500.0])
    torch = square(at, 40.0)
    ours = middle(studio.take(layers, setting(torch=(torch,)), 1).light[2])
    turn = mi.ScalarTransform4f
    theirs = mi.render(
        mi.load_dict(
            {
                "type": "scene",
                "integrator": {"type": "path", "max_depth": 2},
                "plate": {
                    "type": "rectangle",
                    "to_world": turn().rotate([0, 0, 1], float(np.degrees(0.7))).scale(100),
                    "bsdf": {
                        "type": "roughconductor",
                        "material": "Al",
                        "distribution": "ggx",
                        "alpha_u": 0.15,
                        "alpha_v": 0.35,
                    },
                },
                "lamp": {
                    "type": "rectangle",
                    "to_world": turn().look_at(origin=at.tolist(), target=[0, 0, 0], up=[0, 1, 0]).scale(20),
                    "emitter": {"type": "area", "radiance": {"type": "rgb", "value": 1.0}},
                },
                "sensor": {
                    "type": "perspective",
                    "fov": float(np.degrees(2 * np.arctan(0.1))),
                    "to_world": turn().look_at(origin=[0, 0, 400], target=[0, 0, 0], up=[0, 1, 0]),
                    "film": {"type": "hdrfilm", "width": COLS, "height": ROWS, "rfilter": {"type": "box"}},
                },
            }
        ),
        spp=64,
    )
    assert ours == pytest.approx(middle(np.moveaxis(theirs.numpy(), -1, 0)), rel=0.02)


def test_truth_lines_up_with_a_tilted_picture(studio):
    layers = plate(0.0, 0.02, 0.6)
    layers.state[:] = State.COATING
    y, x = np.mgrid[0:ROWS, 0:COLS]
    blob = (np.square(x - 30) + np.square(y - 35) < 200) | ((x > 55) & (y < 20))
    layers.state[blob], layers.base[blob] = State.BRIGHT, 0.9
    view = look(np.asarray([0.4, 0.25, 1.0]), 300.0, 0.11, 0.2)
    render = studio.take(layers, setting(sky=1.0, view=view), 1)
    seen, told = render.light[0].mean(axis=0) > 0.45, render.truth[0] == State.BRIGHT
    assert (seen & told).sum() / (seen | told).sum() > 0.97


def test_a_drilled_hole_sinks_the_background_and_its_side_is_no_ground(studio):
    layers = plate(1.0, 0.9)
    layers.state[:], layers.ground[:] = State.BRIGHT, 1
    layers.state[20:40, 30:50], layers.ground[20:40, 30:50] = State.BACKGROUND, 0
    view = look(np.asarray([0.7, 0.0, 1.0]), 300.0, 0.11)
    truth = studio.take(layers, setting(sky=1.0, view=view), 1, drop=10.0).truth
    assert (truth[0] == State.COATING).sum() > 30
    assert truth[1][truth[0] == State.COATING].max() == 0


def test_the_same_seed_renders_the_same_light(studio):
    scene = plate(1.0, 0.9), setting(sky=1.0, torch=(square([50.0, 50.0, 200.0]),))
    assert np.array_equal(studio.take(*scene, 4).light, studio.take(*scene, 4).light)


def test_light_adds_up(studio):
    layers, torch = plate(0.5, 0.7), square([50.0, 50.0, 200.0])
    one = studio.take(layers, setting(torch=(torch,)), 4).light[2]
    two = studio.take(layers, setting(torch=(replace(torch, radiance=2 * torch.radiance),)), 4).light[2]
    assert middle(two) == pytest.approx(2 * middle(one), rel=1e-4)


def test_a_drawn_scene_is_finite_and_tells_what_it_shows(studio):
    render = studio.scene(3)
    assert np.isfinite(render.light).all()
    assert render.truth.shape == (2, ROWS, COLS)
    assert {"tilt_deg", "distance_mm", "lights", "recipe", "mm_per_px"} <= set(render.notes)
