"""Is this record in the journal, and was nothing earlier rewritten? Merkle trees with their two proofs.

Leaf: SHA-256(0x00 || record). Node: SHA-256(0x01 || left || right). A tree of n leaves splits at the largest
power of two below n. The prefixes keep a node from passing as a leaf.

Source: RFC 9162, 2.1 (the same tree as RFC 6962, 2.1).
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from pipeline.errors import Complaint, MethodRefusal

EMPTY_ROOT = hashlib.sha256(b"").digest()


def leaf_hash(record: bytes) -> bytes:
    """Hash of a record as a leaf, SHA-256(0x00 || record)."""
    return hashlib.sha256(b"\x00" + record).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Hash of a node, SHA-256(0x01 || left || right)."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def _split(size: int) -> int:
    """The largest power of two below `size`."""
    return 1 << (size - 1).bit_length() - 1


def root_hash(leaves: Sequence[bytes]) -> bytes:
    """Root of the tree over leaf hashes, as they stand.

    Args:
        leaves: leaf hashes in order.
    """
    if not leaves:
        return EMPTY_ROOT
    # Complete subtrees are folded as leaves come, then what is left from the right; recursion would be deep.
    folded: list[tuple[int, bytes]] = []
    for leaf in leaves:
        size, value = 1, leaf
        while folded and folded[-1][0] == size:
            value = node_hash(folded.pop()[1], value)
            size *= 2
        folded.append((size, value))
    value = folded.pop()[1]
    while folded:
        value = node_hash(folded.pop()[1], value)
    return value


def inclusion_proof(place: int, leaves: Sequence[bytes]) -> tuple[bytes, ...]:
    """The hashes that lead from one leaf to the root, from the leaf up.

    Args:
        place: which leaf, from 0.
        leaves: every leaf hash of the tree.

    Raises:
        MethodRefusal: there is no such leaf.

    Source: RFC 9162, 2.1.3.1.
    """
    if not 0 <= place < len(leaves):
        raise MethodRefusal(
            Complaint(
                "inclusion proof",
                f"leaf {place} of a tree of {len(leaves)} leaves",
                "Give a leaf from 0 to one less than the size of the tree",
            )
        )
    proof: list[bytes] = []
    low, high = 0, len(leaves)
    while high - low > 1:
        middle = low + _split(high - low)
        if place < middle:
            proof.append(root_hash(leaves[middle:high]))
            high = middle
        else:
            proof.append(root_hash(leaves[low:middle]))
            low = middle
    return tuple(reversed(proof))


def consistency_proof(earlier: int, leaves: Sequence[bytes]) -> tuple[bytes, ...]:
    """The hashes that show that the first `earlier` leaves are still what they were.

    Args:
        earlier: size of the earlier tree, from 1.
        leaves: every leaf hash of the later tree.

    Raises:
        MethodRefusal: the earlier tree is empty or larger than the later one.

    Source: RFC 9162, 2.1.4.1.
    """
    if not 0 < earlier <= len(leaves):
        raise MethodRefusal(
            Complaint(
                "consistency proof",
                f"from {earlier} to {len(leaves)} leaves",
                "Give an earlier size from 1 to the size of the later tree",
            )
        )
    proof: list[bytes] = []
    low, high, size, whole = 0, len(leaves), earlier, True
    while size != high - low:
        middle = low + _split(high - low)
        if size <= middle - low:
            proof.append(root_hash(leaves[middle:high]))
            high = middle
        else:
            proof.append(root_hash(leaves[low:middle]))
            size, low, whole = size - (middle - low), middle, False
    if not whole:
        proof.append(root_hash(leaves[low:high]))
    return tuple(reversed(proof))
