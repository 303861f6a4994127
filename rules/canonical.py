"""One byte form for one value: RFC 8785 canonical JSON, and frozen facts to plain data and back."""

import dataclasses
import hashlib
import math
import types
from collections.abc import Mapping
from datetime import UTC, date, datetime
from functools import cache
from json.encoder import encode_basestring
from typing import Any, Final, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T")

# RFC 8785 section 3.2.2.3 with RFC 7493 section 2.2: larger whole numbers have no exact double.
MAX_INT: Final = 2**53 - 1
# Deeper data is refused before Python's own recursion limit could cut in (project default).
MAX_DEPTH: Final = 200


class CanonicalError(ValueError):
    """A value that has no canonical form."""


class PlainError(ValueError):
    """Plain data that does not fit the class it is to become; ``path`` names the place."""

    def __init__(self, path: str, message: str) -> None:
        super().__init__(f"{path or 'value'}: {message}")
        self.path = path


def sha256_hex(data: bytes) -> str:
    """SHA-256 (FIPS 180-4) of ``data`` as 64 lower-case hex digits."""
    return hashlib.sha256(data).hexdigest()


def number_text(value: float) -> str:
    """A finite double as ECMAScript writes it (ECMA-262 Number::toString, RFC 8785 section 3.2.2.3)."""
    if not math.isfinite(value):
        raise CanonicalError("not a number and infinity have no canonical form")
    if value == 0:
        return "0"
    sign = "-" if value < 0 else ""
    mantissa, _, exponent = repr(abs(value)).partition("e")
    whole, _, fraction = mantissa.partition(".")
    digits = (whole + fraction).lstrip("0")
    # ``point`` digits stand before the decimal point when the value is written as 0.digits x 10^point.
    leading_zeros = len(whole + fraction) - len(digits)
    point = len(whole) - leading_zeros + int(exponent or 0)
    digits = digits.rstrip("0")
    return sign + _place_point(digits, point)


def _place_point(digits: str, point: int) -> str:
    count = len(digits)
    if count <= point <= 21:
        return digits + "0" * (point - count)
    if 0 < point <= 21:
        return f"{digits[:point]}.{digits[point:]}"
    if -6 < point <= 0:
        return "0." + "0" * -point + digits
    power = point - 1
    head = digits if count == 1 else f"{digits[0]}.{digits[1:]}"
    return f"{head}e{'+' if power > 0 else '-'}{abs(power)}"


def _string_text(value: str) -> str:
    try:
        value.encode("utf-8")
    except UnicodeEncodeError as error:
        raise CanonicalError("a lone surrogate has no canonical form") from error
    # The standard encoder escapes exactly what RFC 8785 section 3.2.2.2 asks for, in lower-case hex.
    return encode_basestring(value)


def _key_order(key: str) -> bytes:
    """Keys sort by UTF-16 code units (RFC 8785 section 3.2.3)."""
    try:
        return key.encode("utf-16-be")
    except UnicodeEncodeError as error:
        raise CanonicalError("a lone surrogate has no canonical form") from error


def _write_mapping(value: Mapping[Any, Any], out: list[str], depth: int) -> None:
    for key in value:
        if not isinstance(key, str):
            raise CanonicalError(f"an object key must be text, not {type(key).__name__}")
    out.append("{")
    for place, key in enumerate(sorted(value, key=_key_order)):
        out.append("," if place else "")
        out.append(_string_text(key))
        out.append(":")
        _write(value[key], out, depth + 1)
    out.append("}")


def _write_scalar(value: object) -> str:
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _string_text(value)
    if isinstance(value, int):
        if abs(value) > MAX_INT:
            raise CanonicalError("a whole number beyond 2^53 - 1 has no canonical form")
        return str(value)
    if isinstance(value, float):
        return number_text(value)
    raise CanonicalError(f"{type(value).__name__} has no canonical form")


def _write(value: object, out: list[str], depth: int) -> None:
    if depth > MAX_DEPTH:
        raise CanonicalError(f"nested deeper than {MAX_DEPTH}")
    if isinstance(value, Mapping):
        _write_mapping(value, out, depth)
    elif isinstance(value, list | tuple):
        out.append("[")
        for place, item in enumerate(value):
            out.append("," if place else "")
            _write(item, out, depth + 1)
        out.append("]")
    else:
        out.append(_write_scalar(value))


