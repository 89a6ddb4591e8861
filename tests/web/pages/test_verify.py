from __future__ import annotations

import io
import zipfile

from tests.web.pages.reading import read


def bag(**files):
    """Return a zip file with these files, which is no whole bag."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as packed:
        for name, text in files.items():
            packed.writestr(name, text)
    return data.getvalue()


def verify(phone, data, name="J-0001.zip", key=""):
    return phone.post("/verify", data={"key": key}, files={"bag": (name, data, "application/zip")})


def test_every_fault_is_told_not_just_the_first(phone):
    words = read(verify(phone, bag(**{"bagit.txt": "nonsense", "extra.txt": "x"}))).words
    assert "faults found." in words
    assert words.count("fault: ") > 1


def test_the_file_is_named_as_the_person_knows_it(phone):
    words = read(verify(phone, b"no zip at all", "<img src=x onerror=1>.zip"), 422).words
    assert "is no zip file" in words
    assert "<img src=x onerror=1>.zip : Give" in words
    assert "/tmp" not in words


def test_a_key_that_is_none_is_told_and_stays_typed(phone):
    page = read(verify(phone, bag(**{"bagit.txt": "x"}), key="12 34"), 400)
    assert "is no fingerprint of a key" in page.words
    assert page.field("key")["value"] == "12 34"


def test_without_a_file_nothing_is_looked_at(phone):
    assert phone.post("/verify", data={"key": ""}).status_code == 422


def test_the_form_asks_for_a_zip_file(phone):
    assert ".zip" in read(phone.get("/verify")).field("bag")["accept"]
