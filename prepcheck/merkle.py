"""Tree hashes of RFC 6962 (and 9162, which keeps them) over the log's entries. Imports nothing of ours.

A tree is kept as rows of hashes: the leaves, then one row for each level above. A node without a neighbour moves up as it
is and is never doubled, so that no two lists of leaves share a root.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from itertools import pairwise

EMPTY = hashlib.sha256(b"").digest()
"""Root of a tree without leaves."""


def leaf_hash(data: bytes) -> bytes:
    """Hash of one leaf (RFC 6962, section 2.1: prefix 00)."""
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Hash of an inner node (prefix 01)."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def root(leaves: Sequence[bytes]) -> bytes:
    """Root over leaf hashes; the left part of every node is the largest power of two below its size."""
    return Tree(leaves).root


class Tree:
    """A tree over leaf hashes, from which any number of proofs can be drawn.

    Parameters
    ----------
    leaves : sequence of bytes
        Leaf hashes, 32 bytes each, in the order of the log.
    """

    def __init__(self, leaves: Sequence[bytes]) -> None:
        self._rows = [list(leaves)]
        while len(self._rows[-1]) > 1:
            self._rows.append(_row_above(self._rows[-1]))

    def __len__(self) -> int:
        return len(self._rows[0])

    @property
    def root(self) -> bytes:
        """The root."""
        return self._rows[-1][0] if len(self) else EMPTY

    def inclusion_proof(self, index: int) -> list[bytes]:
        """Return the hashes that lead from leaf `index` (from 0) to the root (RFC 6962, section 2.1.1).

        Raises
        ------
        IndexError
            There is no such leaf.
        """
        if not 0 <= index < len(self):
            raise IndexError(index)
        beside = ((row, (index >> level) ^ 1) for level, row in enumerate(self._rows))
        return [row[at] for row, at in beside if at < len(row)]

    def consistency_proof(self, size: int) -> list[bytes]:
        """Return the hashes that show that the tree of the first `size` leaves is a part of this one (section 2.1.2).

        Raises
        ------
        IndexError
            This tree has fewer than `size` leaves, or `size` is below 0.
        """
        if not 0 <= size <= len(self):
            raise IndexError(size)
        return [] if size in (0, len(self)) else list(self._subproof(size))

    def _subproof(self, size: int) -> Iterator[bytes]:
        """Walk up from the last node of the smaller tree that the larger one has too."""
        level = (size & -size).bit_length() - 1
        at = (size >> level) - 1
        if at:  # else it is the whole of the smaller tree, whose root the verifier knows
            yield self._rows[level][at]
        for row in self._rows[level:]:
            if (at ^ 1) < len(row):
                yield row[at ^ 1]
            at >>= 1


def _row_above(row: Sequence[bytes]) -> list[bytes]:
    above = [node_hash(left, right) for left, right in list(pairwise(row))[::2]]
    return [*above, row[-1]] if len(row) % 2 else above


def verify_inclusion(leaf: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes) -> bool:
    """Say whether `proof` leads from `leaf` at `index` to the `root` of a tree of `size` leaves (RFC 9162, 2.1.3.2)."""
    if not 0 <= index < size:
        return False
    at, last, found = index, size - 1, leaf
    for beside in proof:
        if last == 0:
            return False
        if at % 2 or at == last:
            found = node_hash(beside, found)
            while at and not at % 2:
                at, last = at >> 1, last >> 1
        else:
            found = node_hash(found, beside)
        at, last = at >> 1, last >> 1
    return last == 0 and found == root


def verify_consistency(old_size: int, old_root: bytes, new_size: int, new_root: bytes, proof: Sequence[bytes]) -> bool:
    """Say whether `proof` shows that the smaller tree is the beginning of the larger one (RFC 9162, 2.1.4.2)."""
    if not 0 <= old_size <= new_size:
        return False
    if old_size == new_size:
        return old_root == new_root and not proof
    if old_size == 0:
        return old_root == EMPTY and not proof
    hashes = [old_root, *proof] if old_size & (old_size - 1) == 0 else list(proof)
    return bool(hashes) and _same_roots(old_size - 1, new_size - 1, hashes) == (old_root, new_root)


def _same_roots(at: int, last: int, hashes: Sequence[bytes]) -> tuple[bytes, bytes] | None:
    """Compute the roots of both trees from a consistency proof; None when it is too long or too short."""
    while at % 2:
        at, last = at >> 1, last >> 1
    old = new = hashes[0]
    for beside in hashes[1:]:
        if last == 0:
            return None
        if at % 2 or at == last:
            old, new = node_hash(beside, old), node_hash(beside, new)
            while at and not at % 2:
                at, last = at >> 1, last >> 1
        else:
            new = node_hash(new, beside)
        at, last = at >> 1, last >> 1
    return (old, new) if last == 0 else None
