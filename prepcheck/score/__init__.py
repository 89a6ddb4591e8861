"""Spot and surface map to a score: bright share with its interval, patches, worst unit area, standing."""

from prepcheck.score.patch import Patch
from prepcheck.score.score import Score, score_spot, stand
from prepcheck.score.share import BrightShare, bright_share
from prepcheck.score.unit_area import UnitArea

__all__ = ["BrightShare", "Patch", "Score", "UnitArea", "bright_share", "score_spot", "stand"]
