"""The folder of a count: which forms belong to it, and whose they are."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from prepcheck.agreement.fields import LIST, Field, write_fields
from prepcheck.agreement.folder import read_count
from prepcheck.agreement.form import write_form
from prepcheck.errors import WrongUse
from tests.agreement.forms import field, filled, small

A, B = small("a.jpg", "a" * 64), small("b.jpg", "b" * 64)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "forms").mkdir()
    (tmp_path / LIST).write_bytes(write_fields([A, B]))
    return tmp_path


def write(folder: Path, name: str, one: Field, labels: str, person: str = "Ola") -> None:
    (folder / "forms" / name).write_text(filled(write_form(one), labels.split(), person))


def test_forms_are_read_with_the_photos_they_belong_to(folder: Path) -> None:
    write(folder, "a.ola.csv", A, "1 2 3")
    write(folder, "b.ola.CSV", B, "1 1 1")
    count = read_count(folder)
    assert [(one.name, made.source) for one, made in count.by_person()["Ola"]] == [
        ("a.jpg", "a.ola.csv"),
        ("b.jpg", "b.ola.CSV"),
    ]
    assert count.uncounted == ()


def test_forms_that_nobody_wrote_on_are_named_and_their_photos_uncounted(folder: Path) -> None:
    write(folder, "a.ola.csv", A, "1 2 3")
    (folder / "forms" / "b.csv").write_bytes(write_form(B))
    count = read_count(folder)
    assert (count.blank, count.uncounted) == (("b.csv",), ("b.jpg",))


def test_each_person_has_a_count_of_their_own_and_the_first_one_stands(folder: Path) -> None:
    for name, labels, person in (("1.csv", "1 2 3", "Ola"), ("2.csv", "1 1 1", "Mika"), ("3.csv", "2 2 2", "Ola")):
        write(folder, name, A, labels, person)
    made = read_count(folder).by_person()
    assert {person: [one.source for _, one in both] for person, both in made.items()} == {
        "Ola": ["1.csv"],
        "Mika": ["2.csv"],
    }


def test_a_form_of_another_photo_is_refused(folder: Path) -> None:
    write(folder, "c.csv", small("c.jpg", "c" * 64), "1 2 3")
    with pytest.raises(WrongUse, match=r"c\.csv: is of another photo, c\.jpg"):
        read_count(folder)


@pytest.mark.parametrize("other", [field("a.jpg", "a" * 64), replace(A, laid=replace(A.laid, points=A.points + 1))])
def test_a_form_of_other_points_on_the_same_photo_is_refused(folder: Path, other: Field) -> None:
    write(folder, "a.csv", other, " ".join(["1"] * len(other.points)))
    with pytest.raises(WrongUse, match=r"is of other points on a\.jpg"):
        read_count(folder)


def test_nobody_counts_under_the_tools_name(folder: Path) -> None:
    write(folder, "a.csv", A, "1 2 3", person="The Tool")
    with pytest.raises(WrongUse, match="as the person"):
        read_count(folder)


def test_a_folder_without_forms_holds_no_counts(folder: Path) -> None:
    assert read_count(folder).counts == ()


def test_a_folder_of_endless_forms_is_refused(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("prepcheck.agreement.folder._MOST_FORMS", 1)
    write(folder, "1.csv", A, "1 2 3")
    write(folder, "2.csv", A, "1 2 3")
    with pytest.raises(WrongUse, match="holds more than 1 forms"):
        read_count(folder)
