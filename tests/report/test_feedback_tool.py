"""How often the tool was wrong, as its cards say."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from prepcheck.progress.tally import Tally
from prepcheck.report.feedback_tool import PointErrors, SceneErrors, ToolErrors, tool_errors
from prepcheck.resources import folder

REGISTRY = json.loads((folder("models") / "registry.json").read_bytes())


def models(place: Path, figures: dict[str, object]) -> Path:
    """Write a registry with one model, ``a``, and its card."""
    (place / "registry.json").write_text(json.dumps({"models": {"m": {"sha256": "a", "card": "m.json"}}}))
    (place / "m.json").write_text(json.dumps({"name": "m", "figures": figures}))
    return place


STOOD = {
    "dirty": {"retake": 7, "residue left": 29, "cannot tell": 20, "bright": 1},
    "clean": {"retake": 4, "residue left": 1, "cannot tell": 11, "bright": 2},
}


def test_wrong_standings_are_counted_out_of_those_that_were_told(tmp_path: Path) -> None:
    place = models(tmp_path, {"own": {"standings": STOOD, "all": {}}})
    assert tool_errors(["a"], place) == [
        ToolErrors("m", (SceneErrors("invented scenes of our own", Tally(1, 30), Tally(1, 3)),))
    ]


def test_points_are_told_with_their_interval(tmp_path: Path) -> None:
    figures = {"real": {"photos": 19, "standings": {"photos": {}}, "all": {"wrongly bright": [0.119, 0.028, 0.341]}}}
    (found,) = tool_errors(["a"], models(tmp_path, figures))
    assert found.points == (PointErrors("photographs from workshops", 19, 0.119, 0.028, 0.341),)


def test_photos_that_a_model_may_have_learned_from_are_left_out(tmp_path: Path) -> None:
    figures = {"open": {"photos": 70, "standings": STOOD, "all": {"wrongly bright": [0.1, 0.0, 0.2]}}}
    assert tool_errors(["a"], models(tmp_path, figures)) == [ToolErrors("m")]


def test_a_model_without_a_card_is_named_by_its_hash() -> None:
    assert tool_errors(["f" * 64]) == [ToolErrors("f" * 12)]


@pytest.mark.parametrize("name", REGISTRY["models"])
def test_every_card_that_ships_can_be_read(name: str) -> None:
    (found,) = tool_errors([REGISTRY["models"][name]["sha256"]])
    assert found.model == name


def test_the_usual_model_tells_its_errors_on_photos_with_known_truth() -> None:
    (found,) = tool_errors([REGISTRY["models"][REGISTRY["default"]]["sha256"]])
    assert sum(one.missed.of for one in found.scenes) > 0
    assert found.points
