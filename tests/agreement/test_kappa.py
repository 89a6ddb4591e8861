"""Agreement beyond chance against published tables, a second way of computing, and what must not change it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from prepcheck.agreement.kappa import EXACT, by_photo, cohen, fleiss, word, words

Counts = NDArray[np.int64]

PRINTOUT = np.array([[0, 4, 1], [0, 8, 0], [0, 1, 5]])
"""A SAS printout carried in the tests of statsmodels (seen): kappa 0.4842, ASE 0.1380, 0.2137 to 0.7547."""

TEN_BY_FIVE = np.array(
    [
        [0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1],
        [7, 7, 0, 0, 0], [3, 2, 6, 3, 0], [2, 5, 3, 2, 2], [6, 5, 2, 1, 0], [0, 2, 2, 3, 7],
    ]
)  # fmt: skip
"""An encyclopaedia's table carried in the tests of statsmodels (seen): kappa 0.210, and the equal pairs of each row."""

SIX_DOCTORS = (
    "444444 222555 233335 555555 222444 113333 333355 113334 114444 555555 144444 124444 222333 144444 224445 "
    "333335 111455 111112 224444 133555 555555 244444 224555 114444 144445 222224 111155 224444 133333 555555"
)
"""J. L. Fleiss, Psychological Bulletin 76 (1971) 378-382: 30 patients, 6 answers each, as carried in the tests of
statsmodels (seen): kappa 0.4302445."""

TABLES = arrays(np.int64, (3, 3), elements=st.integers(0, 20))


def counts(text: str, most: int) -> Counts:
    """Return how often each answer from 1 to `most` was given in each word of digits."""
    return np.array([[subject.count(str(answer)) for answer in range(1, most + 1)] for subject in text.split()])


def label_pairs(table: Counts) -> tuple[list[int], list[int]]:
    """Return the two lists of answers behind a table."""
    both = [(i, j) for (i, j), count in np.ndenumerate(table) for _ in range(count)]
    return [first for first, _ in both], [second for _, second in both]


def test_kappa_and_interval_are_those_of_a_published_printout() -> None:
    found = cohen(PRINTOUT)
    assert found.value == pytest.approx(0.4842, abs=5e-5)
    assert found.error == pytest.approx(0.1380, abs=5e-5)
    assert found.interval == pytest.approx((0.2137, 0.7547), abs=5e-5)
    assert (found.observed, found.chance) == pytest.approx((0.68421, 0.38781), abs=5e-6)  # recomputed


@pytest.mark.parametrize(
    ("table", "kappa"),
    [
        ([[20, 5], [10, 15]], 0.40),
        ([[45, 15], [25, 15]], 0.1304),
        ([[25, 35], [5, 35]], 0.2593),
        ([[20, 20], [10, 50]], 0.3478),
    ],
)
def test_equal_answers_alone_do_not_make_kappa(table: list[list[int]], kappa: float) -> None:
    # Tables of an encyclopaedia and of Artstein and Poesio, from memory; results computed.
    assert cohen(np.array(table)).value == pytest.approx(kappa, abs=5e-5)


def test_fleiss_kappa_of_a_published_table() -> None:
    found = fleiss(TEN_BY_FIVE)
    assert found.value == pytest.approx(0.210, abs=5e-4)
    equal = (TEN_BY_FIVE * (TEN_BY_FIVE - 1)).sum(axis=1) / (14 * 13)
    assert equal == pytest.approx([1, 0.253, 0.308, 0.44, 0.33, 0.462, 0.242, 0.176, 0.286, 0.286], abs=5e-4)


def test_fleiss_kappa_of_six_doctors_is_that_of_the_paper() -> None:
    found = fleiss(counts(SIX_DOCTORS, 5))
    assert found.value == pytest.approx(0.4302445, abs=5e-8)


def test_the_error_of_fleiss_kappa_agrees_with_another_library() -> None:
    # Variance 0.0028396071 of the same data by a published R package (seen in its tests), which divides by n, not n - 1.
    found = fleiss(counts(SIX_DOCTORS, 5))
    assert found.error is not None
    assert found.error**2 * 29 / 30 == pytest.approx(0.0028396071239620256, rel=1e-9)


