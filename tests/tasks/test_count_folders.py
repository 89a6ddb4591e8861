"""Erasing in the folders of counts: a name on forms, and all that shows a photo."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from prepcheck.agreement.begun import Begun, file_stem
from prepcheck.agreement.fields import LIST, read_fields, write_fields
from prepcheck.agreement.folder import read_count
from prepcheck.agreement.form import write_form
from prepcheck.errors import WrongUse
from prepcheck.tasks.count_folders import folders_known, name_stands_in, photo_lies_in, take_name, take_photo
from tests.agreement.forms import filled, small

PICTURE = b"bytes of a photo"
A, B = small("a.jpg", hashlib.sha256(PICTURE).hexdigest()), small("b.jpg", "b" * 64)
ALIAS = "erased person 4"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A count of two photos: Ola counted both, the first one twice, Mika the first."""
    for place in ("forms", "begun", "images", "crosses", "told"):
        (tmp_path / place).mkdir()
    (tmp_path / LIST).write_bytes(write_fields([A, B]))
    made = ((A, "Ola", 1, "1 1 1"), (A, "Ola", 2, "2 2 2"), (B, "Ola", 1, "3 3 3"), (A, "Mika", 1, "4 4 4"))
    for one, person, turn, labels in made:
        form = filled(write_form(one), labels.split(), person)
        (tmp_path / "forms" / f"{file_stem(one, person, turn)}.csv").write_text(form)
    (tmp_path / "images" / "a.jpg").write_bytes(PICTURE)
    (tmp_path / "crosses" / "a.jpg").write_bytes(b"with crosses")
    return tmp_path


