"""One byte form for one value: RFC 8785 canonical JSON, and frozen facts to plain data and back."""

import dataclasses
import hashlib
import math
import types
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime
from functools import cache, lru_cache
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
        self.message = message

    def under(self, name: str) -> "PlainError":
        """The same fault as seen from one level further out."""
        inner = self.path if not self.path or self.path.startswith("[") else f".{self.path}"
        return PlainError(f"{name}{inner}", self.message)


def sha256_hex(data: bytes) -> str:
    """SHA-256 (FIPS 180-4) of ``data`` as 64 lower-case hex digits."""
    return hashlib.sha256(data).hexdigest()


def number_text(value: float) -> str:
    """A finite double as ECMAScript writes it (ECMA-262 Number::toString, RFC 8785 section 3.2.2.3)."""
    text = repr(value)
    if "e" not in text and "n" not in text:
        # Between 1e-4 and 1e16 Python and ECMAScript write the same digits, but for a fraction of zero.
        return text.removesuffix(".0") if value else "0"
    if not math.isfinite(value):
        raise CanonicalError("not a number and infinity have no canonical form")
    sign = "-" if value < 0 else ""
    mantissa, _, exponent = text.removeprefix("-").partition("e")
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
    known = at if at.tzinfo is UTC else at.astimezone(UTC)
    return known.isoformat().removesuffix("+00:00") + "Z"


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


Reader = Callable[[object], Any]


def from_plain(cls: type[T], data: object) -> T:
    """Rebuilds ``cls`` (a dataclass, or any type its fields use) from what ``to_plain`` gave.

    Raises:
        PlainError: a field is unknown, missing or of another type than the class declares; a number is not
            finite; an instant or a day is not written as ``to_plain`` writes it.
    """
    kind: Any = cls
    rebuilt: T = _reader(kind)(data)
    return rebuilt


@cache
def _reader(kind: Any) -> Reader:
    """One function per type, made once: a long log is read without asking the type again for each sample."""
    origin = get_origin(kind)
    if origin in (Union, types.UnionType):
        return _union_reader(kind)
    if origin is Literal:
        return _literal_reader(get_args(kind))
    if origin is tuple:
        members = get_args(kind)
        if len(members) == 2 and members[1] is Ellipsis:
            return _list_reader(members[0])
        return _row_reader(members)
    if dataclasses.is_dataclass(kind):
        return _dataclass_reader(kind)
    return _SCALARS.get(kind) or _exact_reader(kind)


def _literal_reader(words: tuple[Any, ...]) -> Reader:
    def read(data: object) -> Any:
        if isinstance(data, str) and data in words:
            return data
        raise PlainError("", f"{data!r} is none of {words}")

    return read


def _union_reader(kind: Any) -> Reader:
    members = [_reader(member) for member in get_args(kind) if member is not type(None)]
    takes_none = type(None) in get_args(kind)

    def read(data: object) -> Any:
        if data is None and takes_none:
            return None
        fault = PlainError("", f"fits none of {kind}")
        for member in members:
            try:
                return member(data)
            except PlainError as error:
                fault = error
        raise fault

    return read


def _list_reader(member: Any) -> Reader:
    one = _reader(member)

    def read(data: object) -> tuple[Any, ...]:
        if not isinstance(data, list | tuple):
            raise PlainError("", "a list is needed")
        try:
            return tuple(map(one, data))
        except PlainError:
            raise _located(data, [one] * len(data)) from None

    return read


def _row_reader(members: tuple[Any, ...]) -> Reader:
    readers = [_reader(member) for member in members]

    def read(data: object) -> tuple[Any, ...]:
        if not isinstance(data, list | tuple):
            raise PlainError("", "a list is needed")
        if len(data) != len(readers):
            raise PlainError("", f"{len(readers)} items are needed")
        try:
            return tuple(one(item) for one, item in zip(readers, data, strict=True))
        except PlainError:
            raise _located(data, readers) from None

    return read


def _located(data: list[Any] | tuple[Any, ...], readers: list[Reader]) -> PlainError:
    """The first item that does not fit: looked for only once one did not."""
    for place, (one, item) in enumerate(zip(readers, data, strict=True)):
        try:
            one(item)
        except PlainError as error:
            return error.under(f"[{place}]")
    raise AssertionError("an item that did not fit fits now")


def _dataclass_reader(kind: Any) -> Reader:
    # Made when first used, not here: a class may hold others of its own kind.
    readers: dict[str, Reader] = {}

    def read(data: object) -> Any:
        if not isinstance(data, Mapping):
            raise PlainError("", f"an object of {kind.__name__} is needed")
        if not readers:
            readers.update({name: _reader(hint) for name, hint in get_type_hints(kind).items()})
        for key in data:
            if key not in readers:
                raise PlainError("", f"{key} is no field of {kind.__name__}")
        try:
            return kind(**{key: _read_field(key, readers[key], item) for key, item in data.items()})
        except TypeError as error:
            raise PlainError("", str(error)) from error

    return read


def _read_field(key: str, reader: Reader, item: object) -> Any:
    try:
        return reader(item)
    except PlainError as error:
        raise error.under(key) from None


def _read_float(data: object) -> float:
    if type(data) is float or type(data) is int:
        try:
            value = float(data)
        except OverflowError:
            value = math.inf
        if math.isfinite(value):
            return value
        raise PlainError("", "a finite number is needed")
    raise PlainError("", f"{type(data).__name__} where float is needed")


def _read_instant(data: object) -> datetime:
    value = read_instant(data) if type(data) is str else None
    if value is None:
        raise PlainError("", "an instant like 2026-05-05T13:40:00Z is needed")
    return value


# Most instants of a record stand in it several times.
@lru_cache(maxsize=4096)
def read_instant(text: str) -> datetime | None:
    """The instant that ``instant_text`` writes as ``text``; None where it writes none so."""
    try:
        value = datetime.fromisoformat(text)
        return value if instant_text(value) == text else None
    except (ValueError, OverflowError):
        return None


def _read_day(data: object) -> date:
    try:
        value = date.fromisoformat(data) if isinstance(data, str) else None
    except ValueError:
        value = None
    if value is None or value.isoformat() != data:
        raise PlainError("", "a day like 2026-05-05 is needed")
    return value


def _exact_reader(kind: Any) -> Reader:
    """bool is a subclass of int: only the exact type is taken."""

    def read(data: object) -> Any:
        if type(data) is kind:
            return data
        raise PlainError("", f"{type(data).__name__} where {getattr(kind, '__name__', kind)} is needed")

    return read


_SCALARS: Final[dict[Any, Reader]] = {float: _read_float, datetime: _read_instant, date: _read_day}
