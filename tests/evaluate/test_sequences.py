"""Measuring how spots are followed over passes."""

import numpy as np
import pytest

from prepcheck.errors import Unreadable
from prepcheck.evaluate.bootstrap import Figure
from prepcheck.evaluate.cameras import true_align
from prepcheck.evaluate.sequences import (
    CURVE,
    Followed,
    curve,
    follow_sequence,
    least_sure,
    main,
    measure,
    read_sequences,
    true_look,
)
from prepcheck.photo.align import NotAligned
from prepcheck.settings import Settings
from prepcheck.spot.follow import PersistingPatch
from tests.evaluate.known_views import write

SETTINGS = Settings()
STAYS, GOES, COMES = (300, 240, 20), (380, 200, 15), (340, 320, 12)


@pytest.fixture
def folder(tmp_path):
    write(tmp_path, "s1_a", "s1", 1, [STAYS, GOES])
    write(tmp_path, "s1_b", "s1", 2, [STAYS, COMES], shift=(12, -7), labels=[(1, *STAYS)])
    return tmp_path


def test_a_patch_that_stays_is_found_and_nothing_else(folder):
    (truth,) = read_sequences(folder)
    tally = follow_sequence(truth, true_look, true_align, SETTINGS).tally()
    assert (tally.sequences, tally.patches, tally.found, tally.told, tally.false) == (1, 1, 1, 1, 0)


def test_without_alignment_the_patch_is_missed(folder):
    (truth,) = read_sequences(folder)
    tally = follow_sequence(truth, true_look, lambda latest, earlier: NotAligned("no"), SETTINGS).tally()
    assert (tally.patches, tally.found, tally.told) == (1, 0, 0)


def test_what_is_told_to_persist_but_does_not_is_false(folder):
    write(folder, "s1_b", "s1", 2, [STAYS, GOES], shift=(12, -7), labels=[(1, *STAYS)])
    (truth,) = read_sequences(folder)
    tally = follow_sequence(truth, true_look, true_align, SETTINGS).tally()
    assert (tally.found, tally.told, tally.false) == (1, 2, 1)


def test_small_true_patches_need_not_be_found_but_are_not_false(folder):
    write(folder, "s1_b", "s1", 2, [STAYS, GOES], shift=(12, -7), labels=[(1, *STAYS), (255, *GOES)])
    (truth,) = read_sequences(folder)
    tally = follow_sequence(truth, true_look, true_align, SETTINGS).tally()
    assert (tally.patches, tally.told, tally.false) == (1, 2, 0)


def test_a_patch_under_3_mm2_in_view_is_not_asked_for(folder):
    write(folder, "s1_b", "s1", 2, [STAYS], shift=(12, -7), labels=[(1, *STAYS), (2, 360, 300, 3)])
    (truth,) = read_sequences(folder)
    tally = follow_sequence(truth, true_look, true_align, SETTINGS).tally()
    assert tally.patches == 1


def test_sequences_are_counted_one_by_one(folder):
    write(folder, "s2_a", "s2", 1, [STAYS])
    write(folder, "s2_b", "s2", 2, [], labels=[])
    summed, told = measure(folder, true_look, true_align, SETTINGS)
    assert summed.sequences == 2
    assert told["persisting patches found"].value == 1
    assert told["false persisting patches a sequence"].value == 0


def test_a_single_pass_is_no_sequence(tmp_path):
    write(tmp_path, "s1_a", "s1", 1, [STAYS])
    with pytest.raises(Unreadable, match="no group of two photos"):
        list(read_sequences(tmp_path))


def test_a_set_is_no_sequence(tmp_path):
    for name in ("s1_a", "s1_b"):
        write(tmp_path, name, "s1", None, [STAYS])
    with pytest.raises(Unreadable, match="no sequence"):
        list(read_sequences(tmp_path))


def test_a_broken_meta_file_is_named(folder):
    (folder / "meta" / "s1_a.json").write_text("{")
    with pytest.raises(Unreadable, match=r"s1_a\.json"):
        list(read_sequences(folder))


def test_the_figures_are_printed(folder, capsys):
    assert main([str(folder)]) == 0
    assert "persisting patches found                      1.000" in capsys.readouterr().out


def test_found_patches_are_counted_by_their_size(folder):
    write(folder, "s1_b", "s1", 2, [STAYS, (340, 320, 12)], shift=(12, -7), labels=[(1, *STAYS), (2, 340, 320, 12)])
    (truth,) = read_sequences(folder)
    tally = follow_sequence(truth, true_look, true_align, SETTINGS).tally()
    assert tally.patches_of_size.tolist() == [0, 1, 1, 0], "18 and 50 mm2 at 0.2 mm a pixel"
    assert tally.found_of_size.tolist() == [0, 0, 1, 0], "the smaller one was not there before"


def test_a_sequence_in_which_nothing_stays_and_nothing_is_told_is_clean(folder):
    write(folder, "s1_b", "s1", 2, [COMES], labels=[])
    (truth,) = read_sequences(folder)
    tally = follow_sequence(truth, true_look, true_align, SETTINGS).tally()
    assert (tally.staying, tally.flagged, tally.clean, tally.wrongly) == (0, 0, 1, 0)


def followed(*sure, right, covers):
    told = tuple(PersistingPatch(np.ones((1, 1), bool), (0, 0), np.zeros((0, 2)), (0, 0), 1, 1, 1, 2, p) for p in sure)
    covers = np.array(covers, float)
    return Followed(told, np.array(right, float), covers, np.full(covers.shape[1], 5.0), clean=False)


def test_what_is_less_sure_is_not_counted():
    one = followed(0.95, 0.7, right=[0.9, 0.1], covers=[[0.5, 0.0], [0.0, 0.5]])
    assert (one.tally().found, one.tally().false) == (2, 1)
    assert (one.tally(0.9).found, one.tally(0.9).false) == (1, 0)


def test_pieces_of_a_patch_find_it_together():
    assert followed(0.9, 0.9, right=[1, 1], covers=[[0.2], [0.1]]).tally().found == 1


def test_false_patches_that_are_a_quarter_right_are_told_apart():
    tally = followed(0.9, 0.9, 0.9, right=[0.1, 0.3, 0.6], covers=np.zeros((3, 1))).tally()
    assert (tally.told, tally.false, tally.partly) == (3, 2, 1)


def test_a_curve_says_what_each_threshold_would_have_told(folder):
    for sure, figure in curve(folder, true_look, true_align, SETTINGS).items():
        rule = SETTINGS.follow.model_copy(update={"sure_probability": sure})
        _, alone = measure(folder, true_look, true_align, SETTINGS.model_copy(update={"follow": rule}))
        assert figure["persisting patches found"] == alone["persisting patches found"]


def test_a_curve_is_printed_by_threshold(folder, capsys):
    assert main([str(folder), "--curve"]) == 0
    said = capsys.readouterr().out
    assert all(f"sure from {sure:g}\n" in said for sure in CURVE)
    assert said.endswith("least with at most 0.1 false a sequence: 0.5\n"), "true maps tell nothing false"


def test_the_least_threshold_is_the_one_with_few_false_patches():
    def false(share):
        return {"false persisting patches a sequence": Figure(share, 0, 1)}

    assert least_sure({0.8: false(0.3), 0.9: false(0.1), 0.95: false(0.02)}) == 0.9
    assert least_sure({0.8: false(0.3)}) is None
