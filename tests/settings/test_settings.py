"""Every setting says what it rests on; the hash covers all that can change a figure, and nothing else."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError
from pydantic.fields import FieldInfo

from prepcheck import settings as module
from prepcheck.errors import BadSettings
from prepcheck.settings import Group, Settings, load

FIELDS = {
    f"{name}.{setting}": field
    for name, group in Settings.model_fields.items()
    for setting, field in type(group.default).model_fields.items()
}
CALM = ("progress", "report")
"""The groups that change no figure."""


@pytest.mark.parametrize("field", FIELDS.values(), ids=FIELDS)
def test_every_setting_has_unit_reason_and_source(field: FieldInfo) -> None:
    extra = field.json_schema_extra
    assert isinstance(extra, dict)
    assert field.description
    assert extra["unit"]
    assert extra["source"]


def test_every_group_is_part_of_the_settings_and_exported() -> None:
    groups = {type(field.default) for field in Settings.model_fields.values()}
    assert groups == set(Group.__subclasses__()) - {Settings}
    assert {group.__name__ for group in groups} <= set(module.__all__)


def nudged(name: str) -> Settings:
    """Return the settings with one of them moved to another allowed value."""
    group, _, setting = name.partition(".")
    value = getattr(getattr(Settings(), group), setting)
    for other in (value + 1, value - 1, value * 1.01 + 0.001, value * 0.99):
        try:
            return Settings.model_validate({group: {setting: other}})
        except ValidationError:
            continue
    raise AssertionError(name)


@pytest.mark.parametrize("name", [name for name in FIELDS if not name.startswith(CALM)])
def test_the_hash_changes_with_every_setting_that_changes_a_figure(name: str) -> None:
    assert nudged(name).digest() != Settings().digest()


@pytest.mark.parametrize("report", [{"units": "us"}, {"paper": "letter"}])
def test_the_hash_stays_when_only_what_is_shown_changes(report: dict[str, Any]) -> None:
    assert Settings.model_validate({"report": report}).digest() == Settings().digest()


def test_other_units_or_paper_leave_all_else_as_the_shop_has_it(tmp_path: Path) -> None:
    (tmp_path / "shop.toml").write_text('[report]\nunits = "us"\npaper = "letter"\n[wall]\nminimum_mm = 2.3\n')
    shop = load(tmp_path / "shop.toml")
    assert shop.shown_in(None) == shop
    metric = shop.shown_in("metric")
    assert (metric.report.units, metric.report.paper, metric.wall.minimum_mm) == ("metric", "letter", 2.3)
    assert shop.shown_in(None, "a4").report.paper == "a4"


@pytest.mark.parametrize("text", ['[report]\nunits = "imperial"', '[report]\npaper = "a3"', "[report]\nunits = 1"])
def test_units_and_paper_that_there_are_not_are_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "shop.toml").write_text(text)
    with pytest.raises(BadSettings, match="report"):
        load(tmp_path / "shop.toml")
