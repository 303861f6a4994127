"""Proofs about the log against RFC 9162's definition written naively, and the probes of a public library."""

import hashlib
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.merkle import inclusion_path, leaf_hash, tree_root
from rules.seal.log_proofs import (
    MAX_PATH,
    consistency_proof,
    entry_leaf,
    inclusion_proof,
    reader_of,
    root_of,
    shows_consistency,
    shows_inclusion,
)

REFERENCE = Path(__file__).parents[2] / "reference"
# RFC 6962 section 2.1 over the leaf set of the public Certificate Transparency reference tests.
VECTORS: dict[str, Any] = json.loads((REFERENCE / "merkle_rfc6962_vectors.json").read_text(encoding="utf-8"))
# transparency-dev/merkle, testdata/ (Apache-2.0): damaged proofs with what is to be said of each.
PROBES: dict[str, Any] = json.loads((REFERENCE / "merkle_hostile_probes.json").read_text(encoding="utf-8"))
NO_HASHES = "consistency/additional/sizes-are-equal-one-and-proof-is-empty.json"
LEAVES = [bytes.fromhex(text) for text in VECTORS["leaf_hashes_hex"]]


def raw(values: Sequence[str] | None) -> list[bytes]:
    return [bytes.fromhex(value) for value in values or ()]


def naive_root(leaves: Sequence[bytes]) -> bytes:
    """MTH as RFC 9162 section 2.1.1 defines it, by recursion."""
    if len(leaves) == 1:
        return leaves[0]
    k = split(len(leaves))
    return hashlib.sha256(b"\x01" + naive_root(leaves[:k]) + naive_root(leaves[k:])).digest()


def split(n: int) -> int:
    """The largest power of two smaller than n, as the RFC writes it: k < n <= 2k."""
    k = 1
    while not k < n <= 2 * k:
        k *= 2
    return k


def naive_path(m: int, leaves: Sequence[bytes]) -> list[bytes]:
    """PATH of RFC 9162 section 2.1.3.1."""
    n = len(leaves)
    if n == 1:
        return []
    k = split(n)
    if m < k:
        return [*naive_path(m, leaves[:k]), naive_root(leaves[k:])]
    return [*naive_path(m - k, leaves[k:]), naive_root(leaves[:k])]


def naive_subproof(m: int, leaves: Sequence[bytes], whole: bool) -> list[bytes]:
    """SUBPROOF of RFC 9162 section 2.1.4.1."""
    n = len(leaves)
    if m == n:
        return [] if whole else [naive_root(leaves)]
    k = split(n)
    if m <= k:
        return [*naive_subproof(m, leaves[:k], whole), naive_root(leaves[k:])]
    return [*naive_subproof(m - k, leaves[k:], False), naive_root(leaves[:k])]


def test_all_eight_roots() -> None:
    read = reader_of(LEAVES)
    for size in range(1, 9):
        assert root_of(read, size).hex() == VECTORS["roots_hex_by_tree_size"][size]


@pytest.mark.parametrize(
    "case", VECTORS["inclusion"], ids=lambda case: f"{case['leaf_index']}-{case['tree_size']}"
)
def test_the_36_inclusion_proofs(case: dict[str, Any]) -> None:
    index, size = case["leaf_index"], case["tree_size"]
    assert [step.hex() for step in inclusion_proof(reader_of(LEAVES), index, size)] == case["proof"]
    leaf, root = bytes.fromhex(case["leaf_hash"]), bytes.fromhex(case["root"])
    assert shows_inclusion(leaf, index, size, raw(case["proof"]), root)


@pytest.mark.parametrize("case", VECTORS["consistency"], ids=lambda case: f"{case['size1']}-{case['size2']}")
def test_the_36_consistency_proofs(case: dict[str, Any]) -> None:
    first, second = case["size1"], case["size2"]
    assert [step.hex() for step in consistency_proof(reader_of(LEAVES), first, second)] == case["proof"]
    roots = bytes.fromhex(case["root1"]), bytes.fromhex(case["root2"])
    assert shows_consistency(first, second, *roots, raw(case["proof"]))


def test_there_are_98_probes_of_each_kind() -> None:
    assert (len(PROBES["inclusion"]), len(PROBES["consistency"])) == (98, 98)
    assert {True, False} == {
        case["wantErr"] for kind in ("inclusion", "consistency") for case in PROBES[kind]
    }


@pytest.mark.parametrize("case", PROBES["inclusion"], ids=lambda case: case["name"])
def test_inclusion_probes(case: dict[str, Any]) -> None:
    leaf, root = bytes.fromhex(case["leafHash"] or ""), bytes.fromhex(case["root"] or "")
    holds = shows_inclusion(leaf, case["leafIdx"], case["treeSize"], raw(case["proof"]), root)
    assert holds is not case["wantErr"]


