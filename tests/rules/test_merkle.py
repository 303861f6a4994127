"""Trees of packets and signatures against RFC 6962's vectors and worked values of a salted packet."""

import hashlib
import hmac
import itertools
import json
from pathlib import Path
from typing import Any

import pytest

from rules.merkle import (
    covers_root,
    entry_leaf,
    entry_salt,
    inclusion_path,
    leaf_hash,
    node_hash,
    root_from_path,
    tree_root,
)

# RFC 6962 section 2.1; leaf set, roots and proofs of the public Certificate Transparency reference tests.
VECTORS: dict[str, Any] = json.loads(
    (Path(__file__).parent.parent / "reference" / "merkle_rfc6962_vectors.json").read_text(encoding="utf-8")
)
LEAVES = [leaf_hash(bytes.fromhex(text)) for text in VECTORS["leaves_hex"]]


def test_leaves_and_roots_of_rfc_6962() -> None:
    assert [leaf.hex() for leaf in LEAVES] == VECTORS["leaf_hashes_hex"]
    roots = [tree_root(LEAVES[:size]).hex() for size in range(len(LEAVES) + 1)]
    assert roots == VECTORS["roots_hex_by_tree_size"]


def test_hasher_values_of_rfc_6962() -> None:
    values = {case["what"]: case["sha256"] for case in VECTORS["hasher"]}
    assert leaf_hash(b"L123456").hex() == values["leaf L123456"]
    assert node_hash(b"N123", b"N456").hex() == values["node N123|N456"]
    assert leaf_hash(b"").hex() == values["empty leaf"]
    assert tree_root([]).hex() == values["empty tree root"]


def test_every_leaf_is_proved_and_no_other() -> None:
    for size in range(1, len(LEAVES) + 1):
        root = tree_root(LEAVES[:size])
        for index in range(size):
            path = inclusion_path(LEAVES[:size], index)
            assert root_from_path(LEAVES[index], index, size, path) == root
            assert root_from_path(leaf_hash(b"other"), index, size, path) != root
            assert root_from_path(LEAVES[index], index, size, (*path, LEAVES[0])) is None
            if path:
                assert root_from_path(LEAVES[index], index, size, path[:-1]) is None


def test_proofs_that_do_not_fit_are_refused() -> None:
    assert root_from_path(LEAVES[0], 0, 0, ()) is None
    assert root_from_path(LEAVES[0], 1, 1, ()) is None
    assert root_from_path(LEAVES[0], 0, 2, (b"short",)) is None
    with pytest.raises(IndexError):
        inclusion_path(LEAVES, len(LEAVES))


def test_worked_packet_tree() -> None:
    """Three salted entries; salts 01.., 02.., 03.. sixteen times; values worked out by hand."""
    entries = [{"customer_name": "R. Ashgrove"}, {"vin": "Z0ACR4H24T1004217"}, {"verdict": "met"}]
    leaves = [entry_leaf(entry, bytes([n]) * 16) for n, entry in enumerate(entries, start=1)]
    assert [leaf.hex() for leaf in leaves] == [
        "bcf0cab808c1e404b0c4ca1fe964f8586088dde859b03f9789f754e1fd1e7b6c",
        "5043841fa823ed1218cf3f8af7b0b6c459b1477831769f4099c77f0d28bf7061",
        "e337e3e209d939827e0197f164e8d9f984b7bf640b9c8c8971bba6d10a7b8765",
    ]
    pair = node_hash(leaves[0], leaves[1])
    assert pair.hex() == "5740767b615330863fbf6d1f226aa990ddb07c86b022df5a5b47d0c8f043bcce"
    assert tree_root(leaves).hex() == "daa3c1786ef24f09557c901d7d47cc2c2fed3a2520049445cca9a40700d9edf3"


def test_salt_follows_key_and_path() -> None:
    key, person = b"k" * 32, b"p" * 32
    expected = hmac.new(key, b"owner/name", hashlib.sha256).digest()[:16]
    assert entry_salt(key, "owner/name") == expected
    inner = hmac.new(key, person, hashlib.sha256).digest()
    assert (
        entry_salt(key, "owner/name", person) == hmac.new(inner, b"owner/name", hashlib.sha256).digest()[:16]
    )
    assert entry_salt(key, "owner/plate") != expected
    with pytest.raises(ValueError, match="16 bytes"):
        entry_leaf({"a": 1}, b"short")


def test_signature_root_ignores_order_and_repeats() -> None:
    hashes = [hashlib.sha256(bytes([n])).hexdigest() for n in range(5)]
    roots = {covers_root(order) for order in itertools.permutations(hashes)}
    assert len(roots) == 1
    assert covers_root([*hashes, hashes[0].upper()]) in roots
    assert covers_root(hashes[:4]) not in roots
    assert covers_root([hashes[0]]) == leaf_hash(bytes.fromhex(hashes[0])).hex()
