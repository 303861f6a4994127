"""A scenario's text as a tree in which every value knows its file and line, and how two such trees merge."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Final

from jobs.rehearsal.faults import Faults, ScenarioError, Spot, one_of
from rules.packs import tree
from rules.packs.errors import FaultList, PackError
from rules.packs.reader import read_mapping

DROP: Final = "drop"
EXTENDS: Final = "extends"
LIKE: Final = "like"
# A baseline of a baseline of a baseline is as much as anybody can follow (project default).
LONGEST_CHAIN: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaf:
    """A single value: ``text`` as typed; ``value`` a word, number, or true/false."""

    spot: Spot
    value: tree.Plain
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    spot: Spot
    items: tuple["Branch", ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A mapping; ``spots`` are the places of its keys."""

    spot: Spot
    entries: Mapping[str, "Branch"]
    spots: Mapping[str, Spot]

    def spot_of(self, key: str) -> Spot:
        return self.spots.get(key, self.spot)

    def get(self, key: str) -> "Branch | None":
        return self.entries.get(key)

    def __iter__(self) -> Iterator[str]:
        return iter(self.entries)


Branch = Leaf | Listing | Table


def table(spot: Spot, entries: Mapping[str, Branch], spots: Mapping[str, Spot]) -> Table:
    return Table(spot=spot, entries=MappingProxyType(dict(entries)), spots=MappingProxyType(dict(spots)))


def load(path: Path, *, shown: str = "") -> Table:
    """The file with everything that it extends, merged.

    Raises:
        ScenarioError: unreadable, no strict YAML, a missing or circular ``extends``, a ``drop`` of nothing.
    """
    chain: list[Table] = []
    seen: list[Path] = []
    name = shown or str(path)
    current: Path | None = path
    while current is not None:
        root = _read(current, name)
        seen.append(current.resolve())
        chain.append(root)
        current, name = _extended(root, folder=current.parent, seen=seen)
    faults = Faults()
    merged = _without_drops(chain.pop(), faults)
    while chain:
        merged = merge(merged, chain.pop(), faults)
    faults.stop_if_any()
    return merged


def _fail(spot: Spot, where: str, *, expected: str, found: str, code: str) -> ScenarioError:
    faults = Faults()
    faults.add(spot, where, expected=expected, found=found, code=code)
    return ScenarioError(faults.found)


def _read(path: Path, name: str) -> Table:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise _fail(
            Spot(name, 1), "", expected="a readable file", found=error.strerror or "none", code="unreadable"
        ) from error
    return parse(data, name)


def parse(data: bytes, name: str) -> Table:
    """One text without what it extends, by the strict reader of the packs.

    Raises:
        ScenarioError: with the reader's faults.
    """
    listed = FaultList()
    try:
        root = read_mapping(data, listed, name=name)
        found = listed.ordered
    except PackError as error:
        root, found = None, error.faults
    if root is None or found:
        faults = Faults()
        for fault in found:
            faults.add(
                Spot(name, fault.line),
                "",
                expected=fault.expected or "text that the strict reader takes",
                found=f"{fault.message} {fault.found}".strip(),
                code=fault.code,
            )
        raise ScenarioError(faults.found)
    converted = _placed(root, name)
    assert isinstance(converted, Table)  # noqa: S101 - a mapping stays one
    return converted


def _placed(node: tree.Node, name: str) -> Branch:
    spot = Spot(name, node.line)
    if isinstance(node, tree.Scalar):
        return Leaf(spot=spot, value=node.value, text=node.text)
    if isinstance(node, tree.Seq):
        return Listing(spot=spot, items=tuple(_placed(item, name) for item in node.items))
    return table(
        spot,
        {entry.key: _placed(entry.node, name) for entry in node.entries},
        {entry.key: Spot(name, entry.line) for entry in node.entries},
    )


def _extended(root: Table, *, folder: Path, seen: list[Path]) -> tuple[Path | None, str]:
    """The file that this one extends, and how it is shown."""
    node = root.get(EXTENDS)
    if node is None:
        return None, ""
    if not isinstance(node, Leaf) or not isinstance(node.value, str) or not node.value.strip():
        raise _fail(
            node.spot, EXTENDS, expected="the path of another file", found="something else", code="wrong_type"
        )
    other = folder / node.value
    if not other.is_file():
        raise _fail(
            node.spot, EXTENDS, expected="a file beside this one", found=node.value, code="extends_missing"
        )
    if other.resolve() in seen or len(seen) >= LONGEST_CHAIN:
        raise _fail(
            node.spot,
            EXTENDS,
            expected=f"at most {LONGEST_CHAIN} files, none of them twice",
            found=node.value,
            code="extends_circle",
        )
    shown = Path(root.spot.file).parent / node.value
    return other, str(shown)


def merge(base: Table, over: Table, faults: Faults, where: str = "") -> Table:
    """``over`` laid upon ``base``: mappings merge key by key, anything else replaces what was there.

    ``drop: [name, ...]`` in a mapping takes those names away first; a name that is not there is a fault.
    """
    dropped = _dropped(over, faults, where, there=base)
    entries = {key: node for key, node in base.entries.items() if key not in dropped}
    spots = {key: spot for key, spot in base.spots.items() if key in entries}
    for key, node in over.entries.items():
        if key == DROP:
            continue
        below = entries.get(key)
        inner = f"{where}.{key}" if where else key
        if isinstance(node, Table) and isinstance(below, Table):
            entries[key] = merge(below, node, faults, inner)
        elif isinstance(node, Table):
            entries[key] = _without_drops(node, faults, inner)
        else:
            entries[key] = node
        spots[key] = over.spot_of(key)
    return table(over.spot, entries, spots)


def _is_like_another(node: Table, where: str) -> bool:
    """A job that is like another one: its drops wait until that one is known."""
    return LIKE in node.entries and where.startswith("jobs.") and where.count(".") == 1


def _without_drops(node: Table, faults: Faults, where: str = "") -> Table:
    """A mapping with nothing below it: a ``drop`` in it takes nothing away and is a fault."""
    if _is_like_another(node, where):
        return node
    _dropped(node, faults, where, there=None)
    entries = {
        key: _without_drops(item, faults, f"{where}.{key}" if where else key)
        if isinstance(item, Table)
        else item
        for key, item in node.entries.items()
        if key != DROP
    }
    return replace(node, entries=MappingProxyType(entries))


def _dropped(over: Table, faults: Faults, where: str, *, there: Table | None) -> frozenset[str]:
    node = over.get(DROP)
    if node is None:
        return frozenset()
    inner = f"{where}.{DROP}" if where else DROP
    if not isinstance(node, Listing):
        faults.add(node.spot, inner, expected="a list of names", found="something else", code="wrong_type")
        return frozenset()
    known = set(there.entries) if there is not None else set()
    names: set[str] = set()
    for item in node.items:
        text = item.text if isinstance(item, Leaf) else ""
        if text in known:
            names.add(text)
        else:
            expected = one_of(known, text) if known else "nothing to drop: no file below this one has it"
            faults.add(item.spot, inner, expected=expected, found=text, code="nothing_to_drop")
    return frozenset(names)