@pytest.mark.parametrize("case", PROBES["consistency"], ids=lambda case: case["name"])
def test_consistency_probes(case: dict[str, Any]) -> None:
    roots = bytes.fromhex(case["root1"] or ""), bytes.fromhex(case["root2"] or "")
    if case["name"] == NO_HASHES:
        # Two equal texts of 12 bytes stand there for roots; here a root has 32.
        assert not shows_consistency(case["size1"], case["size2"], *roots, raw(case["proof"]))
        roots = hashlib.sha256(roots[0]).digest(), hashlib.sha256(roots[1]).digest()
    holds = shows_consistency(case["size1"], case["size2"], *roots, raw(case["proof"]))
    assert holds is not case["wantErr"]


def test_an_empty_log_proves_nothing() -> None:
    empty = hashlib.sha256(b"").digest()
    assert not shows_consistency(0, 0, empty, empty, [])
    assert not shows_consistency(0, 3, empty, tree_root(LEAVES[:3]), [])
    assert not shows_inclusion(LEAVES[0], 0, 0, [], empty)
    read = reader_of(LEAVES)
    for act in (
        lambda: root_of(read, 0),
        lambda: inclusion_proof(read, 0, 0),
        lambda: consistency_proof(read, 0, 3),
        lambda: consistency_proof(read, 4, 3),
        lambda: inclusion_proof(read, 3, 3),
        lambda: inclusion_proof(read, -1, 3),
    ):
        with pytest.raises(ValueError, match="log"):
            act()


def test_odd_kinds_of_values_are_no_proof() -> None:
    root = tree_root(LEAVES)
    path = inclusion_proof(reader_of(LEAVES), 3, 8)
    assert shows_inclusion(LEAVES[3], 3, 8, path, root)
    assert not shows_inclusion(LEAVES[3], True, 8, path, root)
    assert not shows_inclusion(LEAVES[3], 3.0, 8, path, root)  # type: ignore[arg-type]
    assert not shows_inclusion(LEAVES[3][:31], 3, 8, path, root)
    assert not shows_inclusion(LEAVES[3], 3, 8, [*path[:-1], path[-1] + b"\x00"], root)
    long = [LEAVES[0]] * (MAX_PATH + 1)
    assert not shows_inclusion(LEAVES[3], 3, 1 << 200, long, root)
    assert not shows_consistency(1, 1 << 200, root, root, long)
    assert not shows_consistency(2, True, root, root, [])


SIZES = st.integers(min_value=1, max_value=90)


def leaves_of(size: int) -> list[bytes]:
    return [leaf_hash(str(number).encode()) for number in range(size)]


@given(SIZES, st.data())
@settings(max_examples=300, deadline=None)
def test_proofs_are_those_of_the_naive_definition(size: int, data: st.DataObject) -> None:
    leaves = leaves_of(size)
    read = reader_of(leaves)
    first = data.draw(st.integers(min_value=1, max_value=size))
    index = data.draw(st.integers(min_value=0, max_value=size - 1))
    root = naive_root(leaves)
    assert root_of(read, size) == root == tree_root(leaves)
    path = inclusion_proof(read, index, size)
    assert list(path) == naive_path(index, leaves) == list(inclusion_path(leaves, index))
    assert shows_inclusion(leaves[index], index, size, path, root)
    steps = consistency_proof(read, first, size)
    assert list(steps) == naive_subproof(first, leaves, True)
    assert shows_consistency(first, size, naive_root(leaves[:first]), root, steps)


@given(SIZES, st.data())
@settings(max_examples=300, deadline=None)
def test_no_proof_holds_for_a_log_in_which_one_entry_was_changed(size: int, data: st.DataObject) -> None:
    leaves = leaves_of(size)
    first = data.draw(st.integers(min_value=1, max_value=size))
    changed = data.draw(st.integers(min_value=0, max_value=first - 1))
    known = naive_root(leaves[:first])
    rewritten = [*leaves[:changed], leaf_hash(b"rewritten"), *leaves[changed + 1 :]]
    read = reader_of(rewritten)
    root = root_of(read, size)
    assert not shows_consistency(first, size, known, root, consistency_proof(read, first, size))
    # Nor with the steps of the log as it was.
    assert not shows_consistency(first, size, known, root, naive_subproof(first, leaves, True))


@given(SIZES, st.data())
@settings(max_examples=200, deadline=None)
def test_a_proof_with_one_bit_turned_does_not_hold(size: int, data: st.DataObject) -> None:
    leaves = leaves_of(size)
    first = data.draw(st.integers(min_value=1, max_value=size))
    steps = naive_subproof(first, leaves, True)
    if not steps:
        return
    place = data.draw(st.integers(min_value=0, max_value=len(steps) - 1))
    bit = data.draw(st.integers(min_value=0, max_value=255))
    turned = bytearray(steps[place])
    turned[bit // 8] ^= 1 << bit % 8
    steps[place] = bytes(turned)
    assert not shows_consistency(first, size, naive_root(leaves[:first]), naive_root(leaves), steps)


def test_the_leaf_of_an_entry_is_over_its_canonical_form() -> None:
    content = {"n": 1, "at": "2026-05-12T14:02:11Z", "who": "itolvaar"}
    canonical = b'{"at":"2026-05-12T14:02:11Z","n":1,"who":"itolvaar"}'
    assert entry_leaf(content) == hashlib.sha256(b"\x00" + canonical).digest()
