"""The file contract and its JSON Schema."""

import json

import jsonschema
import pytest
from pydantic import ValidationError

from prepcheck.record import RECORD_VERSION, SCHEMA_FILE, Record, broken_record, schema

SCHEMA = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))


def test_the_shipped_schema_is_that_of_the_records():
    assert SCHEMA_FILE.read_text(encoding="utf-8") == schema()


def test_the_schema_is_a_valid_schema():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_a_broken_inputs_line_fits_the_schema():
    line = json.loads(broken_record("a.jpg", "damaged_photo", "a.jpg: is cut short. Copy it again.").model_dump_json())
    jsonschema.validate(line, SCHEMA)
    assert line["record_version"] == RECORD_VERSION
    assert set(line) == {"record_version", "photo", "error"}


def test_a_line_with_an_unknown_name_does_not_fit():
    line = json.loads(broken_record("a.jpg", "x", "y").model_dump_json()) | {"grade": 3}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(line, SCHEMA)


def test_a_share_over_one_is_no_record():
    with pytest.raises(ValidationError):
        Record.model_validate({"bright_share": 1.2})
