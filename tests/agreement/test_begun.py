from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from prepcheck.agreement.begun import BEGUN, Begun, file_stem, read_begun
from prepcheck.agreement.form import parse_form
from prepcheck.agreement.labels import parse_label, write_label
from prepcheck.errors import WrongUse
from prepcheck.terms import State
from tests.agreement.forms import field, small

LABELS = ["0", "1", "2", "3", "4", "5", "9", "1+2", "3+5"]


def begun(*labels: tuple[int, str]) -> Begun:
    made = Begun(small(), "Ola")
    for number, text in labels:
        made = made.said(number, text)
    return made


def test_the_next_point_is_the_first_without_a_label():
    assert [begun().next, begun((1, "1")).next, begun((2, "1")).next] == [1, 2, 1]
    assert begun((1, "1"), (2, "2"), (3, "9")).next is None


def test_the_last_label_can_be_taken_back():
    made = begun((1, "1"), (3, "2"))
    assert made.last == 3
    assert (made.without(3).last, made.without(3).without(1).last) == (1, None)


def test_said_twice_is_the_same_as_once():
    assert begun((1, "1"), (1, "1")).labels == begun((1, "1")).labels
    assert begun((1, "1")).without(1).without(1).labels == {}


def test_the_later_label_of_a_point_counts():
    assert begun((1, "1"), (2, "2"), (1, "3")).labels == {2: (State.OXIDE,), 1: (State.PIT,)}


@given(st.lists(st.tuples(st.integers(1, 3), st.sampled_from(LABELS)), max_size=8))
def test_what_is_kept_is_read_again_in_its_order(tmp_path_factory, said):
    folder = tmp_path_factory.mktemp("count")
    made = begun(*said)
    path = folder / BEGUN / f"{file_stem(small(), 'Ola')}.json"
    path.parent.mkdir()
    path.write_bytes(made.to_json())
    read = read_begun(folder, small(), "Ola")
    assert list(read.labels.items()) == list(made.labels.items())


def test_nothing_kept_is_nothing_said(tmp_path):
    assert read_begun(tmp_path, small(), "Ola").labels == {}


def test_all_points_labelled_make_a_form_that_is_read_as_any_other():
    form = begun((3, "9"), (1, "1+2"), (2, "0")).to_form()
    read = parse_form(form.decode("utf-8-sig"), "form")
    assert read is not None
    assert (read.person, read.grid) == ("Ola", small().grid)
    assert read.labels == ((State.BRIGHT, State.OXIDE), (State.BACKGROUND,), (State.CANNOT_TELL,))


def test_a_form_needs_all_points():
    with pytest.raises(WrongUse, match="point 2 has no label"):
        begun((1, "1"), (3, "1")).to_form()


@pytest.mark.parametrize("text", LABELS)
def test_a_label_is_written_as_it_is_read(text):
    assert write_label(parse_label(text)) == text


@pytest.mark.parametrize("number", [0, -1, 4])
def test_a_point_that_there_is_not_is_refused(number):
    with pytest.raises(WrongUse, match="no point"):
        begun().said(number, "1")
    with pytest.raises(WrongUse, match="no point"):
        begun().without(number)


@pytest.mark.parametrize("text", ["", "7", "1+2+3", "<b>"])
def test_what_is_no_label_is_refused(text):
    with pytest.raises(WrongUse, match="is no label"):
        begun().said(1, text)


def test_people_have_files_of_their_own_whatever_they_are_called():
    stems = {file_stem(small(), name) for name in ("Ola", "Mika", "../../etc", "a/b")}
    assert len(stems) == 4
    assert all(set(stem) <= set("abcdefghijklmnopqrstuvwxyz0123456789.") for stem in stems)
    assert file_stem(small(), "OLA") == file_stem(small(), "ola")


def test_a_second_turn_has_files_of_its_own_that_sort_after_the_first():
    first, second = (Begun(small(), "Ola", turn=turn).stem for turn in (1, 2))
    assert sorted([f"{second}.csv", f"{first}.csv"]) == [f"{first}.csv", f"{second}.csv"]


@pytest.mark.parametrize("text", ["", "{}", '{"sha256": 1}', '{"sha256":"a","grid":"b","person":"c","labels":[[1]]}'])
def test_a_file_that_says_something_else_is_told(tmp_path, text):
    path = tmp_path / BEGUN / f"{file_stem(small(), 'Ola')}.json"
    path.parent.mkdir()
    path.write_text(text)
    with pytest.raises(WrongUse, match="is no count that was begun"):
        read_begun(tmp_path, small(), "Ola")


def test_labels_of_other_points_are_not_taken_over(tmp_path):
    other = Begun(field("tank.jpg", small().sha256), "Ola").said(1, "1")
    path = tmp_path / BEGUN / f"{file_stem(small(), 'Ola')}.json"
    path.parent.mkdir()
    path.write_bytes(other.to_json())
    with pytest.raises(WrongUse, match="is of other points"):
        read_begun(tmp_path, small(), "Ola")