def canonical_bytes(value: object) -> bytes:
    """RFC 8785 canonical JSON of plain data: None, bool, int, float, str, lists, mappings with text keys.

    Raises:
        CanonicalError: not a number, infinity, whole numbers beyond 2^53 - 1, lone surrogates, keys that are
            not text, other types, nesting deeper than ``MAX_DEPTH``.
    """
    out: list[str] = []
    _write(value, out, 0)
    return "".join(out).encode("utf-8")


def instant_text(at: datetime) -> str:
    """An aware instant as RFC 3339 in UTC with ``Z``; the fraction is left out where it is zero."""
    if at.tzinfo is None or at.utcoffset() is None:
        raise CanonicalError("an instant without an offset has no canonical form")
    return at.astimezone(UTC).replace(tzinfo=None).isoformat() + "Z"


def to_plain(value: object) -> Any:
    """Dataclasses to dicts, tuples to lists, instants to RFC 3339 with ``Z``, local days to ISO; recursive.

    Sets are refused: they have no order.
    """
    if value is None or isinstance(value, str | int | float):
        return value
    if isinstance(value, list | tuple):
        return [to_plain(item) for item in value]
    if isinstance(value, datetime):
        return instant_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {key: to_plain(item) for key, item in value.items()}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {name: to_plain(getattr(value, name)) for name in _field_names(type(value))}
    raise CanonicalError(f"{type(value).__name__} has no plain form")


@cache
def _field_names(cls: type) -> tuple[str, ...]:
    return tuple(field.name for field in dataclasses.fields(cls))


@cache
def _field_types(cls: type) -> dict[str, Any]:
    return get_type_hints(cls)


def from_plain(cls: type[T], data: object) -> T:
    """Rebuilds ``cls`` (a dataclass, or any type its fields use) from what ``to_plain`` gave.

    Raises:
        PlainError: a field is unknown, missing or of another type than the class declares.
    """
    rebuilt: T = _build(cls, data, "")
    return rebuilt


def _build(kind: Any, data: object, path: str) -> Any:
    origin = get_origin(kind)
    if origin in (Union, types.UnionType):
        return _build_union(kind, data, path)
    if origin is Literal:
        if data in get_args(kind):
            return data
        raise PlainError(path, f"{data!r} is none of {get_args(kind)}")
    if origin is tuple:
        return _build_tuple(get_args(kind), data, path)
    if dataclasses.is_dataclass(kind):
        return _build_dataclass(kind, data, path)
    return _build_scalar(kind, data, path)


def _build_union(kind: Any, data: object, path: str) -> Any:
    members = get_args(kind)
    if data is None and type(None) in members:
        return None
    fault = PlainError(path, f"fits none of {kind}")
    for member in members:
        if member is not type(None):
            try:
                return _build(member, data, path)
            except PlainError as error:
                fault = error
    raise fault


def _build_tuple(members: tuple[Any, ...], data: object, path: str) -> tuple[Any, ...]:
    if not isinstance(data, list | tuple):
        raise PlainError(path, "a list is needed")
    if len(members) == 2 and members[1] is Ellipsis:
        return tuple(_build(members[0], item, f"{path}[{place}]") for place, item in enumerate(data))
    if len(members) != len(data):
        raise PlainError(path, f"{len(members)} items are needed")
    pairs = zip(members, data, strict=True)
    return tuple(_build(member, item, f"{path}[{place}]") for place, (member, item) in enumerate(pairs))


def _build_dataclass(kind: Any, data: object, path: str) -> Any:
    if not isinstance(data, Mapping):
        raise PlainError(path, f"an object of {kind.__name__} is needed")
    hints = _field_types(kind)
    for key in data:
        if key not in hints:
            raise PlainError(path, f"{key} is no field of {kind.__name__}")
    built = {key: _build(hints[key], item, f"{path}.{key}" if path else key) for key, item in data.items()}
    try:
        return kind(**built)
    except TypeError as error:
        raise PlainError(path, str(error)) from error


def _build_scalar(kind: Any, data: object, path: str) -> Any:
    if kind in (datetime, date) and isinstance(data, str):
        try:
            return kind.fromisoformat(data)
        except ValueError as error:
            raise PlainError(path, str(error)) from error
    if kind is float and isinstance(data, int) and not isinstance(data, bool):
        return float(data)
    # bool is a subclass of int, datetime of date: only the exact type is taken.
    if isinstance(kind, type) and type(data) is kind:
        return data
    raise PlainError(path, f"{type(data).__name__} where {getattr(kind, '__name__', kind)} is needed")
