"""Text in pictures."""

from __future__ import annotations

import pytest

from prepcheck.report.lettering import Type, shown, wrapped

KIND = Type(20.0)


@pytest.mark.parametrize("name", ["Søndergård", "Kraśnik", "Привет", "21 cm² ±1 · ≤"])
def test_european_letters_are_shown(name: str) -> None:
    assert shown(name) == name


def test_characters_that_the_font_lacks_are_question_marks() -> None:
    assert shown("漢 x \ufffe") == "? x \\ufffe"


def test_a_combined_letter_is_composed() -> None:
    assert shown("e\u0301") == "é"


def test_control_and_undecodable_characters_are_escaped() -> None:
    assert shown("a\nb\x1b\udc80\u202e") == r"a\nb\x1b\udc80\u202e"


@pytest.mark.parametrize("text", ["grind the marked places again, brush off the dust", "w" * 100, "iiii " * 30, ""])
def test_no_wrapped_line_is_wider_than_asked(text: str) -> None:
    assert all(KIND.width(line) <= 200 for line in wrapped(text, KIND, 200))


def test_wrapping_loses_no_word() -> None:
    text = "grind the marked places again, brush off the dust"
    assert " ".join(wrapped(text, KIND, 200)) == text


def test_text_cut_to_its_most_lines_ends_in_dots() -> None:
    lines = wrapped("grind the marked places again, brush off the dust", KIND, 200, most=2)
    assert (len(lines), lines[1][-3:]) == (2, "...")


def test_large_words_are_made_smaller_to_fit() -> None:
    large = Type(120.0)
    assert large.shrunk("residue left", 400).width("residue left") <= 1.02 * 400 < large.width("residue left")


def test_bold_is_wider_than_plain() -> None:
    assert Type(20.0, bold=True).width("a") > KIND.width("a")
