"""The log as a tree in tiles: the same roots and proofs as from all leaves, whatever tiles there are."""

import threading
from collections.abc import Iterator

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.transaction import TransactionManagementError

from jobs.ledger import tree
from jobs.ledger.tree import LogTree, make_tiles
from jobs.models import LogTile, unscoped
from rules.merkle import tree_root
from rules.seal.log_proofs import (
    consistency_proof,
    inclusion_proof,
    reader_of,
    shows_consistency,
    shows_inclusion,
)
from tests.jobs import rows
from tests.jobs.ledger import logs
from tests.record_guards import without_guards


@pytest.fixture(autouse=True)
def _open() -> Iterator[None]:
    with unscoped():
        yield


@pytest.fixture
def small_tiles(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tiles of four: trees of several levels from few entries."""
    monkeypatch.setattr(tree, "TILE", 4)
    monkeypatch.setattr(tree, "TILE_LEVELS", 2)


SIZES = (1, 2, 3, 4, 5, 7, 8, 15, 16, 17, 20, 21, 63, 64, 65, 70)


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("small_tiles")
@pytest.mark.parametrize("tiles", ["none", "some", "all"])
def test_roots_and_proofs_are_those_of_all_leaves(tiles: str) -> None:
    owner = rows.organisation()
    logs.write(owner, 37)
    if tiles != "none":
        assert make_tiles(owner.pk) == 9 + 2
    logs.write(owner, 33, start=37)
    if tiles == "all":
        assert make_tiles(owner.pk) == 17 + 4 + 1 - 11
        assert make_tiles(owner.pk) == 0
    leaves = logs.leaves_of(owner)
    read = reader_of(leaves)
    for size in SIZES:
        for of_all in (LogTree(owner.pk, 70), LogTree(owner.pk, size)):
            assert of_all.root(size) == tree_root(leaves[:size])
            for n in {1, size // 2 + 1, size}:
                assert of_all.leaf(n) == leaves[n - 1]
                path = of_all.inclusion(n, size)
                assert path == inclusion_proof(read, n - 1, size)
                assert shows_inclusion(leaves[n - 1], n - 1, size, path, tree_root(leaves[:size]))
            for first in {1, size // 3 + 1, size}:
                steps = of_all.consistency(first, size)
                assert steps == consistency_proof(read, first, size)
                roots = tree_root(leaves[:first]), tree_root(leaves[:size])
                assert shows_consistency(first, size, *roots, steps)


@pytest.mark.django_db(transaction=True)
def test_tiles_of_256_at_the_edge() -> None:
    owner, other = rows.organisation(), rows.organisation("Sallowfield")
    logs.write(owner, 255)
    logs.write(other, 3)
    assert make_tiles(owner.pk) == 0
    logs.write(owner, 1, start=255)
    assert make_tiles(owner.pk) == 1
    logs.write(owner, 1, start=256)
    leaves = logs.leaves_of(owner)
    (tile,) = LogTile.objects.filter(organisation=owner)
    assert bytes(tile.hashes) == b"".join(leaves[:256])
    assert bytes(tile.root) == tree_root(leaves[:256])
    assert LogTree(owner.pk, 257).root() == tree_root(leaves)
    assert LogTree(owner.pk, 255).root() == tree_root(leaves[:255])
    assert LogTree(other.pk, 3).root() == tree_root(logs.leaves_of(other))


@pytest.mark.django_db
def test_tiles_are_made_beside_the_work() -> None:
    with pytest.raises(TransactionManagementError):
        make_tiles(rows.organisation().pk)


@pytest.mark.django_db
def test_what_cannot_be_told_of_the_log() -> None:
    owner = rows.organisation()
    logs.write(owner, 3)
    with pytest.raises(ValueError, match="empty"):
        LogTree(owner.pk, 0).root()
    with pytest.raises(ValueError, match="3 entries"):
        LogTree(owner.pk, 3).root(4)
    for act in (lambda: LogTree(owner.pk, 4).root(), lambda: LogTree(owner.pk, 4).inclusion(1)):
        with pytest.raises(LookupError):
            act()
    with without_guards():
        logs.execute("DELETE FROM jobs_logentry WHERE n = 2")
    with pytest.raises(LookupError, match="number 2"):
        LogTree(owner.pk, 3).root()


@pytest.mark.django_db
def test_tiles_never_change() -> None:
    owner = rows.organisation()
    tile = LogTile(organisation=owner, level=0, index=0, hashes=b"a" * 8192, root=b"b" * 32)
    LogTile.objects.bulk_create([tile], ignore_conflicts=True)
    again = LogTile(organisation=owner, level=0, index=0, hashes=b"a" * 8192, root=b"b" * 32)
    LogTile.objects.bulk_create([again], ignore_conflicts=True)
    kept = LogTile.objects.get()
    for act in (
        lambda: LogTile.objects.update(root=b"c" * 32),
        lambda: LogTile.objects.all().delete(),
        lambda: logs.execute("UPDATE jobs_logtile SET level = 1"),
        lambda: logs.execute("DELETE FROM jobs_logtile"),
        _write_over,
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            act()
    assert LogTile.objects.get().pk == kept.pk


def _write_over() -> None:
    columns = 'organisation_id, level, "index", hashes, root'
    copy = f'SELECT organisation_id, level, "index", hashes, {_other_root()} FROM jobs_logtile'  # noqa: S608
    over = {
        "sqlite": f"INSERT OR REPLACE INTO jobs_logtile ({columns}) {copy}",
        "postgresql": f"INSERT INTO jobs_logtile ({columns}) {copy} "
        'ON CONFLICT (organisation_id, level, "index") DO UPDATE SET root = EXCLUDED.root',
    }
    logs.execute(over[connection.vendor])


def _other_root() -> str:
    return "x'00'" if connection.vendor == "sqlite" else "'\\x00'::bytea"


@pytest.mark.django_db(transaction=True)
def test_two_makers_at_once_make_the_same_tiles(monkeypatch: pytest.MonkeyPatch) -> None:
    owner = rows.organisation()
    logs.write(owner, 64)
    monkeypatch.setattr(tree, "TILE", 4)
    monkeypatch.setattr(tree, "TILE_LEVELS", 2)
    failed: list[BaseException] = []
    together = threading.Barrier(2)

    def one() -> None:
        try:
            together.wait(timeout=30)
            make_tiles(owner.pk)
        except BaseException as error:
            failed.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=one) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    assert LogTile.objects.count() == 16 + 4 + 1
    assert LogTree(owner.pk, 64).root() == tree_root(logs.leaves_of(owner))
