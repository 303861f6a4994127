"""Plain data into frozen records, quickly, where every value already has the form in which it is written.

The slow way (``rules.canonical.from_plain``) says what is wrong with a value; this one only that something
is.
"""

import dataclasses
import types
from collections.abc import Callable
from datetime import date, datetime
from functools import cache
from typing import Any, Final, Literal, Union, get_args, get_origin, get_type_hints

from rules.canonical import MAX_INT, read_instant

Quick = Callable[[Any], Any]


class NotQuickError(Exception):
    """Left to the slow way: of another type than declared, or perhaps written otherwise."""


def quick(kind: Any) -> Quick:
    """The function that makes a ``kind`` of plain data, or raises ``NotQuickError``.

    What it makes is written by ``rules.record_bytes`` with the very texts that Python's JSON encoder gives
    for the plain data: every field is there, in canonical order, numbers are of a size that both write
    alike, instants and days are as they are written.
    """
    found: Quick = _quick(kind)
    return found


@cache
def _quick(kind: Any) -> Quick:
    origin = get_origin(kind)
    if origin in (Union, types.UnionType):
        return _of_union(get_args(kind))
    if origin is Literal:
        return _of_words(frozenset(get_args(kind)))
    if origin is tuple:
        members = get_args(kind)
        if len(members) == 2 and members[1] is Ellipsis:
            return _of_list(members[0])
        return _of_row(members)
    if dataclasses.is_dataclass(kind):
        return _of_record(kind)
    return _OF_SCALAR.get(kind, _never)


def _never(_data: Any) -> Any:
    raise NotQuickError


def _text(data: Any) -> Any:
    if type(data) is str:
        return data
    raise NotQuickError


def _truth(data: Any) -> Any:
    if type(data) is bool:
        return data
    raise NotQuickError


def _whole(data: Any) -> Any:
    if type(data) is int and -MAX_INT <= data <= MAX_INT:
        return data
    raise NotQuickError


def _number(data: Any) -> Any:
    if type(data) is float:
        # Smaller, larger and whole ones have another text in RFC 8785 than Python gives them.
        if (1e-4 <= data < 1e15 or -1e15 < data <= -1e-4) and not data.is_integer():
            return data
    elif type(data) is int and -1_000_000_000_000_000 < data < 1_000_000_000_000_000:
        return float(data)
    raise NotQuickError


def _instant(data: Any) -> Any:
    found = read_instant(data) if type(data) is str else None
    if found is None:
        raise NotQuickError
    return found


def _day(data: Any) -> Any:
    if type(data) is str:
        try:
            found = date.fromisoformat(data)
        except ValueError:
            raise NotQuickError from None
        if found.isoformat() == data:
            return found
    raise NotQuickError


_OF_SCALAR: Final[dict[Any, Quick]] = {
    str: _text,
    bool: _truth,
    int: _whole,
    float: _number,
    datetime: _instant,
    date: _day,
}


def _of_words(words: frozenset[Any]) -> Quick:
    def read(data: Any) -> Any:
        if type(data) is str and data in words:
            return data
        raise NotQuickError

    return read


def _of_union(members: tuple[Any, ...]) -> Quick:
    """One kind or nothing; of several kinds the first that fits is the slow way's to find."""
    others = [member for member in members if member is not type(None)]
    if len(others) != 1 or len(members) != 2:
        return _never
    inner = _quick(others[0])
    return lambda data: None if data is None else inner(data)


def _of_list(member: Any) -> Quick:
    inner = _quick(member)

    def read(data: Any) -> Any:
        if type(data) is not list:
            raise NotQuickError
        return tuple(map(inner, data)) if data else ()

    return read


def _of_row(members: tuple[Any, ...]) -> Quick:
    inner = tuple(_quick(member) for member in members)
    count = len(inner)

    def read(data: Any) -> Any:
        if type(data) is not list or len(data) != count:
            raise NotQuickError
        return tuple([one(item) for one, item in zip(inner, data, strict=True)])

    return read


def _of_record(kind: Any) -> Quick:
    # Made when first used: a class may hold others of its own kind.
    made: list[Quick] = []

    def read(data: Any) -> Any:
        if not made:
            made.append(_maker(kind))
        return made[0](data)

    return read


def _maker(kind: Any) -> Quick:
    hints = get_type_hints(kind)
    fields = sorted(dataclasses.fields(kind), key=lambda field: field.name)
    if hasattr(kind, "__post_init__") or not all(field.init for field in fields):
        return _never
    names = tuple(field.name for field in fields)
    inner = tuple((_PASSING.get(hints[name], _NOTHING_PASSES), _quick(hints[name])) for name in names)
    # A record has no other values than its fields, so that setting these is all that its own making does.
    setters = tuple(getattr(kind, name).__set__ for name in names)
    plans: dict[tuple[type, ...], tuple[tuple[int, Quick], ...]] = {}

    def read(data: Any) -> Any:
        if type(data) is not dict or tuple(data) != names:
            raise NotQuickError
        values = list(data.values())
        held = tuple(map(type, values))
        plan = plans.get(held)
        if plan is None:
            # Few combinations of types occur: there are seven types in JSON, and each field takes one or two.
            plan = _plan(held, inner)
            if len(plans) < _KEPT_PLANS:
                plans[held] = plan
        for place, one in plan:
            values[place] = one(values[place])
        made = object.__new__(kind)
        for put, value in zip(setters, values, strict=True):
            put(made, value)
        return made

    return read


def _plan(
    held: tuple[type, ...], inner: tuple[tuple[frozenset[type], Quick], ...]
) -> tuple[tuple[int, Quick], ...]:
    """Which values of such types have to be looked at, and by what; texts, truths and nothing pass."""
    return tuple(
        (place, one)
        for place, (kind, (passing, one)) in enumerate(zip(held, inner, strict=True))
        if kind not in passing
    )


_KEPT_PLANS: Final = 256
_NOTHING_PASSES: Final[frozenset[type]] = frozenset()
_PASSING: Final[dict[Any, frozenset[type]]] = {
    str: frozenset({str}),
    bool: frozenset({bool}),
    str | None: frozenset({str, type(None)}),
    bool | None: frozenset({bool, type(None)}),
    int | None: frozenset({type(None)}),
    float | None: frozenset({type(None)}),
    datetime | None: frozenset({type(None)}),
}
