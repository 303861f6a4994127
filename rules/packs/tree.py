"""A pack text as a tree of nodes with line numbers, and the typed ways of reading one mapping of it."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from rules.packs.errors import FaultList, did_you_mean, one_of
from rules.vocabulary import OPERATIONS, is_operation_name

Plain = str | int | float | bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Scalar:
    """``value`` is a word, a number, or true/false; yes, no, on, off, y and n are words."""

    line: int
    value: Plain
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Seq:
    line: int
    items: tuple["Node", ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    key: str
    line: int
    node: "Node"


@dataclass(frozen=True, slots=True, kw_only=True)
class Map:
    line: int
    entries: tuple[Entry, ...]

    def get(self, key: str) -> "Node | None":
        return next((entry.node for entry in self.entries if entry.key == key), None)


Node = Scalar | Seq | Map
_NUMBER = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


class Section:
    """One mapping of the text, read key by key; what does not fit becomes a fault with its line."""

    def __init__(self, node: Map, faults: FaultList, where: str) -> None:
        self.node = node
        self.faults = faults
        self.where = where

    @property
    def line(self) -> int:
        return self.node.line

    def fault(self, key: str, code: str, message: str, *, expected: str = "", found: str = "") -> None:
        """A fault at ``key``; what was found there is shown where the caller does not say it."""
        node = self.node.get(key)
        shown = found or (node.text if isinstance(node, Scalar) else "")
        self.faults.add(self.line_of(key), code, f"{self.where}: {message}", expected=expected, found=shown)

    def line_of(self, key: str) -> int:
        return next((entry.line for entry in self.node.entries if entry.key == key), self.node.line)

    def only(self, *known: str) -> None:
        """Every other key is a fault."""
        for entry in self.node.entries:
            if entry.key not in known:
                hint = did_you_mean(entry.key, known)
                message = f'{self.where}: "{entry.key}" is not a key here{hint}'
                self.faults.add(entry.line, "unknown_key", message, expected=one_of(known), found=entry.key)

    def has(self, key: str) -> bool:
        return self.node.get(key) is not None

    def text(self, key: str, default: str | None = None) -> str:
        """A text or word; numbers and true/false are refused."""
        node = self._scalar(key, required=default is None)
        if node is None:
            return default or ""
        if not isinstance(node.value, str):
            self.fault(key, "wrong_type", f'"{key}" must be text; put {node.text} in quotes', expected="text")
            return default or ""
        if not node.value.strip():
            self.fault(key, "empty_value", f'"{key}" is empty')
        return node.value

    def choice(self, key: str, allowed: tuple[str, ...], default: str | None = None) -> str:
        """One of the ``allowed`` words."""
        node = self._scalar(key, required=default is None)
        if node is None:
            return default or ""
        if node.text not in allowed or not isinstance(node.value, str):
            self._unknown_word(key, node.text, allowed, node.line)
            return default or ""
        return node.text

    def yes_no(self, key: str, default: bool = False) -> bool:
        """The word yes or no; true and false are refused, so that one spelling stands for one thing."""
        node = self._scalar(key, required=False)
        if node is None:
            return default
        if node.value not in ("yes", "no") or isinstance(node.value, bool):
            self.fault(key, "yes_or_no", f'"{key}" must be yes or no, not {node.text}', expected="yes or no")
            return default
        return node.value == "yes"

    def truth(self, key: str, *, required: bool = True) -> bool | None:
        """The boolean true or false; the words yes and no are refused."""
        node = self._scalar(key, required=required)
        if node is None:
            return None
        if not isinstance(node.value, bool):
            self.fault(
                key,
                "true_or_false",
                f'"{key}" must be true or false, not {node.text}',
                expected="true or false",
            )
            return None
        return node.value

    def integer(self, key: str, lowest: int, highest: int) -> int:
        """A whole number within bounds."""
        node = self._scalar(key, required=True)
        if node is None:
            return lowest
        wanted = f"a whole number from {lowest} to {highest}"
        if isinstance(node.value, bool) or not isinstance(node.value, int):
            self._no_number(key, node, "a whole number", wanted)
            return lowest
        if not lowest <= node.value <= highest:
            self.fault(
                key, "out_of_range", f'"{key}" must lie between {lowest} and {highest}', expected=wanted
            )
            return lowest
        return node.value

    def _no_number(self, key: str, node: Scalar, kind: str, wanted: str) -> None:
        quoted = isinstance(node.value, str) and _NUMBER.fullmatch(node.text) is not None
        words = f"without quotes: {node.text}" if quoted else f"not {node.text}"
        self.fault(key, "wrong_type", f'"{key}" must be {kind}, {words}', expected=wanted)

    def number(self, key: str, lowest: float, highest: float) -> float:
        """A plain number within bounds."""
        node = self._scalar(key, required=True)
        if node is None:
            return lowest
        wanted = f"a number from {lowest:g} to {highest:g}"
        if isinstance(node.value, bool) or not isinstance(node.value, int | float):
            self._no_number(key, node, "a number", wanted)
            return lowest
        if not lowest <= node.value <= highest:
            self.fault(
                key, "out_of_range", f'"{key}" must lie between {lowest} and {highest}', expected=wanted
            )
            return lowest
        return float(node.value)

    def date(self, key: str, *, required: bool = True) -> date | None:
        """A quoted date, "2026-03-01"."""
        node = self._scalar(key, required=required)
        if node is None:
            return None
        text = node.value if isinstance(node.value, str) else ""
        try:
            if _DATE.fullmatch(text):
                return date.fromisoformat(text)
        except ValueError:
            pass
        self.fault(
            key,
            "date_invalid",
            f'"{key}" must be a date in quotes, as in "2026-03-01"',
            expected="a day that exists, in quotes",
        )
        return None

    def words(
        self, key: str, allowed: tuple[str, ...] | None = None, *, required: bool = True
    ) -> tuple[str, ...]:
        """A list of words, each once; ``allowed`` None takes any."""
        node = self._node(key, required=required)
        if node is None:
            return ()
        if not isinstance(node, Seq):
            self.fault(key, "wrong_type", f'"{key}" must be a list, as in [a, b]', expected="a list of words")
            return ()
        return self.word_items(key, node, (lambda _word: True) if allowed is None else allowed)

    def word_items(
        self, key: str, node: Seq, allowed: tuple[str, ...] | Callable[[str], bool]
    ) -> tuple[str, ...]:
        """The words of a list node; words that are not allowed or stand twice are faults."""
        found: list[str] = []
        if not node.items:
            self.faults.add(node.line, "empty_value", f'{self.where}: "{key}" is an empty list')
        for item in node.items:
            if not isinstance(item, Scalar) or not isinstance(item.value, str):
                words = f'{self.where}: "{key}" takes words only'
                self.faults.add(item.line, "wrong_type", words, expected="a word")
            elif item.value in found:
                words = f'{self.where}: "{item.value}" stands twice'
                self.faults.add(item.line, "duplicate_word", words, found=item.value)
            elif not (allowed(item.value) if callable(allowed) else item.value in allowed):
                self._unknown_word(key, item.value, _known_words(allowed), item.line)
            else:
                found.append(item.value)
        return tuple(found)

    def section(self, key: str, where: str = "", *, required: bool = True) -> "Section | None":
        """The mapping under ``key``."""
        node = self._node(key, required=required)
        if node is None:
            return None
        if not isinstance(node, Map):
            self.fault(
                key, "wrong_type", f'"{key}" must be a mapping, as in {{a: b}}', expected="keys with values"
            )
            return None
        return Section(node, self.faults, where or f"{self.where}, {key}")

    def sections(self, key: str, *, required: bool = True) -> tuple["Section", ...]:
        """The mappings of the list under ``key``; each is named by its id or its place."""
        node = self._node(key, required=required)
        if node is None:
            return ()
        if not isinstance(node, Seq):
            self.fault(key, "wrong_type", f'"{key}" must be a list', expected="a list")
            return ()
        return sections_of(node, self.faults, key, within="" if self.where == "pack" else self.where)

    def _node(self, key: str, *, required: bool) -> Node | None:
        node = self.node.get(key)
        if node is None and required:
            self.faults.add(
                self.line,
                "missing_key",
                f'{self.where}: "{key}" is missing',
                expected=f"{key}: with its value",
                found=f'no key "{key}"',
            )
        return node

    def _scalar(self, key: str, *, required: bool) -> Scalar | None:
        node = self._node(key, required=required)
        if node is None or isinstance(node, Scalar):
            return node
        self.fault(key, "wrong_type", f'"{key}" must be a single value', expected="one word, text or number")
        return None

    def _unknown_word(self, key: str, word: str, allowed: tuple[str, ...], line: int) -> None:
        hint = did_you_mean(word, allowed)
        self.faults.add(
            line,
            "unknown_word",
            f'{self.where}: "{word}" is not known as "{key}"{hint}',
            expected=one_of(allowed),
            found=word,
        )


def _known_words(allowed: tuple[str, ...] | Callable[[str], bool]) -> tuple[str, ...]:
    """The words to offer where one is not known; of an open list none."""
    if not callable(allowed):
        return allowed
    return OPERATIONS if allowed is is_operation_name else ()


def unknown_operation(section: Section, key: str, name: str) -> None:
    """The fault of a name that is no operation, with the nearest one."""
    section.fault(
        key,
        "unknown_word",
        f'"{name}" is not an operation{did_you_mean(name, OPERATIONS)}',
        expected=one_of(OPERATIONS),
        found=name,
    )


def sections_of(node: Seq, faults: FaultList, key: str, *, within: str = "") -> tuple[Section, ...]:
    """The mappings of a list, named by what they stand ``within``; anything else in it is a fault."""
    found = []
    for place, item in enumerate(node.items, start=1):
        if isinstance(item, Map):
            name = item.get("id")
            shown = name.text if isinstance(name, Scalar) else f"{key} {place}"
            found.append(Section(item, faults, f"{within}, {shown}" if within else shown))
        else:
            words = f'"{key}" takes mappings only'
            faults.add(item.line, "wrong_type", words, expected="keys with values, as in {id: a}")
    return tuple(found)
