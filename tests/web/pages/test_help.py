from __future__ import annotations

from prepcheck.terms import CAUTIONS, FLAGS, HOT_WORK_LINE, Standing
from tests.web.pages.reading import read


def test_everybody_may_read_what_a_score_means(stranger):
    words = read(stranger.get("/help")).words
    assert "What a score means and does not mean" in words
    assert all(caution in words for caution in CAUTIONS)
    assert HOT_WORK_LINE in words


def test_every_standing_and_every_flag_is_explained(stranger):
    words = read(stranger.get("/help")).words
    assert all(f"{word} {word.next_step}" in words for word in Standing)
    assert all(flag.action in words for flag in FLAGS.values())


def test_the_certificate_is_explained_with_what_it_can_do(stranger):
    words = read(stranger.get("/help")).words
    assert "vouch for the names of the shop's own computers and for private addresses only" in words
    assert "Compare the number" in words


def test_no_word_says_that_something_is_safe(stranger):
    assert "safe" not in read(stranger.get("/help")).words.casefold().replace("unsafe", "")
