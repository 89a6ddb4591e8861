from __future__ import annotations

import numpy as np
import pytest

from prepcheck.agreement.kappa import cohen
from prepcheck.tasks.practice import Session
from prepcheck.tasks.practice_progress import outcome, outcome_words, outcomes, since_then
from prepcheck.trade.entries import PracticeCompared, PracticePhoto

HASH = "a" * 64


def compared(areas=(20, 5, 10, 15), patches=(3, 4), off=(1, 2), against="tool", photo=HASH):
    """Return how one photo came out: areas as a table, patches found and all, marked patches off and all."""
    both, only_marked, only_other, neither = areas
    return PracticeCompared(
        session=1, photo_sha256=photo, mark_sha256=HASH, against=against, source="x", source_sha256=HASH,
        settings_sha256=HASH, both=both, only_marked=only_marked, only_other=only_other, neither=neither, unsure=7,
        least_px=1, patches=patches[1], patches_found=patches[0], marked=off[1], marked_off=off[0],
    )  # fmt: skip


def test_kappa_by_area_is_cohens():
    """A textbook's table of 20, 5, 10, 15 has kappa 0.4: (0.70 - 0.50) / (1 - 0.50), computed by hand here."""
    found = outcome([compared()], "tool")
    assert found.kappa == pytest.approx(0.4, abs=1e-5)
    assert found.kappa == pytest.approx(cohen(np.array([[20, 5], [10, 15]])).value, abs=1e-5)


def test_each_photo_weighs_the_same_however_large_it_is():
    one, other = compared((20, 5, 10, 15)), compared((1, 2, 3, 4), photo="b" * 64)
    large = compared((1000, 2000, 3000, 4000), photo="b" * 64)
    assert outcome([one, other], "tool").kappa == pytest.approx(outcome([one, large], "tool").kappa)


def test_patches_are_added_up_with_the_exact_interval():
    """3 of 4 and 2 of 6 are 5 of 10: Clopper and Pearson 18.7 to 81.3 % (published tables, from memory)."""
    found = outcome([compared(patches=(3, 4)), compared(patches=(2, 6))], "tool").found
    assert (found.hits, found.of) == (5, 10)
    assert (found.low, found.high) == (pytest.approx(0.187, abs=5e-4), pytest.approx(0.813, abs=5e-4))


def test_an_interval_by_photo_needs_three_photos():
    photos = [compared((20 + n, 5, 10, 15 - n)) for n in range(4)]
    assert outcome(photos[:2], "tool").interval is None
    low, high = outcome(photos, "tool").interval
    assert low < outcome(photos, "tool").kappa < high


def test_tool_and_truth_are_never_added_up():
    told = [compared(against="truth", patches=(1, 1)), compared(patches=(0, 5))]
    session = Session(
        1, "Mika", "", (PracticePhoto(name="a", sha256=HASH),), {}, {(HASH, one.against): one for one in told}
    )
    assert [(one.against, one.found.of) for one in outcomes(session)] == [("truth", 1), ("tool", 5)]


def test_nothing_compared_is_no_outcome():
    assert outcome([compared()], "truth") is None


def test_a_photo_of_which_nothing_is_sure_has_no_share_in_kappa():
    found = outcome([compared(), compared((0, 0, 0, 0))], "tool")
    assert (found.photos, found.kappa) == (2, pytest.approx(0.4, abs=1e-5))


def test_an_outcome_is_told_in_plain_words():
    assert outcome_words(outcome([compared()], "tool")) == [
        "Beside the tool, 1 photo: found 3 of 4 patches (19 to 99 %); 1 of 2 marked patches (1 to 99 %) lay mostly off its"
        " residue.",
        "Agreement by area: kappa 0.40; an interval needs three photos that differ.",
    ]


def test_with_nothing_to_find_that_is_told():
    first, second = outcome_words(outcome([compared((0, 0, 0, 9), (0, 0), (0, 0), "truth")], "truth"))
    assert first == "Beside the known truth, 1 photo: there was no patch to find; nothing was marked."
    assert "no kappa" in second


def test_an_interval_has_the_words_of_its_scale():
    photos = [compared((20 + n, 5, 10, 15 - n)) for n in range(4)]
    assert "by photo), " in outcome_words(outcome(photos, "tool"))[1]


@pytest.mark.parametrize(
    ("earlier", "later", "words"),
    [
        ((1, 40), (39, 40), "More patches"),
        ((39, 40), (1, 40), "Fewer patches"),
        ((2, 4), (4, 4), "can be chance"),
        ((0, 0), (4, 4), "Nothing to compare"),
    ],
)
def test_a_difference_is_claimed_only_where_intervals_lie_apart(earlier, later, words):
    before, now = (outcome([compared(patches=pair)], "tool") for pair in (earlier, later))
    assert words in since_then(before, now)
