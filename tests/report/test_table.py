"""The terminal's answer."""

from __future__ import annotations

import io
from typing import Any

import pytest
from rich.console import Console

from prepcheck.record import PersonRecord, Record
from prepcheck.report.table import print_record
from prepcheck.terms import CAUTIONS, FLAGS, Standing
from tests.report.made import joint_at, patch_at, record_of, retake, ring, set_of, since, spot_of, twenty

WIDTHS = pytest.mark.parametrize("width", [50, 80])


def printed(record: Record, width: int = 80, **options: object) -> str:
    file = io.StringIO()
    console = Console(file=file, width=width, **options)  # type: ignore[arg-type]
    print_record(console, record)
    return file.getvalue()


def words(text: str) -> str:
    return " ".join(text.split())


def dirty(**changes: object) -> Record:
    spot = spot_of(3, ring(300, 300, 90), Standing.RESIDUE_LEFT, largest_patch=patch_at(300, 300))
    return record_of([spot], Standing.RESIDUE_LEFT, **changes)  # type: ignore[arg-type]


@WIDTHS
def test_standing_score_and_interval_are_said(width: int) -> None:
    assert "RESIDUE LEFT score 71 (62 to 79)" in words(printed(dirty(), width))


@WIDTHS
def test_the_next_step_is_said(width: int) -> None:
    assert Standing.RESIDUE_LEFT.next_step in words(printed(dirty(), width))


@WIDTHS
def test_a_spot_has_its_figures(width: int) -> None:
    text = words(printed(dirty(), width))
    for figure in ("12.3 cm²", "71%", "62 to 79%", "66%", "oxide 11 mm", "residual oxide 28%", "at least 21% residue"):
        assert figure in text


@WIDTHS
def test_patches_are_listed_by_length(width: int) -> None:
    patches = [patch_at(240, 240, mm=11.2), patch_at(360, 300, mm=4.0)]
    spot = spot_of(3, ring(300, 300, 90), Standing.RESIDUE_LEFT, longest_patches=patches, patches=2)
    text = words(printed(record_of([spot], Standing.RESIDUE_LEFT), width))
    assert "Patches, longest first: oxide 11 mm upper left; oxide 4.0 mm right." in text


@WIDTHS
def test_flags_are_said_with_their_action(width: int) -> None:
    text = words(printed(dirty(flags=("cut_off", "no_scale")), width))
    for code in ("cut_off", "no_scale"):
        assert f"{FLAGS[code].name} {FLAGS[code].action}" in text


@WIDTHS
def test_every_caution_is_said(width: int) -> None:
    text = words(printed(retake(), width))
    assert all(caution in text for caution in CAUTIONS)


@WIDTHS
@pytest.mark.parametrize(
    "record", [dirty(name="x" * 200), twenty(), retake(name="a b " * 40)], ids=["long", "20", "none"]
)
def test_no_line_is_wider_than_the_console(width: int, record: Record) -> None:
    assert max(len(line) for line in printed(record, width).splitlines()) <= width


def test_twenty_spots_have_a_line_each() -> None:
    lines = printed(twenty()).splitlines()
    assert sum(line.split()[:1] == [str(n)] for n in range(1, 21) for line in lines) == 20


def test_markup_in_a_name_is_text() -> None:
    assert "[red]bad[/] [link=x]y" in printed(dirty(name="[red]bad[/] [link=x]y"))


def test_a_newline_in_a_name_is_escaped() -> None:
    assert printed(dirty(name="a\nb.jpg")).splitlines()[0] == r"a\nb.jpg"


def test_an_escape_sequence_in_a_name_is_escaped() -> None:
    assert "\x1b" not in printed(dirty(name="\x1b[2Jx.jpg"))


def test_markup_in_a_persons_reason_is_text() -> None:
    person = PersonRecord(refused={3: "[b]bead[/b]"}, standing=Standing.BRIGHT, bright_share=0.9, interval=(0.8, 1.0))
    assert "Spot 3 refused: [b]bead[/b]" in printed(dirty(by_person=person))


