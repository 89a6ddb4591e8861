"""People, roles and PINs."""

from __future__ import annotations

from pathlib import Path

import pytest

from prepcheck import tasks
from prepcheck.errors import NotAllowed, PinLocked, UnknownRecord, WrongPin, WrongUse
from prepcheck.settings import PeopleSettings, Settings
from prepcheck.store.store import Store
from prepcheck.tasks.people import Role, hash_pin
from prepcheck.trade.entries import Note
from tests.store.logs import other_program
from tests.store.records import new_log
from tests.tasks.shop import JOB, PINS, QUICK, minute, new_shop


@pytest.fixture
def shop(tmp_path: Path) -> Store:
    return new_shop(tmp_path)


def check(store: Store, name: str, pin: str, at: float = 1) -> str:
    return tasks.check_pin(store, name, pin, at=minute(at), settings=QUICK).role


def wrong(store: Store, times: int, at: float = 1) -> None:
    for _ in range(times):
        with pytest.raises(WrongPin):
            check(store, "Mika", "0000", at)


# roles


@pytest.mark.parametrize(
    ("one", "other", "includes"),
    [
        ("welder", "releaser", False),
        ("releaser", "welder", True),
        ("releaser", "keeper", False),
        ("keeper", "releaser", True),
    ],
)
def test_a_role_includes_those_before_it(one, other, includes):
    assert Role(one).includes(Role(other)) is includes


def test_people_are_listed_in_the_order_in_which_they_were_first_named(shop):
    told = [(one.name, one.role, one.has_pin) for one in tasks.list_people(shop)]
    assert told == [("Ola", "", False), ("Rune", "keeper", True), ("Mika", "releaser", True)]


def add(store: Store, name: str = "Ola", role: str = "welder", pin: str = "1111", by: str | None = "Rune") -> None:
    by_pin = None if by is None else PINS.get(by)
    tasks.add_person(store, name, role, pin, at=minute(1), by=by, by_pin=by_pin, settings=QUICK)


def test_the_first_person_with_a_role_is_the_keeper(tmp_path):
    store, _ = new_log(tmp_path)
    with pytest.raises(NotAllowed, match=r"the log has no keeper yet\. Add the keeper first"):
        add(store, role="releaser", by=None)
    add(store, role="keeper", by=None)
    assert [one.role for one in tasks.list_people(store) if one.role] == ["keeper"]


def test_of_two_who_make_themselves_the_first_keeper_at_once_the_second_is_refused(shop, monkeypatch):
    monkeypatch.setattr(shop, "people", lambda: [])  # as it was before the first one came
    with pytest.raises(NotAllowed, match="only a keeper gives roles and PINs"):
        add(shop, "Ola", "keeper", by=None)


def test_only_a_keeper_gives_roles(shop):
    with pytest.raises(NotAllowed, match="Mika: is no keeper"):
        add(shop, by="Mika")


def test_nobody_makes_themselves_a_keeper(shop):
    with pytest.raises(NotAllowed, match="needs the PIN of a keeper"):
        add(shop, "Ola", "keeper", by=None)


def test_a_keeper_needs_the_right_pin_to_give_a_role(shop):
    with pytest.raises(WrongPin):
        tasks.add_person(shop, "Ola", "welder", "1111", at=minute(1), by="Rune", by_pin="0000", settings=QUICK)


def test_the_only_keeper_cannot_lose_the_role(shop):
    with pytest.raises(NotAllowed, match="is the only keeper"):
        add(shop, "Rune", "welder")


def test_another_keeper_can_take_over(shop):
    add(shop, "Ola", "keeper", "1111")
    tasks.add_person(shop, "Rune", "welder", "2222", at=minute(2), by="Ola", by_pin="1111", settings=QUICK)
    assert {one.name: one.role for one in tasks.list_people(shop)} == {
        "Ola": "keeper",
        "Rune": "welder",
        "Mika": "releaser",
    }


@pytest.mark.parametrize("role", ["boss", "", "pass"])
def test_a_role_that_is_none_is_told_with_those_that_are(shop, role):
    with pytest.raises(WrongUse):
        add(shop, role=role)


# PINs


@pytest.mark.parametrize("pin", ["123", "", "   1  ", "x" * 65, "12\x0034"])
def test_a_pin_that_cannot_be_used_is_refused(pin):
    with pytest.raises(WrongUse, match="a PIN h"):
        hash_pin(pin, QUICK.people)


def test_a_pin_is_kept_as_an_argon2id_hash_alone(shop):
    with other_program(shop) as other:
        hashes = [pin for (pin,) in other.execute("SELECT pin FROM credentials").fetchall()]
    assert all(one.startswith("$argon2id$v=19$m=64,t=1,p=1$") for one in hashes)
    assert not any(pin in one for one in hashes for pin in PINS.values())


