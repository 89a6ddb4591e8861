"""Everything that is added has its leaf, small and without names, in the order of adding."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest
import rfc8785

from prepcheck import tasks
from prepcheck.errors import StoreFault, UnknownRecord
from prepcheck.merkle import EMPTY, leaf_hash, root
from prepcheck.record import Record
from prepcheck.store import Leaf, NewJob, TreeHead, leaves
from prepcheck.store.leaves import canonical
from prepcheck.store.store import Store
from prepcheck.trade.entries import Note, Sealed
from tests.store.records import AT, PLACE, record_for, set_of, since, spot


def texts(leaves: list[Leaf]) -> list[dict[str, Any]]:
    return [json.loads(leaf.text or "null") for leaf in leaves]


def last(store: Store) -> dict[str, Any]:
    return texts(store.leaves())[-1]


def put(log, data: bytes = b"photo", **more: Any) -> int:
    return tasks.log_inspection(*log, record_for(data, spot()), data, **{**PLACE, **more}).inspection


def test_a_new_log_with_a_job_has_the_leaves_of_its_person_and_its_job(log):
    assert [(one["kind"], one["number"]) for one in texts(log[0].leaves())] == [("person", 1), ("job", 1)]


def test_a_leaf_hashes_salt_and_text_as_rfc_6962_says(log):
    put(log)
    for leaf in log[0].leaves():
        assert len(bytes.fromhex(leaf.salt)) == 16
        assert leaf.hash == hashlib.sha256(b"\0" + bytes.fromhex(leaf.salt) + leaf.text.encode()).hexdigest()
        assert leaf.hash == leaf_hash(bytes.fromhex(leaf.salt) + leaf.text.encode()).hex()


def test_the_text_of_a_leaf_is_canonical_json(log):
    put(log, note="Zoë: new disc", person="Zoë")
    assert all(rfc8785.dumps(json.loads(leaf.text)).decode() == leaf.text for leaf in log[0].leaves())


def test_canonical_json_is_that_of_rfc_8785():  # cyberphone/json-canonicalization, values.json, seen
    given = json.loads('{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 1e-27], "literals": [null, true, false]}')
    assert canonical(given) == '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27]}'


def test_two_leaves_never_share_a_salt(log):
    for _ in range(9):
        log[0].add_event("J-0001", Note(text="the same"), "Ida", AT)
    salts = [leaf.salt for leaf in log[0].leaves()]
    assert len(set(salts)) == len(salts)


def test_a_person_is_named_in_their_own_leaf_alone(log):
    put(log, person="Thorvald")
    tasks.disagree(log[0], 1, standing="bright", reason="a stain", person="Thorvald", at=AT)
    log[0].add_event("J-0001", Note(text="x"), "THORVALD", AT)
    told = [leaf for leaf in log[0].leaves() if "horvald" in leaf.text.casefold()]
    assert texts(told) == [{"kind": "person", "name": "Thorvald", "nth": 2, "number": 2}]


def test_a_job_has_all_that_was_told_of_it(log):
    tasks.open_job(log[0], NewJob("Lid", "hinge", "5083", 5.0, "diesel", "CO-OP 114"), person="Ida", at=AT)
    assert last(log[0]) == {
        "alloy": "5083", "at": "2026-11-24T10:12:00+00:00", "customer_reference": "CO-OP 114", "job": "J-0002", "kind": "job",
        "nth": 1,
        "number": 2, "part": "hinge", "person": 1, "previous_contents": "diesel", "title": "Lid", "wall_mm": 5,
    }  # fmt: skip


def test_an_inspection_names_its_photo_and_record_by_hash(log):
    put(log, note="new disc")
    record = json.loads(log[0].record_text(1))
    assert last(log[0]) == {
        "at": "2026-11-24T10:12:00+00:00", "corrects": None, "flags": [], "inputs_sha256": "", "job": "J-0001",
        "kind": "inspection", "note": "new disc", "nth": 2, "number": 1, "outline": 1, "pass": 1, "person": 1,
        "photos": [hashlib.sha256(b"photo").hexdigest()],
        "record_sha256": hashlib.sha256(rfc8785.dumps(record)).hexdigest(), "since_sha256": None, "spot": 1, "spot_name": "",
    }  # fmt: skip


def test_a_record_is_given_back_as_it_was_logged(log):
    put(log)
    assert Record.model_validate_json(log[0].record_text(1)) == record_for(b"photo", spot())


def test_the_record_of_an_unknown_inspection_is_refused(log):
    with pytest.raises(UnknownRecord):
        log[0].record_text(3)


def test_a_set_names_every_photo_in_order_and_what_changed_by_hash(log):
    put(log)
    told = since(1)
    entry = {**PLACE, "pass_no": 2, "more_bytes": [b"b"], "since": told}
    tasks.log_inspection(*log, set_of(b"a", b"b"), b"a", **entry)
    leaf = last(log[0])
    assert leaf["photos"] == [hashlib.sha256(data).hexdigest() for data in (b"a", b"b")]
    assert leaf["since_sha256"] == hashlib.sha256(rfc8785.dumps(json.loads(told.model_dump_json()))).hexdigest()


def test_a_correction_and_the_flags_of_the_log_are_in_the_leaf(log):
    put(log)
    put(log, spot="2", corrects=1)
    put(log, spot="3")
    corrected, used = texts(log[0].leaves())[-2:]
    assert (corrected["corrects"], corrected["flags"]) == (1, [])
    assert [flag["code"] for flag in used["flags"]] == ["used_before"]


def test_a_disagreement_belongs_to_the_job_of_its_inspection(log):
    put(log)
    tasks.disagree(log[0], 1, standing="bright", reason="a stain", person="Ida", at=AT)
    assert last(log[0]) == {
        "at": "2026-11-24T10:12:00+00:00", "inspection": 1, "job": "J-0001", "kind": "disagreement",
        "nth": 3, "number": 1, "person": 1,
        "reason": "a stain", "standing": "bright",
    }  # fmt: skip


def test_an_entry_is_in_its_leaf_as_logged(log):
    log[0].add_event("J-0001", Note(text="new disc"), "Ida", AT, "welder")
    assert last(log[0]) == {
        "at": "2026-11-24T10:12:00+00:00", "entry": {"kind": "note", "text": "new disc"}, "job": "J-0001", "kind": "event",
        "nth": 2,
        "number": 1, "person": 1, "role": "welder",
    }  # fmt: skip


def test_a_role_has_its_leaf_without_the_hash_of_the_pin(log):
    log[0].set_credentials("Ida", "keeper", "$argon2id$x", by="Ida", at=AT, allow=lambda people: None)
    assert last(log[0]) == {
        "at": "2026-11-24T10:12:00+00:00", "by": 1, "has_pin": True, "kind": "credential", "nth": 2, "number": 1, "person": 1,
        "role": "keeper",
    }  # fmt: skip


def test_what_is_not_logged_has_no_leaf(log):
    before = log[0].tree_head()
    with pytest.raises(UnknownRecord):
        log[0].add_event("J-0099", Note(text="x"), "Somebody new", AT)
    assert log[0].tree_head() == before


# order


def test_leaves_are_numbered_through_the_log_and_through_each_job(log):
    tasks.open_job(log[0], NewJob("Lid"), person="Ida", at=AT)
    for job in ("J-0001", "J-0002", "J-0001"):
        log[0].add_event(job, Note(text="x"), "Ida", AT)
    assert [leaf.index for leaf in log[0].leaves()] == list(range(6))
    assert [(leaf.index, leaf.nth) for leaf in log[0].leaves("J-0001")] == [(1, 1), (3, 2), (5, 3)]
    assert [(leaf.index, leaf.nth) for leaf in log[0].leaves() if not leaf.job] == [(0, 1)]


# the tree


def test_the_head_is_the_root_over_all_leaves(log):
    for n in range(6):
        log[0].add_event("J-0001", Note(text=str(n)), "Ida", AT)
    leaves = log[0].leaves()
    assert log[0].tree_head() == TreeHead(8, root([bytes.fromhex(leaf.hash) for leaf in leaves]).hex())


def test_the_head_of_an_empty_log_is_that_of_rfc_6962(tmp_path):  # SHA-256 of nothing
    from prepcheck.settings import Settings

    store, _ = tasks.open_log(tmp_path, Settings())
    assert store.tree_head() == TreeHead(0, EMPTY.hex())
    assert EMPTY.hex() == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


# seals


def sealed(store: Store, bag: str = "J-0001-1.zip") -> Sealed:
    head = store.tree_head()
    return Sealed(bag=bag, manifest_sha256="a" * 64, size=head.size, root=head.root)


def test_a_seal_is_an_entry_of_its_job_with_a_leaf(log):
    told = sealed(log[0])
    event = log[0].add_seal("J-0001", told, "Ida", AT)
    assert log[0].events("J-0001") == (event,)
    assert last(log[0])["entry"] == told.model_dump(mode="json")


def test_seals_are_told_oldest_first_over_all_jobs(log):
    tasks.open_job(log[0], NewJob("Lid"), person="Ida", at=AT)
    for job, bag in (("J-0002", "a.zip"), ("J-0001", "b.zip")):
        log[0].add_seal(job, sealed(log[0], bag), "Ida", AT)
    assert [(one.job, one.sealed.bag, one.sealed.size) for one in log[0].seals()] == [
        ("J-0002", "a.zip", 3),
        ("J-0001", "b.zip", 4),
    ]


def test_a_head_that_was_overtaken_may_still_be_sealed(log):
    told = sealed(log[0])
    log[0].add_event("J-0001", Note(text="x"), "Ida", AT)
    assert log[0].add_seal("J-0001", told, "Ida", AT).entry == told


@pytest.mark.parametrize("change", [{"root": "0" * 64}, {"size": 1}, {"size": 3}, {"size": 10**9}])
def test_a_head_that_is_none_of_this_log_is_not_sealed(log, change):
    told = sealed(log[0]).model_copy(update=change)
    with pytest.raises(StoreFault, match="no head of this log"):
        log[0].add_seal("J-0001", told, "Ida", AT)
    assert log[0].seals() == []


# blocks


@pytest.fixture
def small_blocks(monkeypatch):
    """Blocks of four leaves, so that a short log has several."""
    monkeypatch.setattr(leaves, "BLOCK", 4)


@pytest.mark.parametrize("notes", [0, 1, 2, 3, 5, 6, 10, 13, 14, 15])
def test_the_head_made_from_blocks_is_that_over_all_leaves(small_blocks, log, notes):
    for n in range(notes):
        log[0].add_event("J-0001", Note(text=str(n)), "Ida", AT)
    hashes = [bytes.fromhex(leaf.hash) for leaf in log[0].leaves()]
    assert log[0].tree_head() == TreeHead(notes + 2, root(hashes).hex())
    with log[0].reading() as connection:
        heads = [leaves.tree_head(connection, size) for size in range(notes + 3)]
        assert connection.exec_driver_sql("SELECT count(*) FROM tree_blocks").scalar() == (notes + 2) // 4
    assert heads == [TreeHead(size, root(hashes[:size]).hex()) for size in range(notes + 3)]


def test_a_block_is_closed_with_its_last_leaf_or_not_at_all(small_blocks, log, monkeypatch):
    log[0].add_event("J-0001", Note(text="third"), "Ida", AT)
    monkeypatch.setattr(leaves, "add_block", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        log[0].add_event("J-0001", Note(text="fourth"), "Ida", AT)
    assert log[0].tree_head().size == len(log[0].leaves()) == 3


def test_a_block_is_a_power_of_two_or_its_root_were_no_node_of_the_tree():
    assert leaves.BLOCK.bit_count() == 1


def test_a_moment_of_a_job_has_every_hash_and_the_texts_of_that_job_and_of_the_log(log):
    tasks.open_job(log[0], NewJob("Lid"), person="Jon", at=AT)
    log[0].add_event("J-0002", Note(text="of another job"), "Ida", AT)
    log[0].add_event("J-0001", Note(text="of this job"), "Ida", AT)
    whole, told = log[0].leaves(), log[0].moment("J-0001").leaves
    assert [(one.index, one.job, one.nth, one.hash) for one in told] == [
        (one.index, one.job, one.nth, one.hash) for one in whole
    ]
    assert [one for one in told if one.job != "J-0002"] == [one for one in whole if one.job != "J-0002"]
    assert {(one.salt, one.text) for one in told if one.job == "J-0002"} == {("", None)}
