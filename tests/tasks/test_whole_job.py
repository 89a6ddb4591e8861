"""A closed vessel from intake to hand-over, and a log that only ever grows, whatever people do."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from prepcheck import tasks
from prepcheck.errors import PrepcheckError
from prepcheck.merkle import leaf_hash, root
from prepcheck.store import TreeHead
from prepcheck.store.store import Store
from prepcheck.trade.entries import Certificate, LeakEntry, Note
from tests.tasks.shop import (
    JOB,
    PINS,
    QUICK,
    closed,
    condition,
    done,
    minute,
    planned,
    progress,
    readings,
    release,
)


def read(store: Store, at: float) -> None:
    for entry in readings(at):
        tasks.log_entry(store, JOB, entry, person="Ola", at=minute(at))


def test_a_closed_vessel_goes_from_intake_to_hand_over_without_an_override(tmp_path: Path):
    store = planned(tmp_path, closed())
    done(store, "intake", 1)
    done(store, "open up", 20)
    tasks.log_entry(store, JOB, condition(21), person="Ola", at=minute(21))
    read(store, 25)
    release(store, "open up", 30)
    for at, step in ((60, "strip"), (120, "grind"), (150, "clean"), (160, "clear")):
        done(store, step, at)
    read(store, 165)
    certificate = Certificate(certified_by="a person whom the rule names", rule="29 CFR 1910.252", at=minute(168))
    tasks.log_entry(store, JOB, certificate, person="Ola", at=minute(168))
    release(store, "clear", 170)
    done(store, "weld", 260, started_at=minute(175))
    done(store, "look over", 270)
    release(store, "look over", 275)
    done(store, "leak test", 300)
    tasks.log_entry(store, JOB, LeakEntry(method="bubbles", started_at=minute(290)), person="Ola", at=minute(301))
    release(store, "leak test", 302)
    done(store, "coat", 400)
    done(store, "hand over", 420)
    release(store, "hand over", 421, person="Rune")
    assert set(progress(store, 422).values()) == {"done", "released"}
    assert list(progress(store, 422)) == [step.name for step in closed().step]


Do = Callable[[Store, int], object]
STEPS = ("clean", "clear", "weld", "look over")
KEEPER = {"reason": "asked", "by": "Rune", "pin": PINS["Rune"], "settings": QUICK}
DOINGS: list[Do] = [
    lambda store, n: tasks.log_entry(store, JOB, Note(text=f"note {n}"), person=f"welder {n % 3}", at=minute(n)),
    lambda store, n: done(store, STEPS[n % 4], n),
    lambda store, n: release(store, STEPS[n % 4], n),
    lambda store, n: release(store, STEPS[n % 4], n, override=True, reason="x"),
    lambda store, n: release(store, STEPS[n % 4], n, pin="0000"),
    lambda store, n: tasks.reopen_step(store, JOB, STEPS[n % 4], person="Ola", reason="x", at=minute(n)),
    lambda store, n: tasks.erase_person(store, f"welder {n % 3}", at=minute(n), **KEEPER),  # type: ignore[arg-type]
    lambda store, n: tasks.erase_entry(store, n % 9, at=minute(n), **KEEPER),  # type: ignore[arg-type]
    lambda store, n: tasks.erase_job(store, JOB, at=minute(n), **KEEPER),  # type: ignore[arg-type]
    lambda store, n: tasks.set_pin(store, "Mika", "1357", old_pin="1357", at=minute(n), settings=QUICK),
]


@settings(max_examples=15)
@given(st.lists(st.sampled_from(range(len(DOINGS))), min_size=3, max_size=14))
def test_whatever_people_do_the_log_grows_and_every_earlier_head_stays_true(doings: list[int]):
    with tempfile.TemporaryDirectory() as folder:
        store = planned(Path(folder))
        heads = [store.tree_head()]
        for n, doing in enumerate(doings, start=1):
            with suppress(PrepcheckError):
                DOINGS[doing](store, n)
            heads.append(store.tree_head())
        leaves = store.leaves()
        hashes = [bytes.fromhex(leaf.hash) for leaf in leaves]
        assert [head.size for head in heads] == sorted(head.size for head in heads)
        assert heads == [TreeHead(head.size, root(hashes[: head.size]).hex()) for head in heads]
        kept = [leaf for leaf in leaves if leaf.text is not None]
        assert all(leaf_hash(bytes.fromhex(one.salt) + (one.text or "").encode()).hex() == one.hash for one in kept)
        assert all(leaf.erased and not leaf.salt for leaf in leaves if leaf.text is None)
