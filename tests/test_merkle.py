"""Tree hashes and proofs of RFC 6962, against published roots and a second way of computing.

Roots: transparency-dev/merkle, testonly/constants.go, for the eight leaves below (SEEN: 6.5 of the reference tables).
"""

from __future__ import annotations

import hashlib

import pytest

from prepcheck.merkle import EMPTY, Tree, leaf_hash, node_hash, root, verify_consistency, verify_inclusion

LEAVES = ["", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"]
ROOT_STARTS = [
    "e3b0c442",
    "6e340b9c",
    "fac54203",
    "aeb6bcfe",
    "d37ee418",
    "4e3bbb1f",
    "76e67dad",
    "ddb89be4",
    "5dc9da79",
]
MOST = 40


def hashes(count: int) -> list[bytes]:
    return [leaf_hash(bytes([n])) for n in range(count)]


def by_definition(leaves: list[bytes]) -> bytes:
    """MTH of RFC 6962, section 2.1, as it is written there."""
    if len(leaves) < 2:
        return leaves[0] if leaves else hashlib.sha256(b"").digest()
    split = next(2**k for k in range(64) if 2**k < len(leaves) <= 2 ** (k + 1))
    return node_hash(by_definition(leaves[:split]), by_definition(leaves[split:]))


def path_by_definition(m: int, leaves: list[bytes]) -> list[bytes]:
    """PATH of RFC 6962, section 2.1.1, as it is written there."""
    if len(leaves) == 1:
        return []
    split = next(2**k for k in range(64) if 2**k < len(leaves) <= 2 ** (k + 1))
    if m < split:
        return [*path_by_definition(m, leaves[:split]), by_definition(leaves[split:])]
    return [*path_by_definition(m - split, leaves[split:]), by_definition(leaves[:split])]


def subproof_by_definition(m: int, leaves: list[bytes], whole: bool) -> list[bytes]:
    """SUBPROOF of RFC 6962, section 2.1.2, as it is written there."""
    if m == len(leaves):
        return [] if whole else [by_definition(leaves)]
    split = next(2**k for k in range(64) if 2**k < len(leaves) <= 2 ** (k + 1))
    if m <= split:
        return [*subproof_by_definition(m, leaves[:split], whole), by_definition(leaves[split:])]
    return [*subproof_by_definition(m - split, leaves[split:], False), by_definition(leaves[:split])]


@pytest.mark.parametrize("size", range(9))
def test_the_published_root_of_each_size(size):
    leaves = [leaf_hash(bytes.fromhex(text)) for text in LEAVES[:size]]
    assert root(leaves).hex().startswith(ROOT_STARTS[size])


def test_an_odd_node_moves_up_and_is_not_doubled():
    leaves = hashes(3)
    assert root(leaves) != root([*leaves, leaves[-1]])


def test_a_leaf_cannot_pass_for_a_node():
    left, right = hashes(2)
    assert leaf_hash(left + right) != node_hash(left, right)


def test_roots_and_proofs_equal_the_definition_at_every_size():
    for size in range(MOST + 1):
        leaves = hashes(size)
        tree = Tree(leaves)
        assert tree.root == by_definition(leaves)
        assert [tree.inclusion_proof(at) for at in range(size)] == [
            path_by_definition(at, leaves) for at in range(size)
        ]
        for old in range(1, size + 1):
            assert tree.consistency_proof(old) == subproof_by_definition(old, leaves, True)


def test_every_inclusion_proof_holds_at_its_own_place_and_nowhere_else():
    for size in range(1, MOST + 1):
        leaves = hashes(size)
        tree = Tree(leaves)
        for at in range(size):
            proof = tree.inclusion_proof(at)
            holds = [verify_inclusion(leaves[at], other, size, proof, tree.root) for other in range(size + 1)]
            assert holds == [other == at for other in range(size + 1)]


def test_every_consistency_proof_holds_for_its_own_sizes_and_no_others():
    for size in range(1, MOST + 1):
        tree = Tree(hashes(size))
        for old in range(1, size + 1):
            proof, old_root = tree.consistency_proof(old), root(hashes(old))
            holds = [verify_consistency(other, old_root, size, tree.root, proof) for other in range(1, size + 1)]
            assert holds == [other == old for other in range(1, size + 1)]


def test_nothing_is_the_beginning_of_everything():
    assert Tree(hashes(5)).consistency_proof(0) == []
    assert verify_consistency(0, EMPTY, 5, root(hashes(5)), [])
    assert not verify_consistency(0, root(hashes(1)), 5, root(hashes(5)), [])


@pytest.mark.parametrize("old", [1, 3, 4, 6])
def test_a_rewritten_past_has_no_proof(old):
    rewritten = Tree([leaf_hash(b"other"), *hashes(7)[1:]])
    proof = rewritten.consistency_proof(old)
    assert not verify_consistency(old, root(hashes(old)), 7, rewritten.root, proof)


def test_a_cut_tail_is_not_consistent():
    assert not verify_consistency(7, root(hashes(7)), 5, root(hashes(5)), [])


@pytest.mark.parametrize("change", [lambda proof: proof[:-1], lambda proof: [*proof, EMPTY], lambda proof: proof[::-1]])
def test_a_proof_that_is_shorter_longer_or_turned_holds_nothing(change):
    tree = Tree(hashes(11))
    assert not verify_inclusion(hashes(11)[4], 4, 11, change(tree.inclusion_proof(4)), tree.root)
    assert not verify_consistency(6, root(hashes(6)), 11, tree.root, change(tree.consistency_proof(6)))


def test_proofs_of_what_is_not_there_are_refused():
    tree = Tree(hashes(3))
    with pytest.raises(IndexError):
        tree.inclusion_proof(3)
    with pytest.raises(IndexError):
        tree.inclusion_proof(-1)
    with pytest.raises(IndexError):
        tree.consistency_proof(4)


def test_no_index_or_size_out_of_range_verifies():
    assert not verify_inclusion(EMPTY, -1, 0, [], EMPTY)
    assert not verify_inclusion(EMPTY, 0, 0, [], EMPTY)
    assert not verify_consistency(-1, EMPTY, 3, root(hashes(3)), [])
    assert not verify_consistency(1, hashes(1)[0], 3, root(hashes(3)), [])


def test_a_large_log_needs_no_deep_recursion():
    count = 100_003
    tree = Tree([leaf_hash(n.to_bytes(4, "big")) for n in range(count)])
    proof = tree.inclusion_proof(count - 1)
    assert verify_inclusion(leaf_hash((count - 1).to_bytes(4, "big")), count - 1, count, proof, tree.root)
