"""Tiles against entries, one leaf at a time; and leaf hashes as they are read from the log."""

from collections.abc import Iterator
from hashlib import sha256

import pytest

from jobs.ledger import tree, verify_tiles
from jobs.ledger.chain import START, link, link_bytes
from jobs.ledger.tree import leaf_hashes, size_of
from jobs.ledger.verify_tiles import TileChecks
from jobs.models import LogEntry, LogTile, Organisation, unscoped
from rules.canonical import canonical_bytes
from rules.merkle import leaf_hash, tree_root
from tests.jobs import rows
from tests.jobs.ledger import logs
from tests.record_guards import without_guards

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _small(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Tiles of 4, so that a few entries reach three levels."""
    monkeypatch.setattr(tree, "TILE", 4)
    monkeypatch.setattr(tree, "TILE_LEVELS", 2)
    monkeypatch.setattr(verify_tiles, "TILE", 4)
    with unscoped():
        yield


@pytest.fixture
def owner() -> Organisation:
    made = rows.organisation()
    logs.write(made, 17)
    return made


def tile(owner: Organisation, level: int, index: int, hashes: list[bytes]) -> LogTile:
    return LogTile.objects.create(
        organisation=owner, level=level, index=index, hashes=b"".join(hashes), root=tree_root_of(hashes)
    )


def tree_root_of(hashes: list[bytes]) -> bytes:
    """Of hashes that are leaves already: the pairs of RFC 9162, written down here once more."""
    while len(hashes) > 1:
        hashes = [sha256(b"\x01" + hashes[at] + hashes[at + 1]).digest() for at in range(0, len(hashes), 2)]
    return hashes[0]


def through(owner: Organisation, leaves: list[bytes]) -> tuple[tuple[str, int] | None, TileChecks]:
    checks = TileChecks(owner.pk)
    for leaf in leaves:
        fault = checks.add(leaf)
        if fault:
            return fault, checks
    return checks.rest(len(leaves)), checks


def test_tiles_of_every_level_are_compared_and_none_need_be_there(owner: Organisation) -> None:
    leaves = logs.leaves_of(owner)
    assert through(owner, leaves)[0] is None
    fours = [leaves[at : at + 4] for at in range(0, 16, 4)]
    tile(owner, 0, 0, fours[0])
    tile(owner, 0, 2, fours[2])
    tile(owner, 1, 0, [tree_root_of(four) for four in fours])
    fault, checks = through(owner, leaves)
    assert (fault, checks.compared) == (None, 3)
    assert tree_root_of([tree_root_of(four) for four in fours]) == tree_root(leaves[:16])


@pytest.mark.parametrize(
    ("level", "index", "last"), [(0, 0, 4), (0, 3, 16), (1, 0, 16), (0, 4, 20), (1, 1, 32), (2, 0, 64)]
)
def test_a_tile_that_is_not_what_the_entries_give_or_stands_over_none(
    owner: Organisation, level: int, index: int, last: int
) -> None:
    tile(owner, level, index, [bytes(32)] * 4)
    assert through(owner, logs.leaves_of(owner))[0] == ("tile", last)


def test_the_tiles_of_another_organisation_say_nothing_here(owner: Organisation) -> None:
    tile(rows.organisation("Sallowfield"), 0, 0, [bytes(32)] * 4)
    assert through(owner, logs.leaves_of(owner))[0] is None


def test_leaf_hashes_are_read_in_order_up_to_the_first_gap(owner: Organisation) -> None:
    leaves = logs.leaves_of(owner)
    assert list(leaf_hashes(owner.pk, 1, 17)) == leaves
    assert list(leaf_hashes(owner.pk, 3, 5)) == leaves[2:5]
    assert list(leaf_hashes(owner.pk, 17, 99)) == leaves[16:]
    assert list(leaf_hashes(owner.pk, 18, 20)) == []
    assert (size_of(owner.pk), size_of(rows.other_id())) == (17, 0)
    first = LogEntry.objects.get(organisation=owner, n=1)
    assert leaves[0] == leaf_hash(tree.entry_of(first).canonical())
    with without_guards():
        LogEntry.objects.filter(organisation=owner, n=5).delete()
    assert list(leaf_hashes(owner.pk, 1, 17)) == leaves[:4]
    assert list(leaf_hashes(owner.pk, 5, 17)) == []


def test_both_ways_of_linking_are_one() -> None:
    content = {"n": 1, "who": "Ólaf", "detail": {"b": 1, "a": [1.5, None]}}
    assert link(START, content) == link_bytes(START, canonical_bytes(content))
    assert link("11" * 32, content) != link(START, content)
    with pytest.raises(ValueError, match="hex"):
        link_bytes("no hex", b"")
