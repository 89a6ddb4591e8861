"""How people's work is laid out in a terminal and as objects, without a log behind."""

from __future__ import annotations

import io
import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from rich.console import Console

from prepcheck.cli import people_text as text
from prepcheck.progress.gather import PersonWork
from prepcheck.progress.kept import Item, Kept, Kind
from prepcheck.progress.log import PersonLine
from prepcheck.progress.reused import LoggedPhoto, Question, Why
from prepcheck.progress.work import Beside
from prepcheck.report.feedback_tool import ToolErrors
from prepcheck.settings import ProgressSettings
from prepcheck.terms import Standing
from tests.progress.made import day
from tests.report.apprentice import work

USUAL = ProgressSettings()


def shown(thing: Any, width: int = 200) -> str:
    """Return what a terminal of so many columns shows, blanks joined."""
    out = io.StringIO()
    Console(file=out, width=width, highlight=False).print(thing)
    return " ".join(out.getvalue().split())


def lines(thing: Any, width: int) -> list[str]:
    out = io.StringIO()
    Console(file=out, width=width, highlight=False).print(thing)
    return out.getvalue().splitlines()


def photo(inspection: int, **more: Any) -> LoggedPhoto:
    told: dict[str, Any] = {
        "job": "J-0001",
        "spot": 3,
        "pass_no": 2,
        "person": "Mika",
        "at": day(1),
        "sha256": "a" * 64,
    }
    told |= {"name": "a.jpg", "picture_hash": "", "taken": None, **more}
    return LoggedPhoto(inspection=inspection, **told)


# everybody


def test_nobody_yet_is_said() -> None:
    assert shown(text.people_table([])) == "Nobody in this log yet."


def test_who_logged_no_photo_has_no_days() -> None:
    assert shown(text.people_table([PersonLine(1, "Ola", False, 0, 0, None, None)])) == "Ola no photo"


def test_one_photo_is_one_and_a_thousand_are_grouped() -> None:
    made = [PersonLine(1, "Mika", False, 1, 1, day(0), day(0)), PersonLine(2, "Rune", False, 1234, 2, day(0), day(9))]
    said = shown(text.people_table(made))
    assert "Mika 1 photo in 1 job, 2026-09-01 to 2026-09-01" in said
    assert "Rune 1,234 photos in 2 jobs, 2026-09-01 to 2026-09-10" in said


def test_a_name_is_text_and_never_markup() -> None:
    assert "[red]Mika" in shown(text.people_table([PersonLine(1, "[red]Mika", False, 0, 0, None, None)]))


# one person


def test_without_spots_only_that_is_said() -> None:
    assert shown(text.work_text(work(), [], USUAL)).startswith("Mika: no spot whose first pass was logged in this name")


def test_one_day_is_said_once() -> None:
    assert "1 spot in 1 job, 2026-09-02 bright" in shown(text.work_text(work("b"), [], USUAL))


def test_nothing_counted_apart_is_none() -> None:
    assert "counted apart, no misses none" in shown(text.work_text(work("b"), [], USUAL))


def test_what_was_left_is_told_by_state_by_place_and_together() -> None:
    said = shown(text.work_text(work("r", "r", "r", patches=("rim", "middle", "large")), [], USUAL))
    assert "residual oxide 1 of 3, too few to tell" in said
    assert "away from the rim 2 of 3, too few to tell" in said
    assert "most often together no one kind more than others" in said


def test_nothing_left_has_no_heading() -> None:
    assert "What was left" not in shown(text.work_text(work("b"), [], USUAL))


@pytest.mark.parametrize(("by", "label"), [("spots", "by spots in order 1-10 "), ("month", "by month 2026-09 ")])
def test_stretches_are_those_asked_for(by: str, label: str) -> None:
    assert f"over time, {label}" in shown(text.work_text(work(*"b" * 12), [], USUAL, by))


def test_from_how_many_spots_a_share_is_told_is_the_shops_setting() -> None:
    few = ProgressSettings(least_spots=3)
    assert "bright at the first pass 2 of 3 spots, 67% (95% interval 9 to 100)" in shown(
        text.work_text(work("b", "b", "r"), [], few)
    )


@pytest.mark.parametrize("width", [40, 60, 80])
def test_lines_fit_the_terminal(width: int) -> None:
    made = work(*("rb", "b", "c", "rrb") * 6, patches=("rim", "middle", "large"))
    assert max(map(len, lines(text.work_text(made, [ToolErrors("eye-9")], USUAL), width))) <= width


def test_the_tool_is_told_once_for_all_who_are_compared() -> None:
    said = shown(text.compared([work("b"), work("r", name="Rune")], [ToolErrors("eye-9")], USUAL))
    assert said.count("Model eye-9") == 1
    assert said.count("bright at the first pass") == 2


def test_fits_of_the_shop_are_counted_over_all_who_are_compared() -> None:
    said = shown(text.compared([work("b", fitted=1), work("r", name="Rune", fitted=2)], [], USUAL))
    assert "3 answers came with the shop's own fit" in said


# objects


