"""Reading a pack text strictly: the one module of the rules that knows YAML."""

import re
from collections.abc import Iterator

import yaml

from rules.packs.edition import build_edition
from rules.packs.errors import FaultList, PackError
from rules.packs.model import PackEdition
from rules.packs.syntax_words import in_plain_words
from rules.packs.tree import Entry, Map, Node, Plain, Scalar, Seq

# Project defaults, no source; far above any pack a person writes, far below what could tire the reader.
MAX_BYTES = 262_144
MAX_DEPTH = 24
MAX_NODES = 40_000
MAX_IN_ONE = 1_000

_INTEGER = re.compile(r"-?(?:0|[1-9][0-9]{0,14})")
_DECIMAL = re.compile(r"-?(?:0|[1-9][0-9]{0,11})\.[0-9]{1,9}")
_DATE_LIKE = re.compile(r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}(?:[Tt ].*)?")
_NOTHING = ("", "~", "null", "Null", "NULL")
_CURLY = tuple("\u201c\u201d\u201e\u2018\u2019\u201a\u00ab\u00bb")
_BOOLEANS = {"true": True, "false": False}


class _UnreadableError(Exception):
    """The text cannot be read further; the fault is already noted."""


def read_pack(data: bytes, *, name: str = "pack") -> PackEdition:
    """Read one edition from the exact bytes of its file.

    Strict where YAML is generous: duplicate and unknown keys, anchors, aliases, tags and unquoted dates are
    faults, and only ``true`` and ``false`` are booleans.

    Raises:
        PackError: with every fault found, each with its line and a stable code.
    """
    faults = FaultList()
    tree = read_mapping(data, faults, name=name)
    edition = build_edition(tree, data, faults)
    if faults.found:
        raise PackError(name, faults.shown_with(_shown(data)))
    return edition


def read_mapping(data: bytes, faults: FaultList, *, name: str) -> Map:
    """The text as a tree that begins with keys; faults that let reading go on are added to ``faults``.

    Raises:
        PackError: with ``unreadable`` set: the text is no YAML that can be read to its end.
    """
    try:
        return _read_tree(data, faults)
    except _UnreadableError:
        raise PackError(name, faults.shown_with(_shown(data)), unreadable=True) from None


def _shown(data: bytes) -> str:
    """The text as far as it serves to show a line of it."""
    return data[:MAX_BYTES].decode("utf-8", errors="replace")


def _read_tree(data: bytes, faults: FaultList) -> Map:
    if len(data) > MAX_BYTES:
        faults.add(1, "too_large", f"the pack is larger than {MAX_BYTES} bytes")
        raise _UnreadableError
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        faults.add(data.count(b"\n", 0, error.start) + 1, "not_utf8", "the text is not UTF-8")
        raise _UnreadableError from None
    tree = _Builder(text, faults).build()
    if not isinstance(tree, Map):
        words = "the text is a mapping that begins with a key, such as pack:"
        faults.add(1, "wrong_type", words, expected="lines of the form key: value")
        raise _UnreadableError
    return tree