def texts(folder: Path) -> str:
    """Return the names and contents of all files."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return "\n".join(f"{path.name}\n{path.read_bytes().decode('utf-8', 'replace')}" for path in files)


# a name


def test_an_erased_name_stands_on_no_form_and_in_no_file_name(folder: Path) -> None:
    assert take_name(folder, "Ola", ALIAS).files == 3
    left = texts(folder)
    assert "Ola" not in left
    assert file_stem(A, "Ola") not in left


def test_what_an_erased_person_counted_stays_told_of_a_number(folder: Path) -> None:
    before = {one.labels for one in read_count(folder).counts if one.person == "Ola"}
    take_name(folder, "Ola", ALIAS)
    assert {one.labels for one in read_count(folder).counts if one.person == ALIAS} == before


def test_the_first_count_of_an_erased_person_stays_the_first(folder: Path) -> None:
    def first(person: str) -> object:
        return next(one.labels for field, one in read_count(folder).by_person()[person] if field.name == "a.jpg")

    before = first("Ola")
    take_name(folder, "Ola", ALIAS)
    assert first(ALIAS) == before


def test_the_forms_of_others_stay_byte_for_byte(folder: Path) -> None:
    path = folder / "forms" / f"{file_stem(A, 'Mika')}.csv"
    before = path.read_bytes()
    take_name(folder, "Ola", ALIAS)
    assert path.read_bytes() == before


def test_a_name_in_another_case_is_found(folder: Path) -> None:
    assert take_name(folder, "OLA", ALIAS).files == 3


def test_a_form_that_nobody_filled_in_yet_loses_the_name(folder: Path) -> None:
    (folder / "forms" / "b.csv").write_bytes(write_form(B, "Ola"))
    take_name(folder, "Ola", ALIAS)
    assert "Ola" not in texts(folder)
    assert read_count(folder).blank == ("b.csv",)


def test_a_form_that_is_half_filled_in_loses_the_name(folder: Path) -> None:
    half = write_form(B, "Ola").decode().replace("1,\r\n", "1,2\r\n")
    (folder / "forms" / "b.csv").write_text(half)
    take_name(folder, "Ola", ALIAS)
    assert "Ola" not in texts(folder)
    assert "1,2" in (folder / "forms" / "b.csv").read_text()


def test_a_name_that_a_person_wrote_into_a_file_name_goes_too(folder: Path) -> None:
    (folder / "forms" / "b_ola.csv").write_text(filled(write_form(B), ["1", "1", "1"], "Ola"))
    take_name(folder, "Ola", ALIAS)
    assert not [path for path in (folder / "forms").iterdir() if "ola" in path.name]


def test_what_an_erased_person_had_only_begun_is_taken_away(folder: Path) -> None:
    for person in ("Ola", "Mika"):
        begun = Begun(B, person).said(1, "2")
        (folder / "begun" / f"{begun.stem}.json").write_bytes(begun.to_json())
    take_name(folder, "Ola", ALIAS)
    assert [path.stem for path in (folder / "begun").iterdir()] == [file_stem(B, "Mika")]


def test_a_form_that_cannot_be_read_is_told_and_stops_nothing(folder: Path) -> None:
    (folder / "forms" / "0.csv").write_bytes(b"\xff\xfe person Ola")
    done = take_name(folder, "Ola", ALIAS)
    assert done.files == 3
    assert [("0.csv" in line, "is no text" in line) for line in done.unread] == [(True, True)]


def test_erasing_a_name_twice_changes_nothing_more(folder: Path) -> None:
    take_name(folder, "Ola", ALIAS)
    before = texts(folder)
    assert take_name(folder, "Ola", ALIAS).files == 0
    assert texts(folder) == before


def test_a_name_is_found_before_it_is_erased_and_not_after(folder: Path) -> None:
    assert name_stands_in(folder, "Ola")
    take_name(folder, "Ola", ALIAS)
    assert not name_stands_in(folder, "Ola")


# a photo


def test_nothing_shows_an_erased_photo(folder: Path) -> None:
    assert photo_lies_in(folder, A.sha256)
    take_photo(folder, A.sha256)
    assert list((folder / "images").iterdir()) + list((folder / "crosses").iterdir()) == []
    assert not photo_lies_in(folder, A.sha256)


def test_a_count_goes_on_with_the_other_photos(folder: Path) -> None:
    take_photo(folder, A.sha256)
    count = read_count(folder)
    assert ([one.name for one in count.fields], [one.photo for one in count.counts]) == (["b.jpg"], ["b.jpg"])
    assert count.fields[0].grid == B.grid


def test_what_people_said_of_an_erased_photo_is_set_aside(folder: Path) -> None:
    before = {path.name: path.read_bytes() for path in (folder / "forms").iterdir() if path.name.startswith("a.")}
    take_photo(folder, A.sha256)
    assert {path.name: path.read_bytes() for path in (folder / "erased").iterdir()} == before


def test_a_name_is_erased_from_forms_that_were_set_aside(folder: Path) -> None:
    take_photo(folder, A.sha256)
    take_name(folder, "Ola", ALIAS)
    assert "Ola" not in texts(folder)


def test_a_copy_of_an_erased_photo_under_another_name_goes_too(folder: Path) -> None:
    (folder / "images" / "copy.jpg").write_bytes(PICTURE)
    take_photo(folder, A.sha256)
    assert list((folder / "images").iterdir()) == []


def test_another_photo_stays(folder: Path) -> None:
    before = texts(folder)
    assert take_photo(folder, "c" * 64).files == 0
    assert texts(folder) == before


def test_taking_a_photo_that_was_cut_short_is_finished_by_asking_again(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(Path, "unlink", lambda *_, **__: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            take_photo(folder, A.sha256)
    take_photo(folder, A.sha256)
    assert (folder / "images" / "a.jpg").exists() is False
    assert [one.name for one in read_fields(folder)] == ["b.jpg"]


# folders


def test_the_counts_of_the_store_and_those_named_are_looked_into_once(
    folder: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    store = tmp_path_factory.mktemp("store")
    inside = store / "counts" / "first"
    inside.mkdir(parents=True)
    (inside / LIST).write_bytes(b"[]")
    assert folders_known(store, [folder, inside]) == [inside, folder]


def test_a_folder_that_is_no_count_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="is no folder of a count"):
        folders_known(tmp_path, [tmp_path])
