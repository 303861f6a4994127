"""Compares the stored tiles of a log's tree with what its entries give."""

from typing import Final
from uuid import UUID

from jobs.models import LogTile
from rules.seal.log_proofs import GrowingTree

TILE: Final = 256


class TileChecks:
    """Takes the leaf hashes in order; each tile is compared when it is full. Not every tile need be there."""

    def __init__(self, organisation_id: UUID) -> None:
        self.organisation_id = organisation_id
        self.compared = 0
        self._open: list[list[bytes]] = [[]]
        self._made: list[int] = [0]

    def add(self, leaf: bytes) -> tuple[str, int] | None:
        """The fault ``tile`` with the number of the last entry under it, None where all agrees."""
        level, value = 0, leaf
        while True:
            if level == len(self._open):
                self._open.append([])
                self._made.append(0)
            self._open[level].append(value)
            if len(self._open[level]) < TILE:
                return None
            value = _root(self._open[level])
            if not self._agrees(level, self._made[level], self._open[level], value):
                return "tile", self._last_entry(level, self._made[level])
            self._made[level] += 1
            self._open[level] = []
            level += 1

    def rest(self, entries: int) -> tuple[str, int] | None:
        """Tiles of entries that are not there; ``entries`` is how many there are by now."""
        stored = LogTile.objects.filter(organisation_id=self.organisation_id)
        levels = set(stored.values_list("level", flat=True).distinct()) | set(range(len(self._made)))
        for level in sorted(levels):
            full = entries // self._last_entry(level, 0)
            beyond = stored.filter(level=level, index__gte=full).order_by("index").first()
            if beyond is not None:
                return "tile", self._last_entry(level, beyond.index)
        return None

    def _agrees(self, level: int, index: int, hashes: list[bytes], root: bytes) -> bool:
        kept = LogTile.objects.filter(organisation_id=self.organisation_id, level=level, index=index).first()
        if kept is None:
            return True
        self.compared += 1
        return bytes(kept.hashes) == b"".join(hashes) and bytes(kept.root) == root

    def _last_entry(self, level: int, index: int) -> int:
        return int((index + 1) * TILE ** (level + 1))


def _root(hashes: list[bytes]) -> bytes:
    tree = GrowingTree()
    for value in hashes:
        tree.add(value)
    return tree.root()
