"""Reading one mapping of a scenario field by field: what does not fit becomes a fault with its place."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from jobs.rehearsal.faults import Faults, one_of
from jobs.rehearsal.nodes import Branch, Leaf, Listing, Table
from jobs.rehearsal.times import FORMS, read_span, read_when

# A reader turns a node into a value, or adds a fault and gives None.
Reader = Callable[[Branch, Faults, str], Any]
_NUMBER = re.compile(r"[+-]?\d{1,12}(?:\.\d{1,9})?", re.ASCII)
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,59}", re.ASCII)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """How one key is read; ``default`` stands in where an optional key is absent."""

    read: Reader
    required: bool = False
    default: Any = None


def needed(read: Reader) -> Field:
    return Field(read=read, required=True)


def may(read: Reader, default: Any = None) -> Field:
    return Field(read=read, default=default)


def read_table(
    node: Branch, fields: Mapping[str, Field], faults: Faults, where: str, *, partial: bool = False
) -> dict[str, Any]:
    """All fields of a mapping; unknown keys and missing ones are faults.

    Args:
        partial: for what changes something that is there already: nothing is missing, absent keys stay out.
    """
    if not isinstance(node, Table):
        _wrong(node, faults, where, "a mapping of keys")
        return {}
    for key in node:
        if key not in fields:
            spot = node.spot_of(key)
            faults.add(spot, _at(where, key), expected=one_of(fields, key), found=key, code="unknown_key")
    values: dict[str, Any] = {}
    for key, field in fields.items():
        inner = node.get(key)
        if inner is not None:
            values[key] = field.read(inner, faults, _at(where, key))
        elif not partial:
            values[key] = field.default
            if field.required:
                faults.add(node.spot, where, expected=f"a key {key}", found="none", code="missing_key")
    return values


def named(read: Callable[[str, Branch, Faults, str], Any]) -> Reader:
    """A mapping of names to entries, each read by ``read`` with its own name."""

    def reader(node: Branch, faults: Faults, where: str) -> dict[str, Any]:
        if not isinstance(node, Table):
            _wrong(node, faults, where, "a mapping of names")
            return {}
        found: dict[str, Any] = {}
        for name, inner in node.entries.items():
            if _NAME.fullmatch(name) is None:
                spot = node.spot_of(name)
                faults.add(spot, where, expected="a short name", found=name, code="bad_name")
                continue
            found[name] = read(name, inner, faults, _at(where, name))
        return found

    return reader


def text(node: Branch, faults: Faults, where: str) -> str | None:
    """Words; a plain number is taken as it was typed."""
    leaf = _leaf(node, faults, where, "text")
    return None if leaf is None else leaf.text


def number_typed(node: Branch, faults: Faults, where: str) -> Any:
    """A decimal number, kept as typed: ``231`` and ``231.0`` differ in their last digit."""
    leaf = _leaf(node, faults, where, "a number")
    if leaf is not None and _NUMBER.fullmatch(leaf.text) is None:
        return _wrong(leaf, faults, where, "a number such as 231 or -4.15")
    return None if leaf is None else leaf.text


def number(node: Branch, faults: Faults, where: str) -> float | None:
    typed = number_typed(node, faults, where)
    return None if typed is None else float(typed)


def whole(lowest: int, highest: int) -> Reader:
    def reader(node: Branch, faults: Faults, where: str) -> Any:
        leaf = _leaf(node, faults, where, "a whole number")
        if leaf is None:
            return None
        fits = isinstance(leaf.value, int) and not isinstance(leaf.value, bool)
        if not fits or not lowest <= int(leaf.value) <= highest:
            return _wrong(leaf, faults, where, f"a whole number from {lowest} to {highest}")
        return int(leaf.value)

    return reader


def yes_no(node: Branch, faults: Faults, where: str) -> bool | None:
    leaf = _leaf(node, faults, where, "yes or no")
    if leaf is None or leaf.text not in ("yes", "no"):
        return None if leaf is None else _wrong(leaf, faults, where, "yes or no")
    return leaf.text == "yes"


def word(choices: Iterable[str]) -> Reader:
    known = tuple(choices)

    def reader(node: Branch, faults: Faults, where: str) -> str | None:
        leaf = _leaf(node, faults, where, "one word")
        if leaf is not None and leaf.text not in known:
            faults.add(
                leaf.spot, where, expected=one_of(known, leaf.text), found=leaf.text, code="unknown_word"
            )
            return None
        return None if leaf is None else leaf.text

    return reader


def listing(read: Reader) -> Reader:
    """A list; a single entry may stand without brackets."""

    def reader(node: Branch, faults: Faults, where: str) -> tuple[Any, ...]:
        items = node.items if isinstance(node, Listing) else (node,)
        read_items = [read(item, faults, f"{where}[{place}]") for place, item in enumerate(items)]
        return tuple(item for item in read_items if item is not None)

    return reader


def pairs(key: Callable[[str], bool] | None, read: Reader, *, expected: str = "a known name") -> Reader:
    """A mapping of names to values of one kind; ``key`` says which names fit."""

    def reader(node: Branch, faults: Faults, where: str) -> dict[str, Any]:
        if not isinstance(node, Table):
            _wrong(node, faults, where, "a mapping of names")
            return {}
        for name in node:
            if key is not None and not key(name):
                spot = node.spot_of(name)
                faults.add(spot, _at(where, name), expected=expected, found=name, code="unknown_key")
        return {name: read(inner, faults, _at(where, name)) for name, inner in node.entries.items()}

    return reader


def table_of(fields: Mapping[str, Field]) -> Reader:
    return lambda node, faults, where: read_table(node, fields, faults, where)


def when(node: Branch, faults: Faults, where: str) -> Any:
    leaf = _leaf(node, faults, where, FORMS)
    found = read_when(leaf.text) if leaf is not None else None
    return found if leaf is None or found is not None else _wrong(leaf, faults, where, FORMS)


def span(node: Branch, faults: Faults, where: str) -> Any:
    expected = "a length of time such as 0.24 s, -55 min or 2 h"
    leaf = _leaf(node, faults, where, expected)
    found = read_span(leaf.text) if leaf is not None else None
    return found if leaf is None or found is not None else _wrong(leaf, faults, where, expected)


def day(node: Branch, faults: Faults, where: str) -> date | None:
    expected = 'a day in quotes such as "2026-05-05"'
    leaf = _leaf(node, faults, where, expected)
    try:
        if leaf is not None and _DAY.fullmatch(leaf.text):
            return date.fromisoformat(leaf.text)
    except ValueError:
        pass
    return None if leaf is None else _wrong(leaf, faults, where, expected)


def day_text(node: Branch, faults: Faults, where: str) -> str | None:
    found = day(node, faults, where)
    return found.isoformat() if found is not None else None


def checked(fits: Callable[[str], bool], expected: str) -> Reader:
    """A text that has to have some form."""

    def reader(node: Branch, faults: Faults, where: str) -> Any:
        leaf = _leaf(node, faults, where, expected)
        if leaf is not None and not fits(leaf.text):
            return _wrong(leaf, faults, where, expected)
        return None if leaf is None else leaf.text

    return reader


def plain(node: Branch, faults: Faults, where: str) -> Any:
    """Plain data as written: yes and no become true and false, numbers numbers, anything else text."""
    if isinstance(node, Table):
        return {key: plain(inner, faults, _at(where, key)) for key, inner in node.entries.items()}
    if isinstance(node, Listing):
        return [plain(inner, faults, where) for inner in node.items]
    words: Mapping[str, bool] = _WORDS
    return words.get(node.text, node.value) if isinstance(node.value, str) else node.value


_WORDS: Final[Mapping[str, bool]] = {"yes": True, "no": False}


def _leaf(node: Branch, faults: Faults, where: str, expected: str) -> Leaf | None:
    if isinstance(node, Leaf):
        return node
    _wrong(node, faults, where, expected)
    return None


def _wrong(node: Branch, faults: Faults, where: str, expected: str) -> Any:
    shape = "a mapping" if isinstance(node, Table) else "a list"
    found = node.text if isinstance(node, Leaf) else shape
    faults.add(node.spot, where, expected=expected, found=found, code="wrong_value")
    return None


def _at(where: str, key: str) -> str:
    return f"{where}.{key}" if where else key
