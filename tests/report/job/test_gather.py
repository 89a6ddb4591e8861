"""What the report is made from comes from the log as it stands, the tree's head after all else."""

from datetime import datetime, timedelta, timezone

import pytest

from prepcheck import tasks
from prepcheck.report.job.gather import checks, gather, looks, standing
from prepcheck.settings import Settings, WallSettings
from prepcheck.trade import entries as e
from prepcheck.trade.steps import Progress
from prepcheck.trade.units import System
from tests.report.job import made
from tests.store.records import AT, PLACE, new_log, record_for, spot


@pytest.fixture
def told(tmp_path):
    store, archive = new_log(tmp_path)
    data = b"bytes of a photo"
    tasks.log_inspection(store, archive, record_for(data, spot()), data, **PLACE)
    store.add_event("J-0001", e.Note(text="hello"), "Ida", AT)
    story = tasks.job_story(store, "J-0001")
    return store, gather(store, archive.get, story, AT + timedelta(hours=1), Settings(), System.METRIC)


def of_clearing(found):
    return [check for check in found if check.about == "clearing"]


def test_each_inspection_comes_with_its_whole_record(told):
    _, found = told
    (one,) = found.inspections
    assert found.records[one.number].bright_share == one.bright_share
    assert found.photo(one.photo_sha256) == b"bytes of a photo"


def test_the_head_is_the_logs_own(told):
    store, found = told
    assert found.head == store.tree_head()
    assert found.head.size >= 3  # the job, the photo, the note


def test_without_a_plan_no_step_stands(told):
    _, found = told
    assert found.state is None


def test_steps_stand_as_the_plan_and_the_entries_say():
    state = standing(made.events(), made.time(470), Settings())
    assert state.find("clear").progress is Progress.OVERRIDDEN
    assert state.find("leak test").progress is Progress.HELD


def test_readings_are_checked_as_of_each_release_that_rests_on_them():
    found = checks(made.events(), made.time(470), Settings())
    moments = [check.when for check in found if check.about == "clearing"]
    assert moments == ["when open up was released", "when clear was released"]


def test_later_readings_do_not_count_for_an_earlier_release():
    late = e.StepReleased(step="open up")
    early = [event for event in made.events() if datetime.fromisoformat(event.at) < made.time(38)]
    release = made.LoggedEvent(99, made.at(39), "Ola", "foreman", late)
    rest = [event for event in made.events() if datetime.fromisoformat(event.at) >= made.time(38)]
    first = of_clearing(checks((*early, release, *rest), made.time(470), Settings()))[0]
    codes = {one.code for one in first.remarks}
    later = of_clearing(checks(made.events(), made.time(470), Settings()))[0]
    assert codes != {one.code for one in later.remarks}


def test_without_a_release_readings_are_checked_as_of_now():
    entries = [event for event in made.events() if not isinstance(event.entry, e.StepReleased)]
    (only,) = of_clearing(checks(tuple(entries), made.time(470), Settings()))
    assert only.when == "now"


def test_without_a_condition_nothing_is_checked():
    entries = [event for event in made.events() if not isinstance(event.entry, e.VesselCondition)]
    assert of_clearing(checks(tuple(entries), made.time(470), Settings())) == []


def test_the_time_from_cleaning_to_welding_is_told_as_of_when_welding_began():
    (timer,) = (one for one in checks(made.events(), made.time(470), Settings()) if one.about == "steps")
    (remark,) = timer.remarks
    assert timer.when == "when weld began"
    assert remark.text.startswith("3 h 38 min of 4 h 00 min after the step clean are left")  # 11:40 to 12:02
    assert "Mathers" in remark.source  # default of 4 h: Mathers, p. 68, seen


def test_too_long_a_time_from_cleaning_speaks_against_it():
    late = [
        made.replace(event, entry=event.entry.model_copy(update={"started_at": made.time(500)}))
        if isinstance(event.entry, e.StepDone) and event.entry.step == "weld"
        else event
        for event in made.events()
    ]
    (timer,) = (one for one in checks(tuple(late), made.time(510), Settings()) if one.about == "steps")
    assert [one.code for one in timer.remarks] == ["cleaned_too_long_ago"]


LEFT = e.WallReading(method="gauge", wall_mm=2.0, place="sump", taken_at=made.time(10))


def logged(*entries):
    return tuple(made.LoggedEvent(n, made.at(10 + n), "Ola", "", entry) for n, entry in enumerate(entries, 1))


def about(what, found):
    return [remark for check in found if check.about == what for remark in check.remarks]


def test_walls_are_held_against_the_shops_own_minimum():
    thin = checks(logged(LEFT), made.time(60), Settings(wall=WallSettings(minimum_mm=3.0)))
    assert [one.code for one in about("wall", thin)] == ["below_minimum"]


def test_walls_are_told_in_the_units_of_the_report():
    (remark,) = about("wall", checks(logged(LEFT), made.time(60), Settings(wall={"minimum_mm": 25.4}), System.US))
    assert "1.00 in" in remark.text
    assert " mm" not in remark.text


def test_looks_for_leaks_are_told_together_in_the_order_in_which_they_were_made():
    later = e.LeakEntry(method="bubbles", looked_at="seam", started_at=made.time(40))
    first = e.LeakEntry(method="bubbles", leaks=("bung",), started_at=made.time(20))
    found = looks(logged(later, first), made.time(60), Settings(), System.METRIC)
    assert [line.value for line in found.lines if line.label.endswith("seen")] == [
        "leak at bung",
        "no leak where it was looked at",
    ]
    told = checks(logged(later, first), made.time(60), Settings())
    assert [one.code for one in about("leak", told)] == ["leak_seen_before", "looked_at_nothing"]


def test_times_of_looks_are_told_with_the_clock_of_the_report():
    abroad = made.time(20).astimezone(timezone(timedelta(hours=-5)))
    entry = e.LeakEntry(method="bubbles", started_at=abroad)
    assert looks(logged(entry), made.time(60), Settings(), System.METRIC).lines == (
        looks(
            logged(entry.model_copy(update={"started_at": made.time(20)})), made.time(60), Settings(), System.METRIC
        ).lines
    )
