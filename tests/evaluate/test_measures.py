"""The measures, on small maps counted by hand."""

import numpy as np
import pytest

from prepcheck.evaluate.bootstrap import figures, total
from prepcheck.evaluate.measures import MEASURES, Tally, calibration_error, risk_coverage, tally
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


def test_false_area_is_residue_mapped_on_true_bright_metal_told_or_not():
    # One of four bright pixels is called oxide, one is not told, one is called background.
    assert MEASURES["false area"](compare([[B, O, X, 0, O]], [[B, B, B, B, O]])) == 0.25


def test_false_patches_are_counted_over_the_photos_that_have_a_scale():
    truth = np.full((10, 20), B)
    called = block(truth.copy(), 0, 10, 4, 4, O)
    both = total([compare(called, truth), compare(called, truth, mm_per_px=None)])
    assert (both.photos, MEASURES["false patches a photo"](both)) == (2, 1.0)


def test_where_nothing_is_told_the_share_is_as_wrong_as_it_can_be():
    made = compare([[X, X, X, X]], [[B, O, O, O]])
    assert MEASURES["bright-share error"](made) == 0.75


def test_nothing_to_measure_is_no_number():
    assert all(np.isnan(measure(Tally())) for measure in MEASURES.values())


def test_residue_of_one_kind_called_another_is_no_error_of_the_share():
    assert MEASURES["bright-share error"](compare([[B, 3, 4, 5]], [[B, O, O, O]])) == 0


def test_the_risk_falls_when_only_the_surest_pixels_are_told():
    # The wrong pixels (true oxide said to be 0.4 residue, true bright said to be 0.6) are the least sure ones.
    truth = [[B] * 10 + [O] * 10]
    said = np.array([[0.1] * 8 + [0.6] * 2 + [0.9] * 8 + [0.4] * 2])
    told, risk = risk_coverage(compare(truth, truth, residue=said))
    assert (told[-1], risk[-1]) == (pytest.approx(1.0), pytest.approx(0.2))
    assert risk[np.searchsorted(told, 0.5)] == 0


def test_tallies_of_two_photos_add_up():
    made = total([compare([[B, O]], [[B, O]]), compare([[O, O]], [[B, O]])])
    assert (made.photos, made.confusion[B].sum(), made.confusion[B, B]) == (2, 2, 1)


def test_every_measure_of_drawn_counts_is_that_of_the_counts_added_by_hand():
    # The quick way (a product of matrices) against the plain one (adding tallies up), on the same draws.
    rng = np.random.default_rng(0)
    groups = [compare(rng.choice([B, O, X], (9, 9)), rng.choice([B, O], (9, 9)), interval=(0, 0.6)) for _ in range(6)]
    quick = figures(groups, MEASURES, draws=40, seed=3)
    picks = np.random.default_rng(3).multinomial(6, np.full(6, 1 / 6), size=40)
    drawn = [total([group for group, times in zip(groups, pick, strict=True) for _ in range(times)]) for pick in picks]
    for name, measure in MEASURES.items():
        expected = np.nanquantile([float(measure(one)) for one in drawn], (0.025, 0.975))
        assert (quick[name].low, quick[name].high) == pytest.approx(tuple(expected), abs=1e-9), name
