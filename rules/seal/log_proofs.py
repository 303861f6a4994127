"""Proofs about an append-only log kept as a hash tree: an entry is in it, a later log continues an earlier.

The tree, the proofs and how they are checked are those of RFC 9162 section 2.1 (the same as RFC 6962 section
2.1). Sizes are numbers of leaves; index 0 is the first leaf. A log of size 0 proves nothing and is refused.
"""

from collections.abc import Callable, Sequence
from typing import Final

from rules.canonical import canonical_bytes
from rules.merkle import leaf_hash, node_hash, root_from_path

HASH_BYTES: Final = 32
# More nodes than the tree of any log that can be counted in 64 bits has levels, twice (project limit).
MAX_PATH: Final = 128

# Root of the complete subtree of 2^level leaves that is number ``index`` from the left on its level.
NodeReader = Callable[[int, int], bytes]


def entry_leaf(content: object) -> bytes:
    """The leaf of a log entry: RFC 6962 hash of its canonical JSON (RFC 8785); 32 bytes."""
    return leaf_hash(canonical_bytes(content))


def reader_of(leaves: Sequence[bytes]) -> NodeReader:
    """Reads nodes from leaf hashes held in memory; each node is worked out once."""
    levels: list[list[bytes]] = [list(leaves)]
    while len(levels[-1]) > 1:
        below = levels[-1]
        levels.append([node_hash(below[at], below[at + 1]) for at in range(0, len(below) - 1, 2)])

    def read(level: int, index: int) -> bytes:
        return levels[level][index]

    return read


class GrowingTree:
    """The root after each leaf of a log that is read from its beginning, holding a few hashes at a time."""

    def __init__(self) -> None:
        self.size = 0
        self._complete: list[bytes] = []

    def add(self, leaf: bytes) -> None:
        """The next leaf hash."""
        self._complete.append(leaf)
        self.size += 1
        pairs = self.size
        while pairs % 2 == 0:
            right = self._complete.pop()
            self._complete.append(node_hash(self._complete.pop(), right))
            pairs //= 2

    def root(self) -> bytes:
        """Root over the leaves so far. Raises ``ValueError`` before the first."""
        _at_least_one(self.size)
        root = self._complete[-1]
        for left in reversed(self._complete[:-1]):
            root = node_hash(left, root)
        return root


def root_of(read: NodeReader, size: int) -> bytes:
    """Root of the tree over the first ``size`` leaves. Raises ``ValueError`` for size 0."""
    _at_least_one(size)
    return _range_root(read, 0, size)


def inclusion_proof(read: NodeReader, index: int, size: int) -> tuple[bytes, ...]:
    """The path from leaf ``index`` to the root of the first ``size`` leaves (RFC 9162 section 2.1.3.1).

    Raises:
        ValueError: size 0, or no such leaf in a tree of that size.
    """
    _at_least_one(size)
    if not 0 <= index < size:
        raise ValueError(f"no leaf {index} in a log of {size}")
    path: list[bytes] = []
    start, end = 0, size
    while end - start > 1:
        middle = start + _largest_power_below(end - start)
        if index < middle:
            path.append(_range_root(read, middle, end))
            end = middle
        else:
            path.append(_range_root(read, start, middle))
            start = middle
    return tuple(reversed(path))


def consistency_proof(read: NodeReader, first: int, second: int) -> tuple[bytes, ...]:
    """Shows that the log of ``first`` leaves is the beginning of the log of ``second`` (RFC 9162 2.1.4.1).

    Raises:
        ValueError: size 0, or ``first`` larger than ``second``.
    """
    _at_least_one(first)
    if first > second:
        raise ValueError(f"a log of {first} is not the beginning of one of {second}")
    path: list[bytes] = []
    start, end, known = 0, second, True
    while first != end:
        middle = start + _largest_power_below(end - start)
        if first <= middle:
            path.append(_range_root(read, middle, end))
            end = middle
        else:
            path.append(_range_root(read, start, middle))
            start, known = middle, False
    if not known:
        # The checker does not know this part's root as it knows the whole first tree's.
        path.append(_range_root(read, start, end))
    return tuple(reversed(path))


def shows_inclusion(leaf: bytes, index: int, size: int, path: Sequence[bytes], root: bytes) -> bool:
    """Whether ``path`` shows that ``leaf`` is number ``index`` of the log with this size and root."""
    if not _well_formed(path, leaf, root) or not _whole(index) or not _whole(size):
        return False
    return root_from_path(leaf, index, size, path) == root


def shows_consistency(
    first: int, second: int, first_root: bytes, second_root: bytes, path: Sequence[bytes]
) -> bool:
    """Whether ``path`` shows that the first log is the beginning of the second (RFC 9162 section 2.1.4.2)."""
    if not _well_formed(path, first_root, second_root) or not _whole(first) or not _whole(second):
        return False
    if not 1 <= first <= second:
        return False
    if first == second:
        return not path and first_root == second_root
    if not path:
        return False
    steps = [first_root, *path] if first & (first - 1) == 0 else list(path)
    return _follow(first - 1, second - 1, steps) == (first_root, second_root)


def _follow(place: int, last: int, steps: Sequence[bytes]) -> tuple[bytes, bytes] | None:
    """Both roots that ``steps`` lead to, None where their number does not fit the tree."""
    while place & 1:
        place, last = place >> 1, last >> 1
    earlier = later = steps[0]
    for step in steps[1:]:
        if last == 0:
            return None
        if place & 1 or place == last:
            earlier, later = node_hash(step, earlier), node_hash(step, later)
            while place and not place & 1:
                place, last = place >> 1, last >> 1
        else:
            later = node_hash(later, step)
        place, last = place >> 1, last >> 1
    return (earlier, later) if last == 0 else None


def _range_root(read: NodeReader, start: int, end: int) -> bytes:
    """Root over leaves ``start`` to ``end``; ``start`` is where a subtree of that many leaves can begin."""
    complete: list[bytes] = []
    while start < end:
        level = (end - start).bit_length() - 1
        complete.append(read(level, start >> level))
        start += 1 << level
    root = complete.pop()
    while complete:
        root = node_hash(complete.pop(), root)
    return root


def _largest_power_below(count: int) -> int:
    """The largest power of two smaller than ``count`` (at least 2)."""
    return 1 << ((count - 1).bit_length() - 1)


def _at_least_one(size: int) -> None:
    if size < 1:
        raise ValueError("an empty log proves nothing")


def _whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _well_formed(path: Sequence[bytes], *ends: bytes) -> bool:
    return len(path) <= MAX_PATH and all(len(value) == HASH_BYTES for value in (*path, *ends))
