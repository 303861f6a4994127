"""Reading the arguments of one proof by the specification of its check."""

import re
from typing import Final

from rules.packs.check_library import CHECKS, LAMP_STATE_WORDS, ArgumentSpec
from rules.packs.conditions import is_trouble_code
from rules.packs.model import Argument
from rules.packs.tree import Map, Section
from rules.quantities import Limit, QuantityError, parse_limit, parse_quantity
from rules.vocabulary import OWN_NAME_PREFIX, QUANTITY_UNITS

SECONDS_PER_DAY: Final = 86_400.0
MAX_COUNT: Final = 100
_PLAIN_NAME = re.compile(r"[a-z][a-z0-9_]*")


def read_arguments(check: str, section: Section) -> dict[str, Argument]:
    """The arguments of ``check`` as values; what is missing, unknown or in the wrong unit is a fault."""
    spec = CHECKS[check]
    found: dict[str, Argument] = {}
    for key, argument in spec.arguments.items():
        if not section.has(key):
            if argument.required:
                section.fault(key, "missing_key", f'check {check} needs "{key}"')
            continue
        value = _read(key, argument, section)
        if value is not None:
            found[key] = value
    for choices in spec.needs_one:
        if not any(section.has(key) for key in choices):
            section.fault(choices[0], "missing_key", f"check {check} needs {' or '.join(choices)}")
    return found


def read_seconds(section: Section, key: str) -> float | None:
    """A bare time in seconds; days are taken as 24 hours."""
    spec = ArgumentSpec(kind="quantity", unit="s")
    value = _quantity(key, spec, section) if section.has(key) else None
    return value if isinstance(value, float) else None


def _read(key: str, spec: ArgumentSpec, section: Section) -> Argument | None:
    return _READERS[spec.kind](key, spec, section)


def _limit(key: str, spec: ArgumentSpec, section: Section) -> Argument | None:
    text = section.text(key)
    if not text.strip():
        return None
    try:
        limit = parse_limit(text)
    except QuantityError as error:
        section.fault(key, error.code, f"{key}: {error}")
        return None
    if limit.placard_half_width is not None and not spec.placard:
        section.fault(key, "placard_misplaced", "placard is for tire pressures only")
        return None
    return limit if _unit_fits(key, limit, spec, section) else None


def _unit_fits(key: str, limit: Limit, spec: ArgumentSpec, section: Section) -> bool:
    unit = spec.unit or QUANTITY_UNITS.get(section.text("of", " "), "")
    if unit in ("", limit.unit):
        return True
    section.fault(key, "unit_does_not_fit", f'"{key}" is judged in {unit}, "{limit.text}" is not')
    return False


def _quantity(key: str, spec: ArgumentSpec, section: Section) -> Argument | None:
    text = section.text(key)
    if not text.strip():
        return None
    try:
        value, unit = parse_quantity(text)
    except QuantityError as error:
        section.fault(key, error.code, f"{key}: {error}")
        return None
    if unit == "days" and spec.unit == "s":
        value, unit = value * SECONDS_PER_DAY, "s"
    if unit != spec.unit:
        section.fault(key, "unit_does_not_fit", f'"{key}" is judged in {spec.unit}, "{text}" is not')
        return None
    if value < 0:
        section.fault(key, "out_of_range", f'"{key}" cannot be negative')
        return None
    return value


def _count(key: str, _spec: ArgumentSpec, section: Section) -> Argument | None:
    return section.integer(key, 1, MAX_COUNT)


def _word(key: str, spec: ArgumentSpec, section: Section) -> Argument | None:
    if not spec.allowed or spec.own_names:
        word = section.text(key)
        if word in spec.allowed or _is_free(word, spec):
            return word
    return section.choice(key, spec.allowed)


def _words(key: str, spec: ArgumentSpec, section: Section) -> Argument | None:
    if spec.allowed and not spec.own_names:
        return section.words(key, spec.allowed)
    node = section.words(key, None)
    known = tuple(word for word in node if word in spec.allowed or _is_free(word, spec))
    if len(known) < len(node):
        section.words(key, spec.allowed + known)
    return known


def _is_free(word: str, spec: ArgumentSpec) -> bool:
    """A place takes any plain name; an open list takes names under the own-name prefix."""
    name = word.removeprefix(OWN_NAME_PREFIX) if spec.own_names else word
    return (not spec.allowed or name != word) and _PLAIN_NAME.fullmatch(name) is not None


def _text(key: str, _spec: ArgumentSpec, section: Section) -> Argument | None:
    return section.text(key)


def _states(key: str, spec: ArgumentSpec, section: Section) -> Argument | None:
    node = section.node.get(key)
    if not isinstance(node, Map) or not node.entries:
        words = f'"{key}" maps lamps to states, as in {{camera_fault: unlit}}'
        section.fault(key, "wrong_type", words, expected="lamps with states")
        return None
    lamps = Section(node, section.faults, f"{section.where}, {key}")
    lamps.only(*spec.allowed)
    pairs = [(entry.key, lamps.choice(entry.key, LAMP_STATE_WORDS)) for entry in node.entries]
    return tuple(pairs)


def _codes(key: str, _spec: ArgumentSpec, section: Section) -> Argument | None:
    codes = section.words(key)
    for code in codes:
        if not is_trouble_code(code):
            section.fault(key, "code_form", f'"{code}" is no trouble code, as in C1A45-54')
    return codes


_READERS = {
    "limit": _limit,
    "quantity": _quantity,
    "count": _count,
    "word": _word,
    "words": _words,
    "text": _text,
    "states": _states,
    "codes": _codes,
}
