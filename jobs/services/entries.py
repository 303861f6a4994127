"""Plain data from outside into the entry dataclasses that services take: strictly, with the field's
path in errors."""

import types
import typing
from collections.abc import Hashable, Mapping
from dataclasses import MISSING, Field, fields, is_dataclass
from functools import cache
from typing import Any, Final, TypeVar, cast
from uuid import UUID

from jobs.errors import Refused

EntryT = TypeVar("EntryT")
# Lists longer than this are no honest entry and would only cost time (project default).
LONGEST_LIST: Final = 5000


def build_entry(cls: type[EntryT], plain: Mapping[str, object], *, path: str = "") -> EntryT:
    """Builds one entry from parsed JSON.

    Raises:
        Refused: ``unknown_field``, ``missing_field``, ``wrong_type`` or ``list_too_long``, with ``field``.
    """
    if not isinstance(plain, Mapping):
        raise _refused("wrong_type", path or "body", "must be an object")
    known = {field.name: field for field in fields(cast(Any, cls))}
    for name in sorted(map(str, plain)):
        if name not in known:
            raise _refused("unknown_field", _join(path, name), "is not a field of this record")
    values = {
        name: _value(_hints(cls)[name], plain[name], _join(path, name)) for name in known if name in plain
    }
    for name, field in known.items():
        if name not in values and not _has_default(field):
            raise _refused("missing_field", _join(path, name), "is missing")
    return cls(**values)


def _refused(code: str, field: str, rest: str) -> Refused:
    return Refused(code, f"{field} {rest}.", field=field)


def _join(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name


def _has_default(field: "Field[Any]") -> bool:
    return field.default is not MISSING or field.default_factory is not MISSING


@cache
def _hints_by_name(cls: Hashable) -> dict[str, Any]:
    return typing.get_type_hints(cls)


def _hints(cls: Any) -> dict[str, Any]:
    return _hints_by_name(cls)


def _value(hint: Any, raw: object, path: str) -> object:
    origin = typing.get_origin(hint)
    if origin in (types.UnionType, typing.Union):
        if raw is None:
            return None
        (inner,) = (part for part in typing.get_args(hint) if part is not type(None))
        return _value(inner, raw, path)
    if origin is tuple:
        return _items(typing.get_args(hint)[0], raw, path)
    if origin in (dict, Mapping):
        return _pairs(raw, path)
    return _nested(hint, raw, path) if is_dataclass(hint) else _plain(hint, raw, path)


def _nested(hint: Any, raw: object, path: str) -> object:
    if isinstance(raw, cast(type, hint)):
        return raw
    return build_entry(cast(type[object], hint), cast(Mapping[str, object], raw), path=path)


def _items(hint: Any, raw: object, path: str) -> tuple[object, ...]:
    if not isinstance(raw, list | tuple):
        raise _refused("wrong_type", path, "must be a list")
    if len(raw) > LONGEST_LIST:
        raise _refused("list_too_long", path, f"has more than {LONGEST_LIST} entries")
    return tuple(_value(hint, item, f"{path}[{place}]") for place, item in enumerate(raw))


def _pairs(raw: object, path: str) -> dict[str, str]:
    if not isinstance(raw, Mapping):
        raise _refused("wrong_type", path, "must be an object")
    if not all(isinstance(key, str) and isinstance(value, str) for key, value in raw.items()):
        raise _refused("wrong_type", path, "must map words to words")
    return dict(raw)


def _plain(hint: Any, raw: object, path: str) -> object:
    if hint is UUID:
        return raw if isinstance(raw, UUID) else _uuid(raw, path)
    if hint is int and (isinstance(raw, bool) or not isinstance(raw, int)):
        raise _refused("wrong_type", path, "must be a whole number")
    if hint is str and isinstance(raw, str) and "\x00" in raw:
        raise _refused("wrong_type", path, "must not contain a null character")
    if not isinstance(raw, hint):
        word = {str: "text", bool: "true or false"}.get(hint, "of another type")
        raise _refused("wrong_type", path, f"must be {word}")
    return raw


def _uuid(raw: object, path: str) -> UUID:
    try:
        return UUID(raw) if isinstance(raw, str) and len(raw) == 36 else _no_uuid(path)
    except ValueError:
        return _no_uuid(path)


def _no_uuid(path: str) -> UUID:
    raise _refused("wrong_type", path, "must be a UUID like 123e4567-e89b-42d3-a456-426614174000")
