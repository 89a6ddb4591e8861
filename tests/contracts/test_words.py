"""The vocabulary holds in code, help and flags."""

import ast
import re
from pathlib import Path

import pytest

from prepcheck.terms import CAUTION_LINE, CAUTIONS, FLAGS, NEXT_STEPS, STATE_LABELS, Standing, State

PACKAGE = Path(__file__).parents[2] / "prepcheck"
TEXTS = [text for card in FLAGS.values() for text in (card.name, card.what, card.why, card.action)]
TEXTS += [*CAUTIONS, CAUTION_LINE, *NEXT_STEPS.values(), *STATE_LABELS.values()]


def string_literals():
    for path in sorted(PACKAGE.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        docstrings = {
            id(node.body[0].value)
            for node in ast.walk(tree)
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
            and node.body
            and isinstance(node.body[0], ast.Expr)
        }
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docstrings:
                yield path.relative_to(PACKAGE), node.lineno, node.value


def test_the_four_standings_are_the_agreed_words():
    assert [standing.value for standing in Standing] == ["bright", "residue left", "cannot tell", "retake"]


def test_the_state_codes_are_those_of_the_file_contract():
    assert {state.key: int(state) for state in State} == {
        "background": 0,
        "bright": 1,
        "oxide": 2,
        "pit": 3,
        "coating": 4,
        "foreign": 5,
        "cannot_tell": 255,
    }


def test_nothing_said_to_a_person_is_a_verdict():
    word = re.compile(r"\b(passed|failed|verdict|grade [A-Z0-9]|is safe|safe to weld|may be welded|approved)\b", re.I)
    said = [(str(path), line, text) for path, line, text in string_literals() if word.search(text)]
    assert said == []


@pytest.mark.parametrize("code", FLAGS)
def test_every_flag_card_is_complete(code):
    card = FLAGS[code]
    assert card.code == code
    assert all(text.strip() for text in (card.name, card.what, card.why, card.action))


def test_texts_for_people_are_sentences():
    cards = [text for card in FLAGS.values() for text in (card.what, card.why, card.action)]
    assert [text for text in [*cards, *CAUTIONS] if not (text[0].isupper() and text.endswith("."))] == []


def test_the_cautions_name_what_no_photo_can_show():
    assert "native oxide film" in CAUTION_LINE
    assert "below the surface" in CAUTION_LINE
    assert "no published grade" in CAUTION_LINE.lower()
    assert "cannot know the metal" in CAUTION_LINE
