"""Reflection checked against closed forms: Lambert's law, a uniform sky, GGX at normal incidence."""

import numpy as np
import pytest

from prepcheck.synth.camera import encode_srgb, expose, sample_camera
from prepcheck.synth.layers import blank
from prepcheck.synth.light import SIZE, Rig, irradiance_of, sample_rig
from prepcheck.synth.shade import radiance


def rig(sky=0.0, lamp=None, colour=(1.0, 1.0, 1.0), camera=(0.0, 0.0, 1000.0), size=0.0):
    maps = np.full((4, SIZE, SIZE, 3), sky, np.float32)
    at, colours = np.tile(np.float32([[0, 0, 3]]), (3, 1)), np.zeros((3, 3), np.float32)
    if lamp is not None:
        at[0], colours[0] = lamp, colour
    shadows = np.tile(np.float32([1, 0, 0, 0.1, 0]), (4, 1))
    cones, sizes = np.full(3, 3.0, np.float32), np.full(3, size, np.float32)
    return Rig(
        maps,
        irradiance_of(maps[0]),
        1e6,
        np.float32(camera),
        at,
        colours,
        np.zeros((3, 3), np.float32),
        cones,
        sizes,
        shadows,
    )


def plate(metal, base=0.5, alpha=0.3, shape=(9, 9)):
    layers = blank(shape, 1e6)
    layers.metal[:] = metal
    layers.base[:] = base
    layers.alpha_u[:] = layers.alpha_v[:] = alpha
    return layers


def test_uniform_sky_on_matt_paint_gives_its_albedo():
    # Lambert: radiance = albedo x irradiance / pi; a dielectric adds about 4 % (n = 1.5) of gloss
    seen = radiance(plate(0.0), rig(sky=1.0))[4, 4, 0]
    assert seen == pytest.approx(0.5 + 0.04, abs=0.02)


def test_uniform_sky_on_smooth_metal_gives_its_reflectance():
    # a mirror in a furnace shows the furnace times its reflectance (0.9154 for aluminium at 550 nm)
    assert radiance(plate(1.0, 0.9154, 0.05), rig(sky=1.0))[4, 4, 1] == pytest.approx(0.9154, abs=0.02)


def test_two_lamps_on_paint_differ_as_the_cosines():
    # standards.md 7.6: 20 and 50 degrees give 1.4619
    far = 1e3
    values = []
    for degrees in (20, 50):
        turn = np.radians(degrees)
        place = (far * np.sin(turn), 0.0, far * np.cos(turn))
        values.append(radiance(plate(0.0, 0.5, 0.02), rig(lamp=place, colour=(1e6,) * 3))[4, 4, 0])
    assert values[0] / values[1] == pytest.approx(1.4619, rel=0.01)


def test_lobe_at_normal_incidence_is_ggx():
    # D(0) = 1 / (pi alpha^2) = 3.537 for 0.3 (standards.md 7.5); radiance = F D G / (4 cos cos) x E, G = 1 head on
    light = rig(lamp=(0.0, 0.0, 1e3), colour=(1e6,) * 3)
    seen = radiance(plate(1.0, 0.9, 0.3), light)[4, 4, 0] / 1.03
    assert seen == pytest.approx(0.9 * 3.537 / 4, rel=0.02)


def test_marks_stretch_the_highlight_across_themselves():
    across, along = plate(1.0, 0.9), plate(1.0, 0.9)
    for layers, turn in ((across, np.pi / 2), (along, 0.0)):
        layers.alpha_u[:], layers.alpha_v[:], layers.theta[:] = 0.05, 0.4, turn
    side = rig(lamp=(600.0, 0.0, 800.0), colour=(1e6,) * 3)
    assert radiance(across, side)[4, 4, 0] > 5 * radiance(along, side)[4, 4, 0]


def test_energy_is_not_made():
    for alpha in (0.1, 0.3, 0.6):
        assert radiance(plate(1.0, 1.0, alpha), rig(sky=1.0)).max() < 1.05


def test_rigs_differ_and_are_seeded():
    one, two = (sample_rig(np.random.default_rng(4)) for _ in range(2))
    assert np.array_equal(one.maps, two.maps)
    assert not np.array_equal(one.maps, sample_rig(np.random.default_rng(5)).maps)


def test_srgb_curve():
    # IEC 61966-2-1: 0.0031308 is the knee (12.92 x), 0.2140 encodes to 0.5
    values = encode_srgb(np.float32([[0.0, 0.0031308, 0.21404114, 1.0]]))
    assert values[0].tolist() == pytest.approx([0.0, 0.04045, 0.5, 1.0], abs=1e-4)


def test_exposure_does_not_care_for_the_unit_of_radiance():
    rng = np.random.default_rng(0)
    linear = rng.uniform(0.1, 1.0, (64, 96, 3)).astype(np.float32)
    camera = sample_camera(np.random.default_rng(1))
    one, two = (expose(np.random.default_rng(2), linear * k, camera).astype(int) for k in (1.0, 1000.0))
    assert np.abs(one - two).max() <= 2
