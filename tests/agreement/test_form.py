"""The form that people fill in: written, read back, and what is wrong with one."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from prepcheck.agreement.form import parse_form, read_form, write_form
from prepcheck.errors import WrongUse
from prepcheck.terms import State
from tests.agreement.forms import field, filled, small

FORM = write_form(small())
STATES = [str(int(state)) for state in State]


def complaint(text: str) -> str:
    with pytest.raises(WrongUse) as refused:
        parse_form(text, "tank.csv")
    assert refused.value.subject == "tank.csv" or "tank.csv" in refused.value.message
    return refused.value.message


def test_an_empty_form_is_nobodys_count() -> None:
    assert parse_form(FORM.decode("utf-8-sig"), "tank.csv") is None


def test_what_is_written_on_a_form_is_read_back() -> None:
    one = parse_form(filled(FORM, ["1", "1+2", "?"]), "tank.csv")
    assert one is not None
    assert one.labels == ((State.BRIGHT,), (State.BRIGHT, State.OXIDE), (State.CANNOT_TELL,))
    assert (one.photo, one.sha256, one.grid, one.person) == ("tank.jpg", "a" * 64, small().grid, "Ola")


@given(st.lists(st.sampled_from(STATES), min_size=3, max_size=3), st.sampled_from(["\n", "\r\n"]))
def test_any_labels_go_through_whatever_ends_the_lines(labels: list[str], end: str) -> None:
    one = parse_form(filled(FORM, labels).replace("\n", end), "tank.csv")
    assert one is not None
    assert [str(int(label[0])) for label in one.labels] == labels


@pytest.mark.parametrize("between", [";", "\t"])
def test_a_spreadsheet_may_part_the_cells_its_own_way(between: str) -> None:
    text = filled(FORM, ["1", "2", "3"])
    rows = csv.reader(io.StringIO(text))
    saved = io.StringIO()
    csv.writer(saved, delimiter=between).writerows(rows)
    one = parse_form(saved.getvalue(), "tank.csv")
    assert one is not None
    assert one.labels == ((State.BRIGHT,), (State.OXIDE,), (State.PIT,))


def test_a_photos_name_full_of_semicolons_misleads_nobody() -> None:
    form = write_form(small(name="a;b;c;d.jpg"))
    one = parse_form(filled(form, ["1", "2", "3"]), "tank.csv")
    assert one is not None
    assert one.photo == "a;b;c;d.jpg"


def test_a_mark_at_the_start_of_the_file_and_further_columns_are_nothing(tmp_path: Path) -> None:
    text = filled(FORM, ["1", "2", "3"]).replace("2,2", "2,2,dull,maybe") + "\n,,\n\n"
    (tmp_path / "tank.csv").write_text(text, encoding="utf-8-sig")
    one = read_form(tmp_path / "tank.csv")
    assert one is not None
    assert len(one.labels) == 3


def test_points_may_stand_in_any_order() -> None:
    lines = filled(FORM, ["1", "2", "3"]).splitlines()
    one = parse_form("\n".join([*lines[:-3], *reversed(lines[-3:])]), "tank.csv")
    assert one is not None
    assert [int(label[0]) for label in one.labels] == [1, 2, 3]


def test_a_photos_name_is_never_a_formula_in_a_spreadsheet() -> None:
    form = write_form(small(name="=1+1.jpg")).decode("utf-8-sig")
    assert form.splitlines()[0] == "photo,'=1+1.jpg"
    one = parse_form(filled(form.encode("utf-8-sig"), ["1", "1", "1"]), "tank.csv")
    assert one is not None
    assert one.photo == "=1+1.jpg"


def test_a_name_may_stand_on_the_form_from_the_start() -> None:
    assert "person,Ola" in write_form(small(), "Ola").decode("utf-8-sig").splitlines()


def test_a_label_that_is_missing_is_named() -> None:
    assert "has no label for 2 of 3 points" in complaint(filled(FORM, ["1", "", "3"]))


def test_a_line_that_is_missing_is_named() -> None:
    text = "\n".join(filled(FORM, ["1", "2", "3"]).splitlines()[:-1])
    assert "has no label for 3 of 3 points" in complaint(text)


def test_of_many_missing_labels_only_some_are_named() -> None:
    form = write_form(field(points=100))
    said = complaint(filled(form, ["1"]))
    assert "2, 3, 4, 5, 6, 7, 8, 9 and" in said
    assert len(said) < 200


def test_an_unknown_label_is_named_with_its_point_and_what_there_is() -> None:
    said = complaint(filled(FORM, ["1", "01-Feb", "3"]))
    assert "point 2: '01-Feb' is no label" in said
    assert "on a boundary both, as 1+2" in said


@pytest.mark.parametrize("number", ["0", "4", "-1", "1.5", "one"])
def test_a_point_outside_the_grid_is_named(number: str) -> None:
    assert f"has points that the grid has not: {number}" in complaint(filled(FORM, ["1", "2", "3"]) + f"\n{number},1")


def test_a_label_without_number_is_told() -> None:
    assert "without number" in complaint(filled(FORM, ["1", "2", "3"]) + "\n,1")


def test_a_point_that_stands_there_twice_is_told() -> None:
    assert "has point 3 twice" in complaint(filled(FORM, ["1", "2", "3"]) + "\n3,1")


def test_a_count_by_nobody_is_refused() -> None:
    assert "names no person" in complaint(filled(FORM, ["1", "2", "3"], person=""))


@pytest.mark.parametrize("person", ["x" * 81, "O\x07la"])
def test_a_name_that_no_report_can_print_is_refused(person: str) -> None:
    complaint(filled(FORM, ["1", "2", "3"], person=person))


@pytest.mark.parametrize("text", ["", "\n", "number,label\n1,1\n", "a,b\nc,d\n", "photo,x\n", "\x00", '"'])
def test_another_file_is_no_form(text: str) -> None:
    assert "is no form of counted points" in complaint(text)


@pytest.mark.parametrize("points", ["", "0", "-3", "3.0", "9" * 400, "²", "three"])
def test_a_number_of_points_that_is_none_is_refused(points: str) -> None:
    text = filled(FORM, ["1", "2", "3"]).replace("points,3", f"points,{points}")
    assert "where the number of points stands" in complaint(text)


def test_a_cell_without_end_is_refused() -> None:
    assert "is no CSV" in complaint(f"photo,{'x' * 200_000}\n")


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "huge.csv"
    with path.open("wb") as file:
        file.truncate(10**12)
    with pytest.raises(WrongUse, match="holds more than 1,000,000 bytes"):
        read_form(path)


@pytest.mark.parametrize("data", [b"\xff\xfe1\x00", b"\x80\x81"])
def test_a_file_of_other_letters_is_refused(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "tank.csv").write_bytes(data)
    with pytest.raises(WrongUse, match="is no text"):
        read_form(tmp_path / "tank.csv")


@given(st.text(max_size=300))
def test_any_text_but_a_form_is_refused_in_one_printable_line(text: str) -> None:
    with pytest.raises(WrongUse) as refused:
        parse_form(text, "x.csv")
    assert refused.value.message.isprintable()
