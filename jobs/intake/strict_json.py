"""Reading JSON (RFC 8259) from outside: what two readers could take differently is refused."""

import json
import math
import re
from typing import Final, NoReturn

from jobs.errors import Refused

MAX_DEPTH: Final = 32
# Beyond this, readers that keep numbers as doubles lose digits (RFC 7493, section 2.2).
MAX_INTEGER: Final = 2**53 - 1
_STRINGS: Final = re.compile(rb'"(?:[^"\\]++|\\.)*+"?', re.DOTALL)
_BRACKETS: Final = re.compile(rb"[\[\]{}]")


def parse_strict(data: bytes, *, max_bytes: int, max_depth: int = MAX_DEPTH) -> object:
    """The value that ``data`` holds, as dict, list, str, int, float, bool or None.

    Args:
        data: UTF-8 without byte order mark.
        max_bytes: longest accepted input.
        max_depth: most objects and arrays open at once.

    Raises:
        Refused: ``too_large``, ``parse_error``, ``too_deep``, ``duplicate_key``, ``number_not_finite``,
            ``number_too_big`` (integers beyond 2^53 - 1), ``lone_surrogate`` or ``nul_character``.
    """
    if len(data) > max_bytes:
        raise Refused("too_large", f"The JSON text is longer than {max_bytes} bytes.", max_bytes=max_bytes)
    _check_depth(data, max_depth)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise Refused("parse_error", f"The JSON text is not UTF-8 at byte {error.start}.") from None
    try:
        value: object = json.loads(
            text,
            object_pairs_hook=_object,
            parse_constant=_constant,
            parse_float=_float,
            parse_int=_integer,
        )
    except json.JSONDecodeError as error:
        raise Refused(
            "parse_error",
            f"The JSON text cannot be read at line {error.lineno}, column {error.colno}: {error.msg}.",
            line=error.lineno,
            column=error.colno,
        ) from None
    _check_texts(value)
    return value


def _check_depth(data: bytes, max_depth: int) -> None:
    """Counts brackets outside strings before any parser recurses into them."""
    depth = 0
    for bracket in _BRACKETS.finditer(_STRINGS.sub(b"", data)):
        depth += 1 if bracket.group() in b"[{" else -1
        if depth > max_depth:
            raise Refused(
                "too_deep", f"The JSON text is nested deeper than {max_depth} levels.", max_depth=max_depth
            )


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found: dict[str, object] = {}
    for key, value in pairs:
        if key in found:
            raise Refused("duplicate_key", f"The key {key[:80]!r} stands twice in one object.", key=key[:80])
        found[key] = value
    return found


def _constant(name: str) -> NoReturn:
    raise Refused("number_not_finite", f"{name} is not a number that JSON knows.")


def _float(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise Refused("number_not_finite", f"The number {text[:40]} is too large.")
    return value


def _integer(text: str) -> int:
    # The length is looked at first: turning ten thousand digits into an integer is what an attacker wants.
    if len(text) > 17 or abs(int(text)) > MAX_INTEGER:
        raise Refused("number_too_big", f"The integer {text[:40]} is beyond 2^53 - 1.")
    return int(text)


def _check_texts(value: object) -> None:
    """Walks every text and key; no recursion, so that depth costs memory only."""
    waiting: list[object] = [value]
    while waiting:
        item = waiting.pop()
        if isinstance(item, dict):
            waiting.extend(item.keys())
            waiting.extend(item.values())
        elif isinstance(item, list):
            waiting.extend(item)
        elif isinstance(item, str):
            _check_text(item)


def _check_text(text: str) -> None:
    if "\0" in text:
        raise Refused("nul_character", "A text holds the character U+0000.")
    if not text.isascii() and any("\ud800" <= character <= "\udfff" for character in text):
        raise Refused("lone_surrogate", "A text holds half of a surrogate pair, which is no character.")