class _Builder:
    """Turns YAML events into nodes, without recursion."""

    def __init__(self, text: str, faults: FaultList) -> None:
        self.text = text
        self.faults = faults
        self.stack: list[_Open] = []
        self.root: Node | None = None
        self.count = 0

    def build(self) -> Node | None:
        documents = 0
        for event in self._events():
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                self._check_document(event, documents)
            elif isinstance(event, yaml.NodeEvent):
                self._node(event)
            elif isinstance(event, yaml.SequenceEndEvent | yaml.MappingEndEvent):
                self._close()
        return self.root

    def _events(self) -> Iterator[yaml.Event]:
        line = 0
        try:
            loader = yaml.SafeLoader(self.text)
            while loader.check_event():
                event: yaml.Event = loader.get_event()  # type: ignore[no-untyped-call]
                line = _line(event)
                yield event
        except yaml.reader.ReaderError as error:
            line = self.text.count("\n", 0, error.position)
            self._stop(line, "yaml_syntax", "a character that no text should hold")
        except yaml.MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            self._stop(mark.line if mark else line, "yaml_syntax", in_plain_words(error))
        except (ValueError, OverflowError):
            self._stop(line, "yaml_syntax", "an escape or a number that cannot be read")

    def _stop(self, line: int, code: str, message: str) -> None:
        self.faults.add(line + 1, code, message)
        raise _UnreadableError

    def _check_document(self, event: yaml.DocumentStartEvent, documents: int) -> None:
        line = _line(event)
        if documents > 1:
            self._stop(line, "several_documents", "one file holds one pack; a second document begins here")
        if event.version or event.tags:
            self._stop(line, "directive", "YAML directives are not used in packs")

    def _node(self, event: yaml.NodeEvent) -> None:
        line = _line(event) + 1
        self.count += 1
        if self.count > MAX_NODES:
            self._stop(line - 1, "too_many_values", f"the pack holds more than {MAX_NODES} values")
        if isinstance(event, yaml.AliasEvent):
            self.faults.add(line, "anchor_or_alias", f'"*{event.anchor}" refers elsewhere; write it out')
            self._put(Scalar(line=line, value="", text=""))
            return
        if event.anchor is not None:
            self.faults.add(line, "anchor_or_alias", f'"&{event.anchor}" is an anchor; packs do without')
        tag = getattr(event, "tag", None)
        if tag is not None:
            self.faults.add(line, "tag", f'"{tag}" is a YAML tag; packs do without')
        if isinstance(event, yaml.ScalarEvent):
            self._put(self._scalar(event, line))
            return
        if len(self.stack) >= MAX_DEPTH:
            self._stop(line - 1, "too_deep", f"the text is nested deeper than {MAX_DEPTH} levels")
        self.stack.append(_Open(line=line, is_map=isinstance(event, yaml.MappingStartEvent)))

    def _scalar(self, event: yaml.ScalarEvent, line: int) -> Scalar:
        text: str = event.value
        if any("\ud800" <= character <= "\udfff" for character in text):
            self.faults.add(line, "yaml_syntax", "an escape that is half a character")
        if event.style is not None:
            return Scalar(line=line, value=text, text=text)
        if text in _NOTHING and not self._awaits_key():
            self.faults.add(line, "empty_value", "a value is missing here")
        if text[:1] in _CURLY:
            self.faults.add(line, "curly_quotes", f"these are not the quotes of a pack: {text}", found=text)
        if _DATE_LIKE.fullmatch(text):
            self.faults.add(line, "date_unquoted", f'put the date in quotes: "{text}"')
        return Scalar(line=line, value=_plain(text), text=text)

    def _awaits_key(self) -> bool:
        return bool(self.stack) and self.stack[-1].is_map and self.stack[-1].key is None

    def _close(self) -> None:
        top = self.stack.pop()
        if top.is_map:
            self._put(Map(line=top.line, entries=tuple(top.entries)))
        else:
            self._put(Seq(line=top.line, items=tuple(top.items)))

    def _put(self, node: Node) -> None:
        if not self.stack:
            self.root = node
            return
        top = self.stack[-1]
        if len(top.items) + len(top.entries) >= MAX_IN_ONE:
            words = f"one list or mapping holds more than {MAX_IN_ONE} entries"
            self._stop(node.line - 1, "too_many_values", words)
        if not top.is_map:
            top.items.append(node)
        elif top.key is None:
            self._take_key(top, node)
        else:
            top.entries.append(Entry(key=top.key, line=top.key_line, node=node))
            top.key = None

    def _take_key(self, top: "_Open", node: Node) -> None:
        if isinstance(node, Scalar):
            top.key = node.text
        else:
            self.faults.add(node.line, "key_not_text", "a key must be a single word")
            top.key = f"key on line {node.line}"
        top.key_line = node.line
        first = top.seen.get(top.key)
        if first is not None:
            self.faults.add(node.line, "duplicate_key", f'"{top.key}" was already given on line {first}')
        top.seen.setdefault(top.key, node.line)


class _Open:
    """A list or mapping that is being read."""

    def __init__(self, *, line: int, is_map: bool) -> None:
        self.line = line
        self.is_map = is_map
        self.items: list[Node] = []
        self.entries: list[Entry] = []
        self.seen: dict[str, int] = {}
        self.key: str | None = None
        self.key_line = line


def _plain(text: str) -> Plain:
    if text in _BOOLEANS:
        return _BOOLEANS[text]
    if _INTEGER.fullmatch(text):
        return int(text)
    if _DECIMAL.fullmatch(text):
        return float(text)
    return text


def _line(event: yaml.Event) -> int:
    return event.start_mark.line if event.start_mark is not None else 0