def test_two_appraisers_of_ten_parts() -> None:
    # A statistics program's help page (seen): 7 of 10 alike, Fleiss' kappa 0.39394.
    answers = np.array([[2, 0]] * 4 + [[0, 2]] * 3 + [[1, 1]] * 3)
    assert fleiss(answers).value == pytest.approx(0.39394, abs=5e-6)


@pytest.mark.parametrize(
    "table", [PRINTOUT, np.array([[20, 5], [10, 15]]), np.array([[30, 4, 2], [3, 25, 6], [1, 2, 9]])]
)
def test_scikit_learn_computes_the_same(table: Counts) -> None:
    metrics = pytest.importorskip("sklearn.metrics")
    assert cohen(table).value == pytest.approx(metrics.cohen_kappa_score(*label_pairs(table)))


def test_the_interval_of_cohens_kappa_holds_by_resampling() -> None:
    # Second way: 2,000 tables drawn from one with 300 points.
    table = np.array([[120, 15, 5], [10, 80, 10], [5, 5, 50]])
    drawn = np.random.default_rng(2).multinomial(300, table.ravel() / 300, 2000).reshape(-1, 3, 3)
    error = np.std([cohen(one).value for one in drawn])
    assert cohen(table).error == pytest.approx(error, rel=0.05)


def test_the_interval_of_fleiss_kappa_holds_by_resampling() -> None:
    subjects = counts(SIX_DOCTORS, 5)
    rows = np.random.default_rng(3).integers(0, len(subjects), (2000, len(subjects)))
    error = np.std([fleiss(subjects[one]).value for one in rows])
    assert fleiss(subjects).error == pytest.approx(error, rel=0.1)


@given(TABLES)
def test_exchanging_the_people_leaves_kappa(table: Counts) -> None:
    first, second = cohen(table), cohen(table.T)
    assert first.value == pytest.approx(second.value)
    assert first.interval == pytest.approx(second.interval)


@given(TABLES, st.permutations(range(3)))
def test_naming_the_states_otherwise_leaves_kappa(table: Counts, order: list[int]) -> None:
    first, second = cohen(table), cohen(table[np.ix_(order, order)])
    assert first.value == pytest.approx(second.value)
    assert first.error == pytest.approx(second.error)


@given(TABLES)
def test_kappa_is_at_most_one_and_lies_in_its_interval(table: Counts) -> None:
    found = cohen(table)
    assume(found.value is not None)
    assert found.value is not None
    assert found.interval is not None
    assert -1 - 1e-9 <= found.interval[0] <= found.value + 1e-9
    assert found.value - 1e-9 <= found.interval[1] <= 1


@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2)), min_size=2, max_size=40))
def test_with_two_people_fleiss_kappa_is_that_of_the_table_made_even(both: list[tuple[int, int]]) -> None:
    # Scott's pi: Cohen's kappa of a table and its mirror image added up.
    table, answers = np.zeros((3, 3), np.int64), np.zeros((len(both), 3), np.int64)
    for row, (first, second) in enumerate(both):
        table[first, second] += 1
        answers[row, first] += 1
        answers[row, second] += 1
    assert fleiss(answers).value == pytest.approx(cohen(table + table.T).value)


def test_people_who_are_independent_have_no_kappa_to_speak_of() -> None:
    answers = np.random.default_rng(1).integers(0, 3, (20_000, 2))
    table = np.zeros((3, 3), np.int64)
    np.add.at(table, (answers[:, 0], answers[:, 1]), 1)
    assert cohen(table).value == pytest.approx(0, abs=0.02)


def test_full_agreement_on_few_points_is_no_proof_of_it() -> None:
    found = cohen(np.diag([15, 15]))
    assert found.value == 1
    assert found.interval is not None
    assert found.interval[0] == pytest.approx((0.884297 - 0.5) / 0.5, abs=1e-6)  # exact interval of 30 of 30 (seen)
    assert EXACT in found.method


def test_full_agreement_of_several_people_is_no_proof_of_it_either() -> None:
    found = fleiss(np.array([[3, 0]] * 15 + [[0, 3]] * 15))
    assert found.interval == pytest.approx(((0.884297 - 0.5) / 0.5, 1), abs=1e-6)


