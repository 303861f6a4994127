"""Recomputes a log from its rows alone and says the first thing that is wrong; imports no writer.

One pass over the entries checks numbers and chain, and works out the tree beside it: each stored tile and the
root of each stored head are compared as their size is reached. Then signatures and proofs of the heads.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from jobs.ledger.chain import START, link_bytes
from jobs.ledger.entry import Entry
from jobs.ledger.verify_heads import HeadChecks
from jobs.ledger.verify_tiles import TileChecks
from jobs.models import LedgerHead, LogEntry, Organisation, unscoped
from rules.merkle import leaf_hash
from rules.seal.log_proofs import GrowingTree
from rules.seal.tree_head import TreeHead

PIECE = 2000
COLUMNS = ("n", "at", "who", "device", "what", "target", "detail", "prev", "hash")


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What checking one organisation's log gave.

    ``fault`` is empty, or gap, prev, hash, unreadable, head (head row and last entry disagree: entries were
    cut off), tile, or one of the heads' (``jobs.ledger.verify_heads``); ``at_n`` is the number of the entry,
    or the size of the head, where it shows.
    """

    organisation: str
    name: str
    entries: int
    head: str
    root: str = ""
    tiles: int = 0
    tree_heads: int = 0
    fault: str = ""
    at_n: int | None = None

    @property
    def is_whole(self) -> bool:
        return not self.fault


def verify_organisation(organisation: Organisation, *, against: Iterable[TreeHead] = ()) -> Report:
    """Checks numbers, chain, tree and heads of one organisation's log.

    Args:
        organisation: whose log.
        against: heads kept outside; the log must still have their roots at their sizes.
    """
    with unscoped():
        walk = _Walk(organisation, tuple(against))
        before = _last_told(organisation)
        rows = LogEntry.objects.filter(organisation=organisation).order_by("n").values_list(*COLUMNS)
        fault, at_n = walk.through(rows.iterator(PIECE))
        after = _last_told(organisation)
        if not fault and not _ends_as_told(walk, before, after):
            fault, at_n = "head", walk.tree.size
        if not fault:
            fault, at_n = walk.tiles.rest(after[0]) or walk.heads.rest() or ("", None)
    return Report(
        organisation=str(organisation.pk),
        name=organisation.name,
        entries=walk.tree.size,
        head=walk.hash,
        root=walk.tree.root().hex() if walk.tree.size else "",
        tiles=walk.tiles.compared,
        tree_heads=walk.heads.compared,
        fault=fault,
        at_n=at_n,
    )


def verify_all(only: UUID | None = None, *, against: Iterable[TreeHead] = ()) -> tuple[Report, ...]:
    """Checks every organisation's log, or the one named; heads kept outside are compared with their own."""
    kept = tuple(against)
    organisations = Organisation.objects.order_by("name", "pk")
    if only is not None:
        organisations = organisations.filter(pk=only)
    return tuple(verify_organisation(organisation, against=kept) for organisation in organisations)


def _last_told(organisation: Organisation) -> tuple[int, str]:
    """Number and hash of the last entry, as its writers keep them."""
    kept = LedgerHead.objects.filter(pk=organisation.pk).first()
    return (kept.n, kept.hash or START) if kept is not None else (0, START)


def _ends_as_told(walk: "_Walk", before: tuple[int, str], after: tuple[int, str]) -> bool:
    """Whether the entries end where they should; some may have been added while they were read."""
    size = walk.tree.size
    told = [value for n, value in (before, after) if n == size]
    return before[0] <= size <= after[0] and all(value == walk.hash for value in told)


class _Walk:
    """How far the entries hold, and the tree over them."""

    def __init__(self, organisation: Organisation, against: tuple[TreeHead, ...]) -> None:
        self.organisation_id = str(organisation.pk)
        self.hash = START
        self.tree = GrowingTree()
        self.tiles = TileChecks(organisation.pk)
        self.heads = HeadChecks(organisation.pk, against)

    def through(self, rows: Iterable[tuple[Any, ...]]) -> tuple[str, int | None]:
        """The first fault and where, or an empty one; what was read until then holds."""
        for n, at, who, device, what, target, detail, prev, kept in rows:
            entry = Entry(
                organisation=self.organisation_id,
                n=n,
                at=at,
                who=who,
                device=device,
                what=what,
                target=target,
                detail=detail,
            )
            found = self._step(entry, prev, kept)
            if found is not None:
                return found
        return "", None

    def _step(self, entry: Entry, prev: str, kept: str) -> tuple[str, int] | None:
        if entry.n != self.tree.size + 1:
            return "gap", self.tree.size + 1
        if prev != self.hash:
            return "prev", entry.n
        try:
            canonical = entry.canonical()
            expected = link_bytes(prev, canonical)
        except (ValueError, RecursionError):
            return "unreadable", entry.n
        if kept != expected:
            return "hash", entry.n
        leaf = leaf_hash(canonical)
        self.hash = kept
        self.tree.add(leaf)
        return self.tiles.add(leaf) or self.heads.reached(self.tree)
