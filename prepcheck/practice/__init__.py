"""Practice: a person marks residue before an answer is shown, then sees the difference; pure."""

from prepcheck.practice.difference import Answer, Difference, Patch, differ, of_tool, of_truth
from prepcheck.practice.layers import Layer, draw
from prepcheck.practice.mark import Mark, Stroke, filled, from_png, painted, to_png

__all__ = [
    "Answer",
    "Difference",
    "Layer",
    "Mark",
    "Patch",
    "Stroke",
    "differ",
    "draw",
    "filled",
    "from_png",
    "of_tool",
    "of_truth",
    "painted",
    "to_png",
]
