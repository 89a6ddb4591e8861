"""What an entry of practice may say."""

from __future__ import annotations

import pytest
from pydantic import TypeAdapter, ValidationError

from prepcheck.trade import entries as e

ANY = TypeAdapter(e.AnyEntry)
HASH = "a" * 64
COMPARED = {
    "kind": "practice_compared", "session": 1, "photo_sha256": HASH, "mark_sha256": HASH, "against": "tool", "source": "x",
    "source_sha256": HASH, "settings_sha256": HASH, "both": 1, "only_marked": 1, "only_other": 1, "neither": 1, "unsure": 1,
    "least_px": 1.0, "patches": 1, "patches_found": 1, "marked": 1, "marked_off": 1,
}  # fmt: skip
MARKED = {"kind": "practice_marked", "session": 1, "photo_sha256": HASH, "mark_sha256": HASH}


@pytest.mark.parametrize("told", [COMPARED, MARKED], ids=lambda told: told["kind"])
def test_an_entry_is_read_again_as_it_was_written(told):
    entry = ANY.validate_python(told)
    assert ANY.validate_json(entry.model_dump_json()) == entry


@pytest.mark.parametrize(
    "name", ["both", "only_marked", "only_other", "neither", "unsure", "least_px", "patches", "marked"]
)
def test_nothing_is_counted_below_zero(name):
    with pytest.raises(ValidationError):
        ANY.validate_python({**COMPARED, name: -1})


@pytest.mark.parametrize(
    "wrong",
    [{"session": 0}, {"photo_sha256": "A" * 64}, {"mark_sha256": "a"}, {"against": "me"}, {"mm2_per_px": 0},
     {"mm2_per_px": float("nan")}, {"grade": 1}],
)  # fmt: skip
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(ValidationError):
        ANY.validate_python({**COMPARED, **wrong})


@pytest.mark.parametrize("count", [0, e.MOST_PRACTICE_PHOTOS + 1])
def test_a_session_has_some_photos_and_not_too_many(count):
    with pytest.raises(ValidationError):
        e.PracticeStarted(photos=(e.PracticePhoto(name="a", sha256=HASH),) * count)
