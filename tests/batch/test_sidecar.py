"""The table beside the photos: every fault is told with its line, and all together."""

from __future__ import annotations

import pytest

from prepcheck.batch.sidecar import Faults, read_sidecar
from prepcheck.errors import WrongUse


def read(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "places.csv"
    path.write_bytes(text.encode(encoding))
    faults = Faults("places.csv")
    return read_sidecar(path, faults), faults


def told(tmp_path, text, encoding="utf-8"):
    lines, faults = read(tmp_path, text, encoding)
    faults.raise_any()
    return {line.file: line.told for line in lines.values()}


def test_each_line_says_where_a_file_belongs(tmp_path):
    text = "file,job,spot,pass_no,person,mm_per_px,outline,note\na.jpg,1,neck,2,Ola,0.2,3,wire brush\n"
    assert told(tmp_path, text)["a.jpg"] == {
        "job": "J-0001", "spot": "neck", "pass_no": "2", "person": "Ola", "mm_per_px": "0.2", "outline": "3",
        "note": "wire brush",
    }  # fmt: skip


def test_a_cell_left_empty_says_nothing(tmp_path):
    assert told(tmp_path, "file,job,spot\na.jpg,,2\n") == {"a.jpg": {"spot": "2"}}


@pytest.mark.parametrize("text", ["file;spot\na.jpg;2\n", "File , SPOT\na.jpg,2\n", "\ufefffile,spot\r\na.jpg,2\r\n"])
def test_tables_as_spreadsheets_save_them_are_read(tmp_path, text):
    assert told(tmp_path, text) == {"a.jpg": {"spot": "2"}}


def test_a_name_is_found_in_either_unicode_form(tmp_path):
    lines, _ = read(tmp_path, "file,spot\nsa\u0308ge.jpg,2\n")
    assert lines["s\u00e4ge.jpg"].told == {"spot": "2"}


@pytest.mark.parametrize(
    ("cells", "fault"),
    [
        ("J-x,,,,,", "line 2: J-x: no such job"),
        (",0,,,,", "line 2: 0: a spot's number goes from 1"),
        (",,100,,,", "line 2: 100: a pass number goes from 1"),
        (",,two,,,", "line 2: pass_no is no number: two"),
        (",,,Ola\x07,,", "line 2: .*cannot be printed"),
        (",,,,0,", "line 2: 0: mm_per_px must lie between"),
        (",,,,nan,", "line 2: nan: mm_per_px must lie between"),
        (",,,,1e999,", "line 2: 1e999: mm_per_px must lie between"),
        (",,,,,0", "line 2: 0: an outline's number goes from 1"),
    ],
)
def test_a_cell_that_cannot_be_used_is_told_with_its_line(tmp_path, cells, fault):
    with pytest.raises(WrongUse, match=fault):
        told(tmp_path, f"file,job,spot,pass_no,person,mm_per_px,outline\na.jpg,{cells}\n")


def test_a_file_named_twice_is_told_with_both_lines(tmp_path):
    with pytest.raises(WrongUse, match=r"line 4: a\.jpg is named again, first in line 2"):
        told(tmp_path, "file,spot\na.jpg,1\nb.jpg,1\na.jpg,2\n")


def test_all_faults_are_told_at_once_in_order(tmp_path):
    with pytest.raises(WrongUse, match=r"line 2: 0: a spot.*; line 3: names no file"):
        told(tmp_path, "file,spot\na.jpg,0\n,1\n")


def test_of_very_many_faults_the_first_are_told_and_the_rest_counted(tmp_path):
    with pytest.raises(WrongUse, match=r"line 9: .*; and 12 more"):
        told(tmp_path, "file,spot\n" + "".join(f"{k}.jpg,0\n" for k in range(20)))


@pytest.mark.parametrize("head", ["name,spot", "file,where", "file,file", ""])
def test_other_columns_are_refused(tmp_path, head):
    with pytest.raises(WrongUse, match="has other columns"):
        told(tmp_path, f"{head}\na.jpg,1\n")


def test_what_is_no_csv_is_refused(tmp_path):
    with pytest.raises(WrongUse, match="is no CSV"):
        told(tmp_path, 'file,spot\n"a.jpg,1\n')


def test_what_is_no_text_is_refused(tmp_path):
    with pytest.raises(WrongUse, match="is no text"):
        told(tmp_path, "file,spot\ns\u00e4ge.jpg,1\n", "latin-1")