def told(made: PersonWork) -> dict[str, Any]:
    """Return the object of a person's work after a way through JSON."""
    from pydantic import TypeAdapter

    plain = TypeAdapter(dict[str, Any]).dump_python(text.work_json(made, [ToolErrors("eye-9")]), mode="json")
    back: dict[str, Any] = json.loads(json.dumps(plain))
    return back


def test_an_object_goes_through_json_and_has_all_counts() -> None:
    made = told(work("rb", "b", "c", patches=("rim",), beside=Beside({(Standing.BRIGHT, Standing.CANNOT_TELL): 1})))
    assert made["first_pass"]["bright"] == {
        "hits": 1,
        "of": 2,
        "interval": pytest.approx([0.012579, 0.987421], abs=1e-6),
    }
    assert made["left"]["by_state"].keys() == {"oxide"}
    assert made["left"]["spots"][0]["place"] == "rim"
    assert made["against_tool"] == [{"tool": "bright", "person": "cannot tell", "cases": 1}]
    assert made["tool_errors"] == [{"model": "eye-9", "scenes": [], "points": []}]


def test_every_share_in_an_object_stands_with_its_counts_and_interval() -> None:
    def shares(part: Any) -> list[dict[str, Any]]:
        if isinstance(part, dict):
            own = [part] if {"hits", "of"} & part.keys() else []
            return own + [found for value in part.values() for found in shares(value)]
        return [found for value in part for found in shares(value)] if isinstance(part, list) else []

    found = shares(told(work(*("r", "b") * 8, patches=("rim", "large"))))
    assert len(found) >= 6
    assert all({"hits", "of", "interval"} <= one.keys() for one in found)
    assert all(one["interval"][0] <= one["hits"] / one["of"] <= one["interval"][1] for one in found)


def test_an_object_of_nothing_keeps_the_widest_interval() -> None:
    assert told(work())["first_pass"]["bright"] == {"hits": 0, "of": 0, "interval": [0.0, 1.0]}


# what is kept

KEPT = Kept(2, "Mika", "welder", (Kind("photos logged", (Item(4, day(0)), Item(9, day(3)))),))


def test_what_is_kept_is_told_with_count_days_and_role() -> None:
    said = shown(text.kept_text(KEPT, 12))
    assert "What this log keeps about Mika (person 2)" in said
    assert "role welder" in said
    assert "photos logged 2, 2026-09-01 to 2026-09-04" in said
    assert "12 months after the last entry (a setting of the shop), so until 2027-09-04" in said


def test_a_name_alone_is_all_that_is_kept() -> None:
    assert "Only the name is kept." in shown(text.kept_text(Kept(2, "Mika", "", ()), 12))


def test_what_is_kept_is_given_row_by_row() -> None:
    given = text.kept_json(KEPT, 12)
    assert [row["number"] for row in given["kept"]["photos logged"]] == [4, 9]
    assert given["look_again"] == date(2027, 9, 4)


# questions

ASKED = {
    Why.SAME: "the same photo, to the byte. Does it belong to both?",
    Why.ALIKE: "nearly the same picture (2 of 64 bits differ). Are these two photos of two passes?",
    Why.OLD: "taken 2 of 64 bits differ it was logged. Does it show this pass?",
    Why.LATER: "taken 2 of 64 bits differ it was logged. Is the camera's clock right?",
}


@pytest.mark.parametrize("why", list(Why))
def test_each_reason_is_a_question(why: Why) -> None:
    (_, _, asked, *_) = list(text.questions_text([Question(why, photo(1), None, "2 of 64 bits differ")], 5))
    assert asked.strip() == ASKED[why]
    assert asked.endswith("?")


def test_a_question_names_both_places() -> None:
    said = list(text.questions_text([Question(Why.SAME, photo(2, spot=4), photo(1, person="Rune"))], 2))
    assert said[0] == "1 question; 2 photos looked at by bytes, picture hash and time."
    assert said[1] == "a.jpg: J-0001, spot 4, pass 2 (inspection 2), by Mika on 2026-09-02 09:00"
    assert said[2] == "  and a.jpg: J-0001, spot 3, pass 2 (inspection 1), by Rune on 2026-09-02 09:00"


def test_a_file_name_cannot_write_over_the_screen() -> None:
    assert "\x1b" not in "".join(text.questions_text([Question(Why.OLD, photo(1, name="\x1b[2Ja.jpg"), None)], 1))


def test_nothing_to_ask_says_how_much_was_looked_at() -> None:
    assert list(text.questions_text([], 1)) == [
        "Nothing to ask about: 1 photo looked at by bytes, picture hash and time."
    ]


def test_a_question_as_an_object_has_both_photos_with_their_hash_and_time() -> None:
    taken = (datetime(2026, 9, 1, tzinfo=UTC) - timedelta(days=9)).isoformat()
    made = text.question_json(Question(Why.SAME, photo(2, taken=taken), photo(1)))
    assert (made["why"], made["question"]) == ("same", ASKED[Why.SAME])
    assert (made["photo"]["taken"], made["earlier"]["inspection"]) == (taken, 1)
