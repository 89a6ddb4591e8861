"""The scale card from the command line."""

from __future__ import annotations

import pytest

from tests.command import Command

pytest.importorskip("fpdf")


def test_the_files_to_print_are_named(command: Command) -> None:
    done = command("card", "--paper", "letter", "--out", "card")
    assert done.code == 0
    assert sorted(done.out.splitlines()) == ["card/scale_card.png", "card/scale_card_letter.pdf"]
    assert all((command.folder / name).is_file() for name in done.out.splitlines())


@pytest.mark.parametrize(
    ("arguments", "says"),
    [(("--paper", "a3"), "'a3' is not one of"), (("--out", "taken"), "taken: cannot be written to")],
)
def test_what_is_wrong_is_one_line(command: Command, arguments: tuple[str, str], says: str) -> None:
    (command.folder / "taken").touch()
    done = command("card", *arguments)
    assert (done.code, done.out) == (2, "")
    assert says in done.complaint
