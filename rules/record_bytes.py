"""The canonical bytes of frozen records in one walk: what hashes of facts and judgements are taken of."""

import dataclasses
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import cache, lru_cache
from json.encoder import encode_basestring
from operator import attrgetter
from typing import Any, Final

from rules.canonical import (
    MAX_DEPTH,
    MAX_INT,
    CanonicalError,
    canonical_bytes,
    instant_text,
    number_text,
    sha256_hex,
    to_plain,
)
from rules.facts.remembering import Remembers, worked_out

_HASH: Final = "sha256 of the record's bytes"


def record_bytes(value: object) -> bytes:
    """``canonical_bytes(to_plain(value))`` without the plain data in between: the same bytes, sooner.

    Raises:
        CanonicalError: as those two do.
    """
    try:
        return _text(value, 0).encode("utf-8")
    except UnicodeEncodeError as error:
        raise CanonicalError("a lone surrogate has no canonical form") from error


def record_sha256(snapshot: Remembers) -> str:
    """SHA-256 of the record's bytes in hex; computed once for a snapshot."""
    kept = worked_out(snapshot)
    if _HASH not in kept:
        kept[_HASH] = sha256_hex(record_bytes(snapshot))
    found: str = kept[_HASH]
    return found


def hash_is_known(snapshot: Remembers, sha256: str) -> None:
    """Say the hash of a snapshot that was read from its very bytes."""
    worked_out(snapshot)[_HASH] = sha256


def _text(value: Any, depth: int) -> str:
    write = _writer_of(type(value))
    if write is not None:
        return write(value)
    if depth > MAX_DEPTH:
        raise CanonicalError(f"nested deeper than {MAX_DEPTH}")
    if isinstance(value, list | tuple):
        writers = {_WRITERS.get(kind) for kind in {type(item) for item in value}}
        if len(writers) == 1 and (one := writers.pop()) is not None:
            return "[" + ",".join(map(one, value)) + "]"
        return "[" + ",".join([_text(item, depth + 1) for item in value]) + "]"
    cls: Any = type(value)
    form = _form(cls)
    if form is None:
        return canonical_bytes(to_plain(value)).decode("utf-8")
    names, held, plans = form
    values = held(value)
    kinds = tuple(map(type, values))
    plan = plans.get(kinds)
    if plan is None:
        plan = _plan(names, kinds)
        if len(plans) < _KEPT_PLANS:
            plans[kinds] = plan
    template, gaps = plan
    below = depth + 1
    return template % tuple(
        [write(values[place]) if write is not None else _text(values[place], below) for place, write in gaps]
    )


# The object with a gap for each value but nulls, and where these values stand with what writes them. One plan
# for each combination of the types of a class's values: few occur.
_Plan = tuple[str, tuple[tuple[int, Callable[[Any], str] | None], ...]]
_Form = tuple[tuple[str, ...], Callable[[Any], tuple[Any, ...]], dict[tuple[type, ...], _Plan]]
_NONE: Final = type(None)
_KEPT_PLANS: Final = 256


@cache
def _form(cls: Any) -> _Form | None:
    """What gives the values of a class in canonical order, and its plans."""
    if not dataclasses.is_dataclass(cls):
        return None
    # Field names are ASCII, so that the order of characters is that of UTF-16 code units.
    names = sorted(field.name for field in dataclasses.fields(cls))
    if len(names) > 1:
        return tuple(names), attrgetter(*names), {}
    return tuple(names), lambda value: tuple([getattr(value, name) for name in names]), {}


def _plan(names: tuple[str, ...], kinds: tuple[type, ...]) -> _Plan:
    shown = ["null" if kind is _NONE else "%s" for kind in kinds]
    template = ",".join(f'"{name}":{gap}' for name, gap in zip(names, shown, strict=True))
    gaps = tuple((place, _writer_of(kind)) for place, kind in enumerate(kinds) if kind is not _NONE)
    return "{" + template + "}", gaps


def _whole(value: Any) -> str:
    return str(value) if -MAX_INT <= value <= MAX_INT else canonical_bytes(value).decode("utf-8")


# Most instants of a record stand in it several times. Equal instants have one text, whatever their zone.
@lru_cache(maxsize=4096)
def _instant(at: datetime) -> str:
    return f'"{instant_text(at)}"'


# By exact type: a subclass (bool of int, datetime of date) is none of its parents here.
_WRITERS: Final[Mapping[type, Callable[[Any], str]]] = {
    str: encode_basestring,
    float: number_text,
    int: _whole,
    bool: {True: "true", False: "false"}.__getitem__,
    type(None): {None: "null"}.__getitem__,
    datetime: _instant,
}
_writer_of: Final = _WRITERS.get
