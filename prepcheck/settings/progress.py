"""Settings of what is told about people's work over time. They change no figure of an inspection."""

from __future__ import annotations

from prepcheck.settings.setting import COMMON, Group, threshold


class ProgressSettings(Group):
    """People's work over time, reused photos, and what is kept about a person."""

    least_spots: int = threshold(
        10,
        unit="spots",
        low=2,
        high=1000,
        reason="of ten, even the share of five has an interval from 18 to 82 %; of fewer a percentage says next to nothing",
    )
    block_spots: int = threshold(
        10,
        unit="spots a point of the plot",
        low=2,
        high=1000,
        reason="enough that a point is told with its interval, few enough that an apprentice sees more than one",
    )
    rim_mm: float = threshold(
        5.0,
        unit="mm from the spot's outline",
        low=0.1,
        high=100.0,
        reason="where the disc is lifted off and the coating's edge lies",
        source=COMMON,
    )
    rim_share: float = threshold(
        0.1,
        unit="share of the spot's width",
        low=0.01,
        high=0.5,
        reason="stands in for the distance in mm where no scale is known: 5 mm of a spot 50 mm wide",
    )
    old_photo_hours: float = threshold(
        24.0,
        unit="h between the photo's own time and its entry",
        low=0.1,
        high=87_600.0,
        reason="a day's work is logged the same day; photos of an archive are older, and that is no fault",
        source=COMMON,
    )
    keep_months: int = threshold(
        36,
        unit="months after a person's last entry",
        low=1,
        high=1200,
        reason="an apprenticeship of about three years; then a keeper is asked whether the name is still needed, and"
        " nothing is deleted by itself. The law of the place rules",
        source=COMMON,
    )
