"""Measuring how spots are followed over passes."""

import json

import cv2
import numpy as np
import pytest

from prepcheck.errors import Unreadable
from prepcheck.evaluate.sequences import (
    follow_sequence,
    main,
    measure,
    read_sequences,
    registration_mm,
    shaken,
    true_align,
    true_look,
)
from prepcheck.settings import Settings
from prepcheck.terms import State
from tests.scenes import plate

SETTINGS = Settings()
SIZE = (480, 640)


def write(folder, name, group, pass_no, patches, *, shift=(0, 0), mm=0.2, labels=()):
    states, ground, persisting = plate(*SIZE), np.zeros(SIZE, np.uint8), np.zeros(SIZE, np.uint8)
    dx, dy = shift
    for plane, value in ((states, int(State.BRIGHT)), (ground, 255)):
        cv2.circle(plane, (320 + dx, 240 + dy), 150, value, -1)
    for x, y, r in patches:
        cv2.circle(states, (x + dx, y + dy), r, int(State.OXIDE), -1)
    for label, x, y, r in labels:
        cv2.circle(persisting, (x + dx, y + dy), r, label, -1)
    planes = {"states": states, "ground": ground} | ({"persisting": persisting} if labels is not None else {})
    for kind, plane in planes.items():
        (folder / kind).mkdir(parents=True, exist_ok=True)
        cv2.imwrite(str(folder / kind / f"{name}.png"), plane)
    to_first = [[1, 0, -dx], [0, 1, -dy], [0, 0, 1]]
    (folder / "meta").mkdir(exist_ok=True)
    meta = {"group": group, "pass_no": pass_no, "mm_per_px": mm, "to_first": to_first}
    (folder / "meta" / f"{name}.json").write_text(json.dumps(meta))


STAYS, GOES, COMES = (300, 240, 20), (380, 200, 15), (340, 320, 12)


@pytest.fixture
def folder(tmp_path):
    write(tmp_path, "s1_a", "s1", 1, [STAYS, GOES])
    write(tmp_path, "s1_b", "s1", 2, [STAYS, COMES], shift=(12, -7), labels=[(1, *STAYS)])
    return tmp_path


def test_a_patch_that_stays_is_found_and_nothing_else(folder):
    (truth,) = read_sequences(folder)
    tally, _ = follow_sequence(truth, true_look, true_align, SETTINGS)
    assert tally.as_dict() == {"sequences": 1, "patches": 1, "found": 1, "told": 1, "false": 0}


def test_without_alignment_the_patch_is_missed(folder):
    (truth,) = read_sequences(folder)
    tally, _ = follow_sequence(truth, true_look, lambda latest, earlier: None, SETTINGS)
    assert (tally.patches, tally.found, tally.told) == (1, 0, 0)


def test_what_is_told_to_persist_but_does_not_is_false(folder):
    write(folder, "s1_b", "s1", 2, [STAYS, GOES], shift=(12, -7), labels=[(1, *STAYS)])
    (truth,) = read_sequences(folder)
    tally, _ = follow_sequence(truth, true_look, true_align, SETTINGS)
    assert (tally.found, tally.told, tally.false) == (1, 2, 1)


def test_small_true_patches_need_not_be_found_but_are_not_false(folder):
    write(folder, "s1_b", "s1", 2, [STAYS, GOES], shift=(12, -7), labels=[(1, *STAYS), (255, *GOES)])
    (truth,) = read_sequences(folder)
    tally, _ = follow_sequence(truth, true_look, true_align, SETTINGS)
    assert (tally.patches, tally.told, tally.false) == (1, 2, 0)


def test_a_patch_under_3_mm2_in_view_is_not_asked_for(folder):
    write(folder, "s1_b", "s1", 2, [STAYS], shift=(12, -7), labels=[(1, *STAYS), (2, 360, 300, 3)])
    (truth,) = read_sequences(folder)
    tally, _ = follow_sequence(truth, true_look, true_align, SETTINGS)
    assert tally.patches == 1


def test_registration_error_is_the_shift_in_mm(folder):
    (truth,) = read_sequences(folder)
    first, last = truth.passes
    way = np.array([[1, 0, 3], [0, 1, 4], [0, 0, 1.0]]) @ true_align(last, first).matrix
    assert registration_mm(way, last, first) == pytest.approx(5 * 0.2)
    assert registration_mm(true_align(last, first).matrix, last, first) == pytest.approx(0, abs=1e-9)


def test_a_shaken_alignment_is_off_by_what_it_says(folder):
    (truth,) = read_sequences(folder)
    first, last = truth.passes
    known = shaken(4.0)(last, first)
    assert known.error_px == 4.0
    assert registration_mm(known.matrix, last, first) == pytest.approx(4.0 * 640 / 1280 * 0.2)


def test_sequences_are_counted_one_by_one(folder):
    write(folder, "s2_a", "s2", 1, [STAYS])
    write(folder, "s2_b", "s2", 2, [], labels=[])
    summed, told = measure(folder, true_look, true_align, SETTINGS)
    assert summed.sequences == 2
    assert told["persisting patches found"].value == 1
    assert told["false persisting patches a sequence"].value == 0


def test_a_single_pass_is_no_sequence(tmp_path):
    write(tmp_path, "s1_a", "s1", 1, [STAYS])
    with pytest.raises(Unreadable, match="no sequence"):
        list(read_sequences(tmp_path))


def test_a_broken_meta_file_is_named(folder):
    (folder / "meta" / "s1_a.json").write_text("{")
    with pytest.raises(Unreadable, match=r"s1_a\.json"):
        list(read_sequences(folder))


def test_the_figures_are_printed(folder, capsys):
    assert main([str(folder)]) == 0
    assert "persisting patches found                 1.000" in capsys.readouterr().out
