"""Reading triggers: when a pack asks for a procedure."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Final

from rules.packs.citations import read_citation
from rules.packs.model import Condition, Source, Trigger
from rules.packs.tree import Map, Node, Scalar, Section, Seq
from rules.scans import normal_code
from rules.vocabulary import MODULE_SYSTEMS, SENSORS, is_operation_name

ANY_SENSOR: Final = "any_sensor"
_CODE_LETTERS: Final = "PCBU"


def read_triggers(pack: Section, sources: dict[str, Source]) -> tuple[Trigger, ...]:
    """Every trigger of the pack; ids are unique."""
    triggers: dict[str, Trigger] = {}
    for section in pack.sections("triggers", required=False):
        trigger = _read_trigger(section, sources)
        if trigger.id in triggers:
            section.fault("id", "duplicate_id", f'a trigger "{trigger.id}" stands here already')
        triggers[trigger.id] = trigger
    return tuple(triggers.values())


def _read_trigger(section: Section, sources: dict[str, Source]) -> Trigger:
    section.only("id", "plain", "when", "calls_for", "before", "cite")
    calls_for, by_model = _read_calls_for(section)
    return Trigger(
        id=section.text("id"),
        plain=section.text("plain"),
        when=_read_when(section),
        calls_for=calls_for,
        by_model=by_model,
        before=section.words("before", required=False),
        cite=read_citation(section, sources),
        line=section.line,
    )


def _read_calls_for(section: Section) -> tuple[str, tuple[tuple[str, str], ...]]:
    if not isinstance(section.node.get("calls_for"), Map):
        return section.text("calls_for"), ()
    inner = section.section("calls_for")
    table = inner.section("by_model") if inner is not None else None
    if inner is None or table is None:
        return "", ()
    inner.only("by_model")
    if not table.node.entries:
        table.fault("by_model", "empty_value", "by_model names no model")
    return "", tuple((entry.key, table.text(entry.key)) for entry in table.node.entries)


def _read_when(section: Section) -> Condition:
    node = section.node.get("when")
    if node is None:
        section.fault("when", "missing_key", '"when" is missing')
        return NEVER
    return read_condition(node, section)


NEVER: Final = Condition(kind="any")


def read_condition(node: Node, section: Section) -> Condition:
    """One condition: a mapping with a single key; several belong under all, any or none."""
    if not isinstance(node, Map) or len(node.entries) != 1:
        section.faults.add(
            node.line, "condition_form", f"{section.where}: a condition has one key; join several under all"
        )
        return NEVER
    here = Section(node, section.faults, f"{section.where}, when")
    key = node.entries[0].key
    here.only(*_READERS)
    reader = _READERS.get(key)
    return reader(_Place(key=key, here=here)) if reader else NEVER


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    key: str
    here: Section

    @property
    def node(self) -> Node:
        return self.here.node.entries[0].node

    def names(self, allowed: tuple[str, ...] | Callable[[str], bool]) -> tuple[str, ...]:
        """One word or a list of words."""
        node = self.node
        seq = node if isinstance(node, Seq) else Seq(line=node.line, items=(node,))
        return self.here.word_items(self.key, seq, allowed)


def _flag(place: _Place) -> Condition:
    if place.here.truth(place.key) is False:
        place.here.fault(
            place.key, "condition_form", f"{place.key}: only true makes sense; use none to negate"
        )
    return Condition(kind=place.key)


def _sensors(place: _Place) -> Condition:
    return Condition(kind=place.key, names=place.names((*SENSORS, ANY_SENSOR)))


def _operations(place: _Place) -> Condition:
    return Condition(kind=place.key, names=place.names(is_operation_name))


def _models(place: _Place) -> Condition:
    return Condition(kind=place.key, names=place.names(bool))


def _code_seen(place: _Place) -> Condition:
    inner = place.here.section(place.key)
    if inner is None:
        return NEVER
    inner.only("module", "codes")
    module = inner.choice("module", (*SENSORS, *MODULE_SYSTEMS))
    codes = inner.words("codes")
    for code in codes:
        if not is_trouble_code(code):
            inner.fault("codes", "code_form", f'"{code}" is no trouble code, as in C1A45-54')
    return Condition(kind=place.key, names=codes, module=module)


def _year(place: _Place) -> Condition:
    years = read_years(place.here, place.key)
    return Condition(kind=place.key, years=years)


def _built(place: _Place) -> Condition:
    inner = place.here.section(place.key)
    if inner is None:
        return NEVER
    inner.only("from", "to")
    first: date | None = inner.date("from", required=False)
    last: date | None = inner.date("to", required=False)
    if first is None and last is None:
        inner.fault("from", "missing_key", "built needs from, to, or both")
    if first is not None and last is not None and first > last:
        inner.fault("from", "range_reversed", "the first date is after the last")
    return Condition(kind=place.key, built=(first, last))


def _joined(place: _Place) -> Condition:
    node = place.node
    if not isinstance(node, Seq) or not node.items:
        place.here.fault(place.key, "condition_form", f"{place.key} takes a list of conditions")
        return NEVER
    parts = tuple(read_condition(item, place.here) for item in node.items)
    return Condition(kind=place.key, parts=parts)


_READERS: Final[dict[str, Callable[[_Place], Condition]]] = {
    "always": _flag,
    "fitted": _sensors,
    "operation": _operations,
    "touched": _sensors,
    "code_seen": _code_seen,
    "no_maker_pack": _flag,
    "model": _models,
    "year": _year,
    "built": _built,
    "all": _joined,
    "any": _joined,
    "none": _joined,
}


def read_years(section: Section, key: str) -> tuple[int, int] | None:
    """Model years [first, last], both included."""
    node = section.node.get(key)
    if not isinstance(node, Seq) or len(node.items) != 2:
        words = f'"{key}" is [first year, last year]'
        section.fault(key, "wrong_type", words, expected="two years, as in [2024, 2027]")
        return None
    first, last = (_year_of(item) for item in node.items)
    if first is None or last is None:
        words = f'"{key}" takes two years between 1980 and 2100'
        section.fault(key, "out_of_range", words, expected="years from 1980 to 2100")
        return None
    if first > last:
        section.fault(key, "range_reversed", "the first year is after the last")
        return None
    return first, last


def _year_of(node: Node) -> int | None:
    value = node.value if isinstance(node, Scalar) else None
    if isinstance(value, int) and not isinstance(value, bool) and 1980 <= value <= 2100:
        return value
    return None


def is_trouble_code(text: str) -> bool:
    """True for five characters of a trouble code, with or without a two-digit failure type (SAE J2012)."""
    code, failure = normal_code(text)
    digits = "0123456789ABCDEF"
    return (
        len(code) == 5
        and code[0] in _CODE_LETTERS
        and code[1] in "0123"
        and all(character in digits for character in code[2:])
        and (failure is None or (len(failure) == 2 and all(character in digits for character in failure)))
    )
