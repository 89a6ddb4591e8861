"""The chain from a photo to its standing, on painted plates with known truth."""

import dataclasses

import numpy as np
import pytest

from prepcheck.errors import BadOutlines
from prepcheck.inspection import Outlines, inspect, settings_sha256, worst_standing
from prepcheck.photo.card_image import card_image
from prepcheck.record import Record, record_of
from prepcheck.score import JointLine
from prepcheck.settings import Settings
from prepcheck.terms import Standing, State
from tests.painted import model, paint, photo, plate

SETTINGS = Settings()


def look(states, settings=SETTINGS, *, scale=0.2, reduction=1, **options):
    return inspect(photo(states, reduction=reduction), model(), settings, stated_mm_per_px=scale, **options)


def codes(inspection):
    return {flag.code for flag in inspection.flags}


def test_a_clean_spot_is_bright():
    assert look(plate()).standing == Standing.BRIGHT


def test_a_large_patch_of_oxide_leaves_residue():
    assert look(plate((State.OXIDE, 320, 240, 60))).standing == Standing.RESIDUE_LEFT


def test_the_share_is_that_of_the_painted_truth():
    states = plate((State.OXIDE, 320, 240, 60))
    assert look(states).answer.share.value == pytest.approx(1 - (60 / 150) ** 2, abs=0.01)


def test_the_area_is_that_of_the_circle_at_the_stated_scale():
    record = record_of(look(plate(), scale=0.2))
    assert record.spots[0].area_mm2 == pytest.approx(np.pi * (150 * 0.2) ** 2, rel=0.03)


def test_sizes_do_not_depend_on_how_far_the_photo_was_reduced():
    one, two = (record_of(look(plate((State.OXIDE, 320, 240, 40)), scale=0.2 / r, reduction=r)) for r in (1, 2))
    assert two.spots[0].largest_patch_mm == pytest.approx(one.spots[0].largest_patch_mm, rel=1e-3)


