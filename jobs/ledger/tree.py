"""The log as a hash tree (RFC 9162 section 2.1): roots and proofs for logs of any length.

Leaf hashes are kept in tiles of 256, their roots in tiles above, so that a root or a proof reads a few tiles
and the entries of the last, unfinished one. Tiles are made from the entries beside the work, never in the
transaction that appends: what is not in a tile yet is worked out from the entries themselves.
"""

from collections.abc import Iterator
from itertools import count
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.transaction import TransactionManagementError

from jobs.ledger.entry import Entry
from jobs.models import LedgerHead, LogEntry, LogTile, unscoped
from rules.merkle import leaf_hash, node_hash
from rules.seal import log_proofs
from rules.seal.log_proofs import HASH_BYTES

TILE: Final = 256
# So many levels of the tree lie inside one tile: 2 to this power are its hashes.
TILE_LEVELS: Final = 8
# Tiles written in one transaction: short enough that nobody waits for it.
PIECE: Final = 16
COLUMNS: Final = ("n", "at", "who", "device", "what", "target", "detail")
PIECE_OF_ENTRIES: Final = 2000


def entry_of(row: LogEntry) -> Entry:
    """What was hashed, from the row that keeps it."""
    return Entry(
        organisation=str(row.organisation_id),
        n=row.n,
        at=row.at,
        who=row.who,
        device=row.device,
        what=row.what,
        target=row.target,
        detail=row.detail,
    )


def size_of(organisation_id: UUID) -> int:
    """How many entries the log has."""
    with unscoped():
        head = LedgerHead.objects.filter(pk=organisation_id).first()
    return head.n if head is not None else 0


