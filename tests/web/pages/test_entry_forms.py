from __future__ import annotations

from datetime import date

import pytest
from pydantic import TypeAdapter

from prepcheck.errors import WrongUse
from prepcheck.trade import entries as e
from prepcheck.web.pages.entry_forms import FORMS
from tests.web.shop import NOON

READING = {"gas": "oxygen", "value": "20,9", "place": "sump"}
ANY = TypeAdapter(e.AnyEntry)


def make(what, **said):
    return FORMS[what].make(said, NOON)


def test_a_reading_takes_a_comma_and_is_of_now():
    told = make("reading", **READING)
    assert (told.value, told.taken_at, told.factor, told.sees_hydrogen) == (20.9, NOON, 1.0, None)


def test_a_reading_has_all_that_can_be_told_of_its_meter():
    told = make(
        "reading", **READING, height_m="0.2", meter="no. 3", sensor="catalytic", factor="1.4", sees_hydrogen="no",
        calibrated_on="2026-11-01", limit="20", limit_source="local rule", taken_at="11:40",
    )  # fmt: skip
    assert (told.height_m, told.factor, told.sees_hydrogen, told.limit) == (0.2, 1.4, False, 20)
    assert (told.calibrated_on, told.taken_at) == (date(2026, 11, 1), NOON.replace(hour=11, minute=40))


def test_every_field_of_a_reading_is_asked():
    asked = {one.name for one in (*FORMS["reading"].fields, *FORMS["reading"].rarely)}
    assert asked == set(e.GasReading.model_fields) - {"kind"}


def test_a_condition_counts_hydrogen_as_possible_unless_it_was_ruled_out():
    told = make("condition", condition="inerted", previous_contents="petrol")
    ruled_out = make("condition", condition="inerted", previous_contents="petrol", no_hydrogen="yes")
    assert (told.hydrogen_possible, ruled_out.hydrogen_possible) == (True, False)


def test_a_condition_reads_the_gap_of_the_water_with_its_unit():
    told = make("condition", condition="water-filled", previous_contents="diesel", water_gap="2.5 cm", bays="3")
    assert (told.water_gap_mm, told.bays, told.room_ventilated) == (25.0, 3, False)


@pytest.mark.parametrize(
    ("said", "wall", "depth"),
    [
        ({"method": "gauge", "wall": "3.9 mm"}, 3.9, None),
        ({"method": "depth", "nominal": "5 mm", "depth": "0.6 mm"}, 4.4, 0.6),
        ({"method": "before_after", "before": "5 mm", "wall": "4.2 mm"}, 4.2, 0.8),
    ],
)
def test_the_wall_left_follows_from_what_was_measured(said, wall, depth):
    told = make("wall", **said)
    assert told.wall_mm == pytest.approx(wall)
    assert told.depth_mm == (None if depth is None else pytest.approx(depth))


def test_a_look_for_leaks_lists_each_place_on_a_line():
    told = make("leak", method="bubbles", leaks="toe of the seam\n\n  filler neck ", pressure="20 kPa")
    assert (told.leaks, told.start_pa, told.ambient_pa) == (("toe of the seam", "filler neck"), 20_000.0, 101_325.0)


def test_a_certificate_and_a_note_are_kept_as_told():
    assert make("certificate", certified_by="Sunna", rule="HW permit").rule == "HW permit"
    assert make("note", text="white dust").text == "white dust"


@pytest.mark.parametrize(
    ("what", "said", "told"),
    [
        ("reading", {**READING, "value": "much"}, "the reading is no number"),
        ("reading", {**READING, "value": "nan"}, "value"),
        ("reading", {"value": "1", "place": "x"}, "the gas is missing"),
        ("reading", {**READING, "gas": "<b>"}, "gas"),
        ("reading", {**READING, "calibration_due": "soon"}, "the due day is no day"),
        ("reading", {**READING, "taken_at": "25:99"}, "is no time"),
        ("reading", {**READING, "limit": "-1"}, "limit"),
        ("condition", {"condition": "clean", "previous_contents": "x"}, "condition"),
        ("condition", {"condition": "inerted", "previous_contents": "x", "bays": "1.5"}, "no whole number"),
        ("wall", {"method": "guess"}, "no way to measure a wall"),
        ("wall", {"method": "depth", "nominal": "5 mm"}, "the depth is missing"),
        ("wall", {"method": "depth", "nominal": "5 mm", "depth": "6 mm"}, "wall mm"),
        ("leak", {"method": "ears"}, "method"),
        ("note", {}, "the note is missing"),
    ],
)
def test_what_cannot_be_is_refused_in_words(what, said, told):
    with pytest.raises(WrongUse) as caught:
        make(what, **said)
    assert told in caught.value.message


def test_what_a_form_makes_goes_through_the_log_and_back():
    for made in (make("reading", **READING), make("note", text="x"), make("wall", method="gauge", wall="3 mm")):
        assert ANY.validate_json(made.model_dump_json()) == made


def test_the_choices_of_a_form_are_those_of_the_entry():
    (how,) = [one for one in FORMS["condition"].fields if one.name == "condition"]
    assert [key for key, _ in how.choices] == [one.value for one in e.State]