def test_patches_are_recorded_one_by_one_up_to_the_twenty_longest():
    """24 dots of growing size; each is twice its radius long."""
    dots = [(State.OXIDE, 230 + 36 * (n % 6), 180 + 36 * (n // 6), 4 + n // 2) for n in range(24)]
    spot = record_of(look(plate(*dots), scale=0.2)).spots[0]
    lengths = [patch.length_mm for patch in spot.longest_patches]
    assert (spot.patches, len(lengths)) == (24, 20)
    assert lengths == sorted(lengths, reverse=True)
    assert spot.longest_patches[0] == spot.largest_patch
    assert lengths[0] == pytest.approx(2 * 15 * 0.2, rel=0.1)
    assert lengths[-1] >= 2 * 6 * 0.2 * 0.9


def test_no_spot_is_a_retake_with_its_flag():
    inspection = look(np.full((480, 640), State.COATING, np.uint8))
    assert inspection.standing == Standing.RETAKE
    assert "no_spot" in codes(inspection)


def test_a_blocking_flag_makes_every_spot_a_retake():
    dark = dataclasses.replace(photo(plate()), rgb=(paint(plate()) // 40).astype(np.uint8))
    record = record_of(inspect(dark, model(), SETTINGS))
    assert record.standing == Standing.RETAKE
    assert {spot.standing for spot in record.spots} <= {Standing.RETAKE}


def test_a_spot_at_the_edge_is_flagged_as_cut_off():
    inspection = look(plate(spot=(100, 240, 150)))
    assert "cut_off" in codes(inspection)


def test_spots_on_two_parts_are_flagged():
    states = np.full((480, 640), State.BACKGROUND, np.uint8)
    states[40:440, 20:300] = State.COATING
    states[40:440, 340:620] = State.COATING
    states[160:320, 80:240] = State.BRIGHT
    states[160:320, 400:560] = State.BRIGHT
    assert "several_parts" in codes(look(states))


def test_two_spots_on_one_part_are_not():
    states = plate(spot=(160, 240, 90))
    states[160:320, 400:560] = State.BRIGHT
    inspection = look(states)
    assert len(inspection.answer.spots) == 2
    assert "several_parts" not in codes(inspection)


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_quarter_turns_do_not_move_the_share(turns):
    states = plate((State.OXIDE, 260, 200, 50), (State.PIT, 400, 300, 12))
    turned = np.ascontiguousarray(np.rot90(states, turns))
    assert look(turned).answer.share.value == pytest.approx(look(states).answer.share.value, abs=0.005)


def test_more_residue_never_raises_a_share():
    values = [look(plate((State.OXIDE, 320, 240, radius))).answer.share.value for radius in range(0, 120, 20)]
    assert values == sorted(values, reverse=True)


def test_a_refused_outline_stays_in_the_tools_answer():
    states = plate(spot=(160, 240, 90))
    states[160:320, 400:560] = State.BRIGHT
    inspection = look(states, outlines=Outlines(refused={2: "that is the bench"}))
    record = record_of(inspection)
    assert [spot.number for spot in record.spots] == [1, 2]
    assert [spot.number for spot in record.by_person.spots] == [1]
    assert record.by_person.refused == {2: "that is the bench"}


def test_a_drawn_outline_is_scored_beside_the_tools_spots():
    square = np.array([[250.0, 170.0], [390.0, 170.0], [390.0, 310.0], [250.0, 310.0]])
    states = plate((State.OXIDE, 320, 240, 30))
    record = record_of(look(states, outlines=Outlines(drawn=(square,))))
    assert len(record.spots) == 1
    drawn = record.by_person.spots[1]
    assert drawn.outlined_by == "person"
    assert drawn.bright_share == pytest.approx(1 - np.pi * 30**2 / 141**2, abs=0.01)


def test_a_persons_spot_can_be_judged_where_the_tool_found_none():
    square = np.array([[250.0, 170.0], [390.0, 170.0], [390.0, 310.0], [250.0, 310.0]])
    states = np.full((480, 640), State.COATING, np.uint8)
    record = record_of(look(states, outlines=Outlines(drawn=(square,))))
    assert record.standing == Standing.RETAKE
    assert record.by_person.standing == Standing.RESIDUE_LEFT


def test_the_origin_names_model_settings_and_photo():
    origin = record_of(look(plate())).origin
    assert (origin.model, origin.model_sha256) == ("palette", "1" * 64)
    assert origin.settings_sha256 == settings_sha256(SETTINGS, model())
    assert origin.photo_sha256 == "2" * 64


def test_other_settings_have_another_hash():
    other = SETTINGS.model_copy(update={"score": SETTINGS.score.model_copy(update={"residue_limit": 0.04})})
    assert settings_sha256(other, model()) != settings_sha256(SETTINGS, model())


def test_another_calibration_has_another_hash():
    assert settings_sha256(SETTINGS, model(error_floor=0.01)) != settings_sha256(SETTINGS, model())


def test_a_record_reads_back_as_itself():
    record = record_of(look(plate((State.OXIDE, 320, 240, 60))))
    assert Record.model_validate_json(record.model_dump_json()) == record


def test_every_record_carries_the_cautions():
    assert any("native oxide film" in caution for caution in record_of(look(plate())).cautions)


@pytest.mark.parametrize(
    ("standings", "worst"),
    [
        ([Standing.BRIGHT, Standing.CANNOT_TELL], Standing.CANNOT_TELL),
        ([Standing.CANNOT_TELL, Standing.RESIDUE_LEFT], Standing.RESIDUE_LEFT),
        ([Standing.RESIDUE_LEFT, Standing.RETAKE], Standing.RETAKE),
        ([Standing.BRIGHT, Standing.BRIGHT], Standing.BRIGHT),
        ([], Standing.RETAKE),
    ],
)
def test_the_worst_spot_decides(standings, worst):
    assert worst_standing(standings) == worst


def test_a_picture_that_is_all_spot_is_a_retake():
    inspection = look(np.full((480, 640), State.BRIGHT, np.uint8))
    assert inspection.standing == Standing.RETAKE
    assert "fills_picture" in codes(inspection)


def with_card(states, left, top, px_per_mm=1.0):
    """Lay the scale card square onto the painted plate and give the photo."""
    image = card_image(px_per_mm)
    rgb = paint(states)
    rgb[top : top + image.shape[0], left : left + image.shape[1]] = image[:, :, None]
    return dataclasses.replace(photo(states), rgb=rgb)


def test_a_card_beside_the_spot_gives_the_scale():
    states = plate(size=(960, 1280), spot=(380, 480, 220))
    inspection = inspect(with_card(states, 800, 300, 3.0), model(), SETTINGS)
    assert record_of(inspection).spots[0].mm_per_px == pytest.approx(1 / 3, rel=0.01)
    assert not codes(inspection) & {"no_scale", "card_off_plane", "doubtful_scale"}


def test_a_card_on_another_part_is_flagged():
    states = np.full((960, 1280), State.BACKGROUND, np.uint8)
    states[100:860, 20:700] = State.COATING
    states[100:860, 780:1270] = State.COATING
    states[300:600, 200:500] = State.BRIGHT
    assert "card_off_plane" in codes(inspect(with_card(states, 850, 300, 3.0), model(), SETTINGS))


def joint(*points):
    return Outlines(joint=JointLine(np.array(points, np.float64)))


ACROSS = joint([180, 240], [460, 240])


def test_a_speck_at_the_joint_line_leaves_residue():
    states = plate((State.OXIDE, 320, 240, 5))
    assert look(states).standing == Standing.BRIGHT
    assert look(states, outlines=ACROSS).standing == Standing.RESIDUE_LEFT


def test_a_joint_line_alone_says_nothing_of_the_outlines():
    assert look(plate(), outlines=ACROSS).by_person is None


def test_the_record_carries_the_joint_line_and_both_margins():
    said = record_of(look(plate((State.OXIDE, 320, 200, 5)), outlines=ACROSS)).joint
    assert said.line == [(180.0, 240.0), (460.0, 240.0)]
    assert said.margin_mm == SETTINGS.score.joint_margin_mm
    assert {side.name: side.shares["residue"] > 0 for side in said.sides} == {"above": True, "below": False}
    assert said.touching == []


def test_the_margin_counts_spots_drawn_by_a_person():
    drawn = np.array([[200, 100], [440, 100], [440, 380], [200, 380]], np.float64)
    told = look(plate(), outlines=Outlines((drawn,), {1: "half of it"}, ACROSS.joint))
    own, theirs = (record.joint.sides for record in (record_of(told), record_of(told).by_person))
    assert own[0].shares["not_ground"] != theirs[0].shares["not_ground"]


def test_a_photo_to_retake_keeps_the_line_and_judges_nothing():
    dark = dataclasses.replace(photo(plate()), rgb=(paint(plate()) // 40).astype(np.uint8))
    said = record_of(inspect(dark, model(), SETTINGS, stated_mm_per_px=0.2, outlines=ACROSS)).joint
    assert (len(said.line), said.margin_mm, said.sides, said.touching) == (2, None, [], [])


@pytest.mark.parametrize(
    ("points", "margin_mm", "says"),
    [
        ([[0, 0], [900, 0]], None, "leaves the photo"),
        ([[50, 50], [51, 51]], None, "next to a dot"),
        ([[50, 50], [250, 50]], 0.0, "a margin of 0 mm"),
        ([[50, 50], [250, 50]], 501.0, "a margin of 501 mm"),
        ([[50, 50], [250, 50]], float("nan"), "a margin of nan mm"),
    ],
)
def test_a_line_that_is_none_is_refused(points, margin_mm, says):
    with pytest.raises(BadOutlines, match=says):
        look(plate(), outlines=Outlines(joint=JointLine(np.array(points, np.float64), margin_mm)))


def test_a_stated_margin_replaces_that_of_the_settings():
    said = record_of(look(plate(), outlines=Outlines(joint=JointLine(ACROSS.joint.points, 10.0)))).joint
    assert (said.margin_mm, said.margin_stated) == (10.0, True)
    assert said.sides[0].area_mm2 == pytest.approx(10 * 280 * 0.2, rel=0.03)
