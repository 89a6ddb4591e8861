"""Spot and surface map to a score: bright share with its interval, patches, worst unit area, joint line, standing."""

from prepcheck.score.joint import Joint, JointLine, Side
from prepcheck.score.patch import Patch
from prepcheck.score.score import Score, judge_joint, score_spot, stand
from prepcheck.score.share import BrightShare, bright_share
from prepcheck.score.unit_area import UnitArea

__all__ = [
    "BrightShare",
    "Joint",
    "JointLine",
    "Patch",
    "Score",
    "Side",
    "UnitArea",
    "bright_share",
    "judge_joint",
    "score_spot",
    "stand",
]