class LogTree:
    """The first ``size`` entries of one organisation's log, read once as needed and remembered.

    Raises:
        LookupError: an entry of it is not there.
    """

    def __init__(self, organisation_id: UUID, size: int, *, from_tiles: bool = True) -> None:
        """``from_tiles`` false: everything from the entries, as a check of the tiles does."""
        self.organisation_id = organisation_id
        self.size = size
        self._from_tiles = from_tiles
        self._rows: dict[tuple[int, int], list[list[bytes]]] = {}

    def root(self, size: int | None = None) -> bytes:
        """Root of the first ``size`` entries. Raises ``ValueError`` for none."""
        return log_proofs.root_of(self.node, self._within(size))

    def inclusion(self, n: int, size: int | None = None) -> tuple[bytes, ...]:
        """The path from entry ``n`` (counted from 1) to that root."""
        return log_proofs.inclusion_proof(self.node, n - 1, self._within(size))

    def consistency(self, first: int, second: int | None = None) -> tuple[bytes, ...]:
        """The proof that the first ``first`` entries are the beginning of the first ``second``."""
        return log_proofs.consistency_proof(self.node, first, self._within(second))

    def leaf(self, n: int) -> bytes:
        """The leaf hash of entry ``n`` (counted from 1) as the tree has it."""
        return self.node(0, n - 1)

    def node(self, level: int, index: int) -> bytes:
        """Root of the complete subtree of 2^level leaves that is number ``index`` on its level."""
        above, inside = divmod(level, TILE_LEVELS)
        per_tile = TILE >> inside
        rows = self._levels_of_tile(above, index // per_tile)
        return rows[inside][index % per_tile]

    def hashes(self, level: int, index: int) -> list[bytes]:
        """The up to 256 hashes of one tile, full or not."""
        return self._levels_of_tile(level, index)[0]

    def root_of_tile(self, level: int, index: int) -> bytes:
        """The root over one full tile."""
        return self._levels_of_tile(level, index)[TILE_LEVELS][0]

    def _within(self, size: int | None) -> int:
        if size is None:
            return self.size
        if size > self.size:
            raise ValueError(f"the log has {self.size} entries, not {size}")
        return size

    def _levels_of_tile(self, level: int, index: int) -> list[list[bytes]]:
        """The hashes of a tile, then their pairs, and so on up: all nodes that lie inside it."""
        known = self._rows.get((level, index))
        if known is None:
            known = [self._stored(level, index) or self._worked_out(level, index)]
            while len(known[-1]) > 1:
                below = known[-1]
                known.append([node_hash(below[at], below[at + 1]) for at in range(0, len(below) - 1, 2)])
            self._rows[level, index] = known
        return known

    def _stored(self, level: int, index: int) -> list[bytes] | None:
        # A tile belongs to this tree only where the tree fills it.
        if not self._from_tiles or (index + 1) * TILE * _leaves_per_hash(level) > self.size:
            return None
        with unscoped():
            kept = LogTile.objects.filter(
                organisation_id=self.organisation_id, level=level, index=index
            ).first()
        return None if kept is None else _split(bytes(kept.hashes))

    def _worked_out(self, level: int, index: int) -> list[bytes]:
        if level:
            complete = self.size // _leaves_per_hash(level)
            children = range(index * TILE, min((index + 1) * TILE, complete))
            known = self._roots_below(level - 1, children)
            return [known.get(child) or self.root_of_tile(level - 1, child) for child in children]
        first = index * TILE + 1
        leaves = list(leaf_hashes(self.organisation_id, first, min(first + TILE - 1, self.size)))
        if len(leaves) != min(TILE, self.size - first + 1):
            raise LookupError(f"an entry is missing from number {first + len(leaves)} on")
        return leaves

    def _roots_below(self, level: int, indexes: range) -> dict[int, bytes]:
        if not self._from_tiles:
            return {}
        with unscoped():
            kept = LogTile.objects.filter(
                organisation_id=self.organisation_id,
                level=level,
                index__gte=indexes.start,
                index__lt=indexes.stop,
            )
            return {index: bytes(root) for index, root in kept.values_list("index", "root")}


def leaf_hashes(organisation_id: UUID, first: int, last: int) -> Iterator[bytes]:
    """Leaf hashes of the entries ``first`` to ``last`` in order, up to the first number that is missing."""
    with unscoped():
        rows = LogEntry.objects.filter(organisation_id=organisation_id, n__gte=first, n__lte=last)
        told = rows.order_by("n").values(*COLUMNS).iterator(PIECE_OF_ENTRIES)
        for expected, row in enumerate(told, start=first):
            if row["n"] != expected:
                return
            yield leaf_hash(Entry(organisation=str(organisation_id), **row).canonical())


def make_tiles(organisation_id: UUID) -> int:
    """Makes every full tile that is not there yet, a few at a time; returns how many were missing.

    Runs outside any transaction and takes no lock of the log: two makers at once write the same tiles, and a
    writer of the log waits for neither.

    Raises:
        django.db.transaction.TransactionManagementError: called inside a transaction.
    """
    if transaction.get_connection().in_atomic_block:
        raise TransactionManagementError("tiles are made beside the work, not inside its transaction")
    size, made = size_of(organisation_id), 0
    for level in count():
        full = size // (TILE * _leaves_per_hash(level))
        if not full:
            break
        with unscoped():
            there = set(
                LogTile.objects.filter(organisation_id=organisation_id, level=level).values_list(
                    "index", flat=True
                )
            )
        missing = [index for index in range(full) if index not in there]
        for at in range(0, len(missing), PIECE):
            _write(organisation_id, size, level, missing[at : at + PIECE])
        made += len(missing)
    return made


def _write(organisation_id: UUID, size: int, level: int, indexes: list[int]) -> None:
    tree = LogTree(organisation_id, size)
    tiles = [
        LogTile(
            organisation_id=organisation_id,
            level=level,
            index=index,
            hashes=b"".join(tree.hashes(level, index)),
            root=tree.root_of_tile(level, index),
        )
        for index in indexes
    ]
    with unscoped():
        LogTile.objects.bulk_create(tiles, ignore_conflicts=True)


def _leaves_per_hash(level: int) -> int:
    """How many leaves one hash of a tile on this level stands for: 256 to the power of ``level``."""
    return 1 << (TILE_LEVELS * level)


def _split(hashes: bytes) -> list[bytes]:
    return [hashes[at : at + HASH_BYTES] for at in range(0, len(hashes), HASH_BYTES)]
