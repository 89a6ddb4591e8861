"""All settings together, their hash, and the file that changes them."""

from __future__ import annotations

import hashlib
import tomllib
from functools import lru_cache
from pathlib import Path

from pydantic import ValidationError

from prepcheck.errors import BadSettings
from prepcheck.own_file import first_fault, read_text
from prepcheck.settings.picture import (
    AlignSettings,
    CardSettings,
    ClipSettings,
    FitnessSettings,
    MovedLightSettings,
    PhotoSettings,
)
from prepcheck.settings.progress import ProgressSettings
from prepcheck.settings.setting import Group
from prepcheck.settings.shop import PeopleSettings, ReportSettings, ShopFitSettings, StepSettings, StoreSettings
from prepcheck.settings.spots import FollowSettings, ScoreSettings, SpotSettings
from prepcheck.settings.work import ClearingSettings, LeakSettings, WallSettings, WeldSettings

_MOST_BYTES = 16_000
"""Of a settings file: ten times what all settings together need; a parser of TOML takes long over nested names."""

CALM = ("progress", "report")
"""Groups that change no figure of an inspection."""


class Settings(Group):
    """All settings. Give it to every step; its hash is part of each result's origin."""

    photo: PhotoSettings = PhotoSettings()
    fitness: FitnessSettings = FitnessSettings()
    card: CardSettings = CardSettings()
    spot: SpotSettings = SpotSettings()
    follow: FollowSettings = FollowSettings()
    score: ScoreSettings = ScoreSettings()
    align: AlignSettings = AlignSettings()
    moved_light: MovedLightSettings = MovedLightSettings()
    clip: ClipSettings = ClipSettings()
    clearing: ClearingSettings = ClearingSettings()
    wall: WallSettings = WallSettings()
    weld: WeldSettings = WeldSettings()
    leak: LeakSettings = LeakSettings()
    store: StoreSettings = StoreSettings()
    steps: StepSettings = StepSettings()
    people: PeopleSettings = PeopleSettings()
    shop_fit: ShopFitSettings = ShopFitSettings()
    progress: ProgressSettings = ProgressSettings()
    report: ReportSettings = ReportSettings()

    def digest(self) -> str:
        """SHA-256 (hex) of the canonical JSON (RFC 8785) of all values but those that change no figure (`CALM`)."""
        return _digest(self)

    def shown_in(self, units: str | None, paper: str | None = None) -> Settings:
        """Return the settings with other units or paper than the shop's; None leaves the shop's."""
        given = {name: value for name, value in (("units", units), ("paper", paper)) if value is not None}
        return self.model_copy(update={"report": ReportSettings.model_validate({**self.report.model_dump(), **given})})


@lru_cache(maxsize=8)
def _digest(settings: Settings) -> str:
    import rfc8785

    return hashlib.sha256(rfc8785.dumps(settings.model_dump(exclude=set(CALM)))).hexdigest()


def load(path: Path | None) -> Settings:
    """Read a TOML settings file over the defaults; None gives the defaults.

    Raises
    ------
    BadSettings
        The file cannot be read, is no TOML, names a setting that does not exist, or a value is out of range.
    """
    if path is None:
        return Settings()
    text = read_text(path, _MOST_BYTES, BadSettings)
    try:
        return Settings.model_validate(tomllib.loads(text))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise BadSettings(f"is no TOML file ({error})", "Mend the file", str(path)) from error
    except ValidationError as error:
        raise BadSettings(first_fault(error), "Mend the file", str(path)) from error