@pytest.mark.parametrize("found", [cohen(np.diag([30, 0])), fleiss(np.array([[3, 0]] * 30))])
def test_where_all_give_one_answer_there_is_no_kappa(found: object) -> None:
    assert (found.value, found.interval, found.observed) == (None, None, 1)  # type: ignore[attr-defined]


@pytest.mark.parametrize("found", [cohen(np.zeros((3, 3), np.int64)), fleiss(np.zeros((0, 3), np.int64))])
def test_of_no_points_there_is_no_kappa(found: object) -> None:
    assert (found.value, found.interval, found.observed) == (None, None, None)  # type: ignore[attr-defined]


def test_leaving_out_points_one_by_one_gives_about_the_error_for_independent_points() -> None:
    subjects = counts(SIX_DOCTORS, 5)
    interval = by_photo(lambda kept: fleiss(subjects[kept]), np.arange(len(subjects)))
    found = fleiss(subjects)
    assert interval is not None
    assert found.error is not None
    assert (interval[1] - interval[0]) / 2 == pytest.approx(2.045 * found.error, rel=0.1)  # t of 30 (computed)


def test_the_interval_by_photo_holds_by_resampling_photos() -> None:
    # Second way: 1,000 sets of 12 photos drawn from 12 that differ.
    rng = np.random.default_rng(6)
    first = rng.integers(0, 3, (12, 40))
    wrong = rng.random((12, 40)) < np.linspace(0.05, 0.5, 12)[:, None]
    second = np.where(wrong, rng.integers(0, 3, (12, 40)), first)

    def kappa_of(photos: NDArray[np.int64]) -> float:
        table = np.zeros((3, 3), np.int64)
        np.add.at(table, (first[photos].ravel(), second[photos].ravel()), 1)
        return cohen(table).value or 0.0

    numbers = np.repeat(np.arange(12), 40)
    interval = by_photo(lambda kept: cohen(_table(first.ravel()[kept], second.ravel()[kept])), numbers)
    error = np.std([kappa_of(rng.integers(0, 12, 12)) for _ in range(1000)])
    assert interval is not None
    assert (interval[1] - interval[0]) / 2 == pytest.approx(2.201 * error, rel=0.15)  # t of 12 (computed)


def _table(first: Counts, second: Counts) -> Counts:
    table = np.zeros((3, 3), np.int64)
    np.add.at(table, (first, second), 1)
    return table


def test_photos_that_differ_widen_the_interval() -> None:
    same, apart = [[2, 0]] * 10 + [[0, 2]] * 10, [[1, 1]] * 10 + [[2, 0]] * 10
    answers, photos = np.array([*same, *apart, *same, *apart]), np.repeat(np.arange(4), 20)
    interval, found = by_photo(lambda kept: fleiss(answers[kept]), photos), fleiss(answers)
    assert interval is not None
    assert found.interval is not None
    assert interval[1] - interval[0] > found.interval[1] - found.interval[0]


@pytest.mark.parametrize("photos", [[0, 0, 0, 0], [0, 0, 1, 1]])
def test_one_or_two_photos_have_no_interval_by_photo(photos: list[int]) -> None:
    answers = np.array([[2, 0], [0, 2], [1, 1], [2, 0]])
    assert by_photo(lambda kept: fleiss(answers[kept]), np.array(photos)) is None


def test_photos_without_any_difference_have_no_interval_by_photo() -> None:
    answers = np.array([[2, 0], [0, 2]] * 3)
    assert by_photo(lambda kept: fleiss(answers[kept]), np.repeat(np.arange(3), 2)) is None


@pytest.mark.parametrize(
    ("kappa", "said"),
    [
        (-0.01, "poor"),
        (0.0, "slight"),
        (0.20, "slight"),
        (0.21, "fair"),
        (0.40, "fair"),
        (0.41, "moderate"),
        (0.60, "moderate"),
        (0.61, "substantial"),
        (0.80, "substantial"),
        (0.81, "almost perfect"),
        (1.0, "almost perfect"),
    ],
)
def test_the_words_are_those_of_landis_and_koch(kappa: float, said: str) -> None:
    # Biometrics 33 (1977) 159-174 (seen in two copies; others put 0.00 elsewhere).
    assert word(kappa) == said


def test_an_interval_over_two_words_is_told_by_both() -> None:
    assert words((0.35, 0.55)) == "fair to moderate"
    assert words((0.42, 0.55)) == "moderate"
