"""Hash trees of packets and signatures (RFC 6962 hashing, with a salt in each leaf of a packet)."""

import hashlib
import hmac
from collections.abc import Iterable, Sequence
from typing import Final

from rules.canonical import canonical_bytes

LEAF: Final = b"\x00"
NODE: Final = b"\x01"
SALT_BYTES: Final = 16


def leaf_hash(content: bytes, salt: bytes = b"") -> bytes:
    """SHA-256(00 || salt || content): 32 bytes; without a salt the leaf of RFC 6962."""
    return hashlib.sha256(LEAF + salt + content).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """SHA-256(01 || left || right): 32 bytes."""
    return hashlib.sha256(NODE + left + right).digest()


def tree_root(leaves: Sequence[bytes]) -> bytes:
    """Root over leaf hashes; an odd one moves up a level, the tree of RFC 6962. Empty: SHA-256("")."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    level = list(leaves)
    while len(level) > 1:
        level = [
            node_hash(level[place], level[place + 1]) if place + 1 < len(level) else level[place]
            for place in range(0, len(level), 2)
        ]
    return level[0]


def inclusion_path(leaves: Sequence[bytes], index: int) -> tuple[bytes, ...]:
    """The sibling hashes from leaf ``index`` up to the root (RFC 6962 section 2.1.1)."""
    if not 0 <= index < len(leaves):
        raise IndexError(f"no leaf {index} among {len(leaves)}")
    path: list[bytes] = []
    level, place = list(leaves), index
    while len(level) > 1:
        sibling = place ^ 1
        if sibling < len(level):
            path.append(level[sibling])
        level = [
            node_hash(level[at], level[at + 1]) if at + 1 < len(level) else level[at]
            for at in range(0, len(level), 2)
        ]
        place //= 2
    return tuple(path)


def root_from_path(leaf: bytes, index: int, size: int, path: Sequence[bytes]) -> bytes | None:
    """The root that ``path`` leads to, None where it does not fit the tree (RFC 9162 2.1.3.2)."""
    if not 0 <= index < size or any(len(step) != 32 for step in path):
        return None
    place, last, value, used = index, size - 1, leaf, 0
    while last:
        if place % 2 or place < last:
            if used == len(path):
                return None
            sibling = path[used]
            used += 1
            value = node_hash(sibling, value) if place % 2 else node_hash(value, sibling)
        place, last = place // 2, last // 2
    return value if used == len(path) else None


def entry_salt(packet_key: bytes, path: str, person_key: bytes | None = None) -> bytes:
    """The 16 salt bytes of the packet entry at ``path``.

    For an entry with personal data the key is HMAC-SHA-256(packet key, person key), so that destroying the
    person's key makes the leaf unguessable while the tree still checks.
    """
    key = packet_key if person_key is None else hmac.digest(packet_key, person_key, "sha256")
    return hmac.digest(key, path.encode(), "sha256")[:SALT_BYTES]


def entry_leaf(entry: object, salt: bytes) -> bytes:
    """The leaf of one packet entry: plain data in canonical form, salted with 16 bytes."""
    if len(salt) != SALT_BYTES:
        raise ValueError("a packet leaf needs a salt of 16 bytes")
    return leaf_hash(canonical_bytes(entry), salt)


def covers_root(hashes: Iterable[str]) -> str:
    """Root (hex) of what a signature covers: SHA-256 values (hex), each once, sorted, raw leaves."""
    ordered = sorted({value.lower() for value in hashes})
    return tree_root([leaf_hash(bytes.fromhex(value)) for value in ordered]).hex()
