"""The canonical bytes of frozen records in one walk: what hashes of facts and judgements are taken of."""

import dataclasses
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import cache, lru_cache
from json.encoder import encode_basestring
from typing import Any, Final

from rules.canonical import MAX_DEPTH, CanonicalError, canonical_bytes, instant_text, number_text, to_plain


def record_bytes(value: object) -> bytes:
    """``canonical_bytes(to_plain(value))`` without the plain data in between: the same bytes, sooner.

    Raises:
        CanonicalError: as those two do.
    """
    try:
        return _text(value, 0).encode("utf-8")
    except UnicodeEncodeError as error:
        raise CanonicalError("a lone surrogate has no canonical form") from error


def _text(value: Any, depth: int) -> str:
    write = _WRITERS.get(type(value))
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
    keys = _keys(cls)
    if keys is None:
        return canonical_bytes(to_plain(value)).decode("utf-8")
    parts = []
    for key, name in keys:
        held = getattr(value, name)
        write = _WRITERS.get(type(held))
        parts.append(key + (_text(held, depth + 1) if write is None else write(held)))
    return "{" + ",".join(parts) + "}"


@cache
def _keys(cls: Any) -> tuple[tuple[str, str], ...] | None:
    """The fields of a class, each with its key as written, in canonical order; None where it has none."""
    if not dataclasses.is_dataclass(cls):
        return None
    # Field names are ASCII, so that the order of characters is that of UTF-16 code units.
    return tuple((f'"{name}":', name) for name in sorted(field.name for field in dataclasses.fields(cls)))


def _plain(value: Any) -> str:
    return canonical_bytes(value).decode("utf-8")


# Most instants of a record stand in it several times. Equal instants have one text, whatever their zone.
@lru_cache(maxsize=4096)
def _instant(at: datetime) -> str:
    return f'"{instant_text(at)}"'


# By exact type: a subclass (bool of int, datetime of date) is none of its parents here.
_WRITERS: Final[Mapping[type, Callable[[Any], str]]] = {
    str: encode_basestring,
    float: number_text,
    int: _plain,
    bool: {True: "true", False: "false"}.__getitem__,
    type(None): {None: "null"}.__getitem__,
    datetime: _instant,
}
