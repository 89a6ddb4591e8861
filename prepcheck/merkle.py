"""Tree hashes of RFC 6962 over the log's entries. Imports nothing of ours."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

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
    if len(leaves) < 2:
        return leaves[0] if leaves else EMPTY
    split = 1 << (len(leaves) - 1).bit_length() - 1
    return node_hash(root(leaves[:split]), root(leaves[split:]))
