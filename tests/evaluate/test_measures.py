"""The measures, on small maps counted by hand."""

import numpy as np
import pytest

from prepcheck.evaluate.measures import (
    MEASURES,
    POINT_MEASURES,
    bootstrap,
    calibration_error,
    point_tally,
    tally,
    total,
)
from prepcheck.terms import State

B, O, X = int(State.BRIGHT), int(State.OXIDE), int(State.CANNOT_TELL)  # noqa: E741


def compare(predicted, truth, *, residue=None, mm_per_px=1.0, interval=None, burnt=None, spots=None):
    predicted, truth = np.array(predicted, np.uint8), np.array(truth, np.uint8)
    residue = (predicted != B).astype(np.float32) if residue is None else np.asarray(residue, np.float32)
    everywhere = np.ones(truth.shape, bool)
    return tally(
        predicted,
        residue,
        everywhere if spots is None else spots,
        truth,
        everywhere,
        np.zeros(truth.shape, bool) if burnt is None else burnt,
        mm_per_px=mm_per_px,
        interval=interval,
    )


def test_balanced_accuracy_is_the_mean_of_both_recalls():
    # Bright: 3 of 4 right; oxide: 1 of 2 right.
    made = compare([[B, B, B, O, O, B]], [[B, B, B, B, O, O]])
    assert MEASURES["balanced accuracy"](made) == pytest.approx((3 / 4 + 1 / 2) / 2)


@pytest.mark.parametrize("code", [State.OXIDE, State.PIT, State.COATING, State.FOREIGN])
def test_oxide_counts_as_found_when_called_any_residue(code):
    assert MEASURES["balanced accuracy"](compare([[B, int(code)]], [[B, O]])) == 1.0


def test_what_is_not_told_lowers_the_coverage_and_nothing_else():
    made = compare([[B, X, O, X]], [[B, B, O, O]])
    assert (MEASURES["balanced accuracy"](made), MEASURES["coverage"](made)) == (1.0, 0.5)


def test_burnt_out_pixels_are_left_out():
    made = compare([[B, B, O]], [[B, O, O]], burnt=np.array([[False, True, False]]))
    assert MEASURES["balanced accuracy"](made) == 1.0


def block(codes, y, x, height, width, code):
    codes[y : y + height, x : x + width] = code
    return codes


def test_a_patch_is_found_when_a_quarter_is_called():
    truth = block(np.full((10, 20), B), 2, 2, 4, 4, O)
    barely = block(np.full((10, 20), B), 2, 2, 1, 4, O)
    less = block(np.full((10, 20), B), 2, 2, 1, 3, O)
    assert MEASURES["patch recall"](compare(barely, truth)) == 1.0
    assert MEASURES["patch recall"](compare(less, truth)) == 0.0


def test_patches_under_three_square_millimetres_do_not_count():
    truth = block(np.full((10, 20), B), 2, 2, 1, 2, O)
    assert compare(truth, truth).patches == 0
    assert compare(truth, truth, mm_per_px=2.0).patches == 1


def test_a_mapped_patch_mostly_on_bright_metal_is_false():
    truth = block(np.full((10, 20), B), 0, 0, 4, 4, O)
    predicted = block(block(np.full((10, 20), B), 0, 0, 4, 4, O), 0, 10, 4, 4, O)
    assert MEASURES["false patches a photo"](compare(predicted, truth)) == 1.0


def test_share_error_and_interval_are_taken_over_the_ground_area():
    made = compare([[B, B, B, B]], [[B, B, B, O]], interval=(0.7, 0.9))
    assert MEASURES["bright-share error"](made) == pytest.approx(0.25)
    assert (MEASURES["interval holds the truth"](made), MEASURES["interval width"](made)) == (1.0, pytest.approx(0.2))


def test_no_interval_counts_as_the_widest():
    assert MEASURES["interval width"](compare([[B, O]], [[B, O]])) == 1.0


def test_overlap_over_union():
    spots = np.array([[True, True, False, False]])
    assert MEASURES["spot IoU"](compare([[B, B, B, O]], [[B, B, B, O]], spots=spots)) == 0.5


def test_a_calibrated_probability_has_no_error():
    truth = [[O, O, O, B]] * 5
    assert calibration_error(compare(truth, truth, residue=np.full((5, 4), 0.75))) == pytest.approx(0.0, abs=1e-6)


def test_an_overconfident_probability_is_off_by_the_difference():
    truth = [[O, B]] * 5
    assert calibration_error(compare(truth, truth, residue=np.full((5, 2), 0.9))) == pytest.approx(0.4, abs=1e-6)


def test_points_are_counted_as_the_labels_say():
    labels = np.array([1, 1, 2, 3, 4, 5, 0, 6, 9, 2], np.uint8)
    told = np.array([1, 2, 1, 3, 4, 5, 1, 1, 1, 255], np.uint8)
    made = point_tally(told, labels)
    figures = {name: measure(made) for name, measure in POINT_MEASURES.items()}
    assert figures == {
        "coverage": pytest.approx(6 / 7),
        "bright called bright": 0.5,
        "wrongly bright": 0.25,
        "residue found": pytest.approx(2 / 3),
        "balanced accuracy of points": pytest.approx((0.5 + 0.75) / 2),
    }


def test_tallies_of_two_photos_add_up():
    made = total([compare([[B, O]], [[B, O]]), compare([[O, O]], [[B, O]])])
    assert (made.photos, made.bright_told, made.bright_right) == (2, 2, 1)


def test_the_bootstrap_of_equal_photos_has_no_width():
    groups = [compare([[B, O, O]], [[B, O, B]])] * 5
    assert bootstrap(groups, MEASURES["balanced accuracy"], draws=50) == (0.75, 0.75)


def test_the_bootstrap_holds_the_figure():
    rng = np.random.default_rng(0)
    groups = [compare(rng.choice([B, O], (1, 50)), rng.choice([B, O], (1, 50))) for _ in range(30)]
    low, high = bootstrap(groups, MEASURES["balanced accuracy"], draws=200)
    assert low < MEASURES["balanced accuracy"](total(groups)) < high