def test_the_same_pin_hashes_to_something_else_for_somebody_else():
    assert hash_pin("1234", QUICK.people) != hash_pin("1234", QUICK.people)


def test_the_default_hash_is_the_second_option_of_rfc_9106():  # from memory: t=3, p=4, m=64 MiB
    assert hash_pin("1234", PeopleSettings()).startswith("$argon2id$v=19$m=65536,t=3,p=4$")


@pytest.mark.parametrize("pin", ["1357", " 1357 "])
def test_the_right_pin_proves_the_role(shop, pin):
    assert check(shop, "mika", pin) == "releaser"


@pytest.mark.parametrize("pin", ["1358", "", "13571357", "١٣٥٧"])
def test_a_wrong_pin_proves_nothing(shop, pin):
    with pytest.raises(WrongPin, match="Mika: this is not the PIN"):
        check(shop, "Mika", pin)


def test_who_has_no_pin_proves_nothing(shop):
    with pytest.raises(NotAllowed, match="Ola: has no PIN"):
        check(shop, "Ola", "1357")


def test_who_is_not_in_the_log_proves_nothing(shop):
    with pytest.raises(UnknownRecord, match="Max: no such person"):
        check(shop, "Max", "1357")


def test_four_wrong_pins_do_not_lock(shop):
    wrong(shop, 4)
    assert check(shop, "Mika", "1357") == "releaser"


def test_five_wrong_pins_lock_even_the_right_one_for_a_while(shop):
    wrong(shop, 5)
    with pytest.raises(PinLocked, match=r"Mika: is locked after 5 wrong PINs. Try again after 08:16"):
        check(shop, "Mika", "1357", at=2)
    with pytest.raises(PinLocked):
        check(shop, "Mika", "1357", at=15.9)
    assert check(shop, "Mika", "1357", at=16) == "releaser"


def test_a_clock_that_is_moved_back_unlocks_nobody(shop):
    wrong(shop, 5)
    with pytest.raises(PinLocked):
        check(shop, "Mika", "1357", at=-600)


def test_after_the_while_each_wrong_pin_locks_again(shop):
    wrong(shop, 5)
    wrong(shop, 1, at=20)
    with pytest.raises(PinLocked):
        check(shop, "Mika", "1357", at=21)


def test_a_right_pin_ends_the_row_of_wrong_ones(shop):
    wrong(shop, 4)
    check(shop, "Mika", "1357")
    wrong(shop, 4)
    assert check(shop, "Mika", "1357") == "releaser"


def test_one_persons_wrong_pins_do_not_lock_another(shop):
    wrong(shop, 5)
    assert check(shop, "Rune", "2468") == "keeper"


def test_a_person_changes_their_own_pin(shop):
    tasks.set_pin(shop, "Mika", "9753", old_pin="1357", at=minute(1), settings=QUICK)
    assert check(shop, "Mika", "9753") == "releaser"
    with pytest.raises(WrongPin):
        check(shop, "Mika", "1357")


def test_a_pin_is_not_changed_without_the_old_one(shop):
    with pytest.raises(WrongPin):
        tasks.set_pin(shop, "Mika", "9753", old_pin="0000", at=minute(1), settings=QUICK)


def test_a_pin_that_was_changed_meanwhile_is_not_changed_again(shop, monkeypatch):
    def meanwhile(*_: object) -> str:
        monkeypatch.undo()
        add(shop, "Mika", "welder", "5555")
        return hash_pin("9753", QUICK.people)

    monkeypatch.setattr("prepcheck.tasks.people.hash_pin", meanwhile)
    with pytest.raises(NotAllowed, match="was changed by somebody meanwhile"):
        tasks.set_pin(shop, "Mika", "9753", old_pin="1357", at=minute(1), settings=QUICK)
    assert check(shop, "Mika", "5555") == "welder"


def test_a_pin_shows_in_no_error_and_no_printed_object(shop):
    seen = []
    shop.try_pin("Mika", minute(1), lambda held: seen.append(repr(held)) or True)
    assert "argon2" not in seen[0]


# logging


def test_a_role_stands_beside_an_entry_only_when_a_pin_proved_it(shop):
    without = tasks.log_entry(shop, JOB, Note(text="x"), person="Mika", at=minute(1), settings=QUICK)
    proved = tasks.log_entry(shop, JOB, Note(text="x"), person="Mika", at=minute(1), pin="1357", settings=QUICK)
    assert (without.role, proved.role) == ("", "releaser")


def test_a_wrong_pin_logs_nothing(shop):
    with pytest.raises(WrongPin):
        tasks.log_entry(shop, JOB, Note(text="x"), person="Mika", at=minute(1), pin="0000", settings=QUICK)
    assert shop.events(JOB) == ()


def test_slow_hashes_are_a_setting():
    assert Settings().people.hash_memory_kib == 65_536