def test_a_persons_answer_stands_beside_the_tools() -> None:
    person = PersonRecord(standing=Standing.CANNOT_TELL, bright_share=0.9, interval=(0.8, 1.0))
    text = words(printed(dirty(by_person=person)))
    assert "RESIDUE LEFT score 71 (62 to 79)" in text
    assert "CANNOT TELL score 90 (80 to 100)" in text


def test_a_pipe_gets_no_escape_codes() -> None:
    assert "\x1b" not in printed(dirty())


def test_no_color_gives_no_colours(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    codes = {part.split("m")[0] for part in printed(dirty(), force_terminal=True).split("\x1b[")[1:]}
    assert codes <= {"0", "1", "2", "1;4", "1;7"}  # bold, dim, underlined, reversed


def test_a_console_without_unicode_gets_escapes() -> None:
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding="ascii")
    print_record(Console(file=file, width=80), dirty(name="Søren \udc80.jpg"))
    file.flush()
    assert raw.getvalue().startswith(rb"S\xf8ren \udc80.jpg")


def test_a_retake_names_the_flag_and_what_to_do() -> None:
    text = words(printed(retake()))
    assert (
        f"RETAKE photo not fit to judge Next: {Standing.RETAKE.next_step} Flag: blurred {FLAGS['blurred'].action}"
        in text
    )


def test_a_retake_shows_no_figures_of_its_spots() -> None:
    spot = spot_of(1, ring(300, 300, 90), Standing.RETAKE, largest_patch=patch_at(300, 300))
    record = record_of([spot], Standing.RETAKE, flags=("blurred",))
    assert not any(figure in printed(record) for figure in ("71", "62", "11 mm"))


@WIDTHS
def test_a_set_is_named_by_its_first_photo_and_their_number(width: int) -> None:
    assert words(printed(set_of(dirty()), width)).startswith("seam 3.jpg and 2 more under a moved light")


@WIDTHS
def test_a_set_says_what_it_rests_on_and_what_one_photo_alone_said(width: int) -> None:
    said = (
        "Moved light: 2 of 3 photos used, laid on the first to about 0.6 px, light moved by 0.42. "
        "The first photo alone: cannot tell, score 64 (41 to 83)."
    )
    assert said in words(printed(set_of(dirty(), "blurred"), width))


@WIDTHS
def test_the_advice_for_the_torch_is_said(width: int) -> None:
    assert "Torch: Hold it low." in words(printed(set_of(dirty(), advice="Hold it low."), width))


@WIDTHS
def test_what_changed_since_the_last_pass_is_said(width: int) -> None:
    record = dirty().model_copy(update={"since_last_pass": since(2)})
    assert "Since pass 2: newly bright 21%" in words(printed(record, width))


def test_a_pass_that_was_not_compared_is_left_to_its_flag() -> None:
    record = dirty().model_copy(update={"since_last_pass": since(reason="too blurred")})
    assert "too blurred" not in printed(record)


def with_joint(**changes: Any) -> str:
    return words(printed(dirty().model_copy(update={"joint": joint_at(300, **changes)})))


def test_each_side_of_a_joint_line_is_said_with_the_mark_of_the_margin() -> None:
    text = with_joint()
    assert "Margin of 25 mm each side (shop practice, from memory; changes no standing)" in text
    assert "above: residue 10%; the nearest 8.0 mm from the line" in text
    assert "below: no residue patch as far as the margin" in text


def test_a_patch_at_the_joint_line_is_said() -> None:
    assert "Joint line: touched by oxide 1.4 mm." in with_joint(touching=True)


def test_without_a_scale_the_margin_is_said_not_to_be_judged() -> None:
    assert "No scale, so the margin beside it is not judged." in with_joint(margin_mm=None)


def test_without_a_joint_line_nothing_is_said_of_one() -> None:
    assert "Joint" not in printed(dirty())


def test_a_stated_margin_is_said_to_be_stated() -> None:
    stated = joint_at(300).model_copy(update={"margin_stated": True})
    assert "(as stated by a person; changes no standing)" in words(
        printed(dirty().model_copy(update={"joint": stated}))
    )
