"""People on the command line, and PINs that are never shown."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.shop import Shop
from tests.tasks.shop import new_shop


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    new_shop(tmp_path)
    return Shop(tmp_path)


def add(shop: Shop, name: str, role: str, *more: object, new_pin: str = "1111"):
    return shop("person", "add", name, "--role", role, *more, PREPCHECK_NEW_PIN=new_pin)


def test_people_are_listed_with_their_roles(shop):
    said = [line.split(maxsplit=1) for line in shop.good("person", "list").splitlines()]
    assert [[name, role.strip()] for name, role in said] == [
        ["Ola", "no role, may log"],
        ["Rune", "keeper"],
        ["Mika", "releaser"],
    ]


def test_people_as_json_are_a_line_each_without_any_hash(shop):
    told = [json.loads(line) for line in shop.good("person", "list", "--json").splitlines()]
    assert told[1] == {"number": 2, "name": "Rune", "role": "keeper", "has_pin": True}


def test_an_empty_log_says_how_to_begin(tmp_path):
    shop = Shop(tmp_path)
    assert add(shop, "Rune", "keeper").out == "Rune is keeper now, with a PIN.\n"
    assert "keeper" in shop.good("person", "list")


def test_a_keeper_adds_a_person(shop):
    assert (
        add(shop, "Ola", "welder", "--by", "Rune", "--pin-file", shop.pin_file("Rune")).out
        == "Ola is welder now, with a PIN.\n"
    )


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ([], "Ola: this needs the PIN of a keeper"),
        (["--by", "Mika", "--pin-file", "Mika.pin"], "Mika: is no keeper"),
        (["--by", "Rune", "--pin-file", "Mika.pin"], "Rune: this is not the PIN"),
    ],
)
def test_nobody_else_adds_a_person(shop, monkeypatch, more, said):
    monkeypatch.chdir(shop.folder)
    done = add(shop, "Ola", "keeper", *more)
    assert (done.code, done.out) == (2, "")
    assert said in done.err


def test_without_a_keyboard_and_without_a_new_pin_nothing_is_done(shop):
    done = shop("person", "add", "Ola", "--role", "welder", "--by", "Rune", "--pin-file", shop.pin_file("Rune"))
    assert (done.code, "Ola: no new PIN is given. Give --new-pin-file or PREPCHECK_NEW_PIN." in done.err) == (2, True)


def test_a_pin_is_no_argument(shop):
    assert shop("person", "add", "Ola", "--role", "welder", "--pin", "1234").code == 2


def test_a_person_changes_their_pin(shop):
    shop.good("person", "pin", "Mika", "--pin-file", shop.pin_file("Mika"), PREPCHECK_NEW_PIN="9753")
    assert shop("person", "pin", "Mika", "--pin-file", shop.pin_file("Mika"), PREPCHECK_NEW_PIN="1111").code == 2
    assert shop.good("person", "pin", "Mika", PREPCHECK_PIN="9753", PREPCHECK_NEW_PIN="1111") == "Mika has a new PIN.\n"


def typed(shop: Shop, *arguments: str, keys: list[str]) -> str:
    """Run a command at a keyboard, type a line at each question, and return all that the screen showed."""
    main, other = pty.openpty()
    command = [sys.executable, "-m", "prepcheck", *arguments]
    surroundings = {
        **os.environ,
        "PREPCHECK_STORE": str(shop.folder),
        "PREPCHECK_SETTINGS": str(shop.folder / "quick.toml"),
    }
    shown = b""
    with subprocess.Popen(command, stdin=other, stdout=other, stderr=other, env=surroundings, start_new_session=True):
        os.close(other)
        for key in keys:
            while not shown.rstrip(b"\r\n").endswith(b": "):
                shown += os.read(main, 1024)
            os.write(main, f"{key}\n".encode())
            shown += b"|"
        try:
            while more := os.read(main, 1024):
                shown += more
        except OSError:
            pass
    os.close(main)
    return shown.decode()


def test_a_typed_pin_is_asked_for_twice_and_never_shown(shop):
    shown = typed(shop, "person", "pin", "Mika", keys=["1357", "97531", "97531"])
    assert "PIN of Mika: " in shown
    assert "Mika has a new PIN." in shown
    assert "1357" not in shown
    assert "97531" not in shown
