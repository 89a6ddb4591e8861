"""Every threshold of prepcheck: frozen, with unit, reason and source, and with its own hash.

A settings file is TOML with the group names below as tables::

    [score]
    residue_limit = 0.03
"""

from prepcheck.settings.all import Settings, load
from prepcheck.settings.picture import (
    AlignSettings,
    CardSettings,
    ClipSettings,
    FitnessSettings,
    MovedLightSettings,
    PhotoSettings,
)
from prepcheck.settings.progress import ProgressSettings
from prepcheck.settings.setting import COMMON, OWN, Group, threshold
from prepcheck.settings.shop import PeopleSettings, ReportSettings, ShopFitSettings, StepSettings, StoreSettings
from prepcheck.settings.spots import FollowSettings, ScoreSettings, SpotSettings
from prepcheck.settings.work import ClearingSettings, LeakSettings, WallSettings, WeldSettings

__all__ = [
    "COMMON",
    "OWN",
    "AlignSettings",
    "CardSettings",
    "ClearingSettings",
    "ClipSettings",
    "FitnessSettings",
    "FollowSettings",
    "Group",
    "LeakSettings",
    "MovedLightSettings",
    "PeopleSettings",
    "PhotoSettings",
    "ProgressSettings",
    "ReportSettings",
    "ScoreSettings",
    "Settings",
    "ShopFitSettings",
    "SpotSettings",
    "StepSettings",
    "StoreSettings",
    "WallSettings",
    "WeldSettings",
    "load",
    "threshold",
]
