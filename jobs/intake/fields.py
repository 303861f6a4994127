"""Typed reading of the fields of a parsed JSON object; each refusal names the field."""

import math
import re
from collections.abc import Collection, Mapping
from typing import Final

from jobs.errors import Refused
from jobs.intake.log_text import read_instant, read_number

_CONTROL: Final = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]")
_LOCAL_CLOCK: Final = re.compile(
    r"[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])[T ]([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9])?",
    re.ASCII,
)


def wrong(code: str, field: str, why: str) -> Refused:
    """A refusal about one field."""
    return Refused(code, f"{field}: {why}", field=field)


class Fields:
    """One JSON object of a document, with the path at which it stands.

    Every reader refuses ``field_missing``, ``field_type`` or ``field_value``.
    """

    def __init__(self, value: object, path: str, known: Collection[str]) -> None:
        """Refuses ``field_type`` if ``value`` is no object, ``field_unknown`` for a key outside ``known``."""
        if not isinstance(value, dict):
            raise wrong("field_type", path or "document", "must be a JSON object")
        unknown = sorted(str(key) for key in value if key not in known)
        if unknown:
            raise wrong("field_unknown", join(path, unknown[0][:80]), "is not a field of this form")
        self.path = path
        self._value: Mapping[str, object] = value

    def has(self, name: str) -> bool:
        """Whether the field is there and not null."""
        return self._value.get(name) is not None

    def at(self, name: str) -> str:
        return join(self.path, name)

    def required(self, name: str) -> object:
        value = self._value.get(name)
        if value is None:
            raise wrong("field_missing", self.at(name), "is required")
        return value

    def text(self, name: str, *, longest: int = 120) -> str:
        """A text that is not blank, without control characters."""
        value = self.required(name)
        if not isinstance(value, str):
            raise wrong("field_type", self.at(name), "must be a text")
        if not value.strip() or len(value) > longest or _CONTROL.search(value):
            raise wrong("field_value", self.at(name), f"must be 1 to {longest} printable characters")
        return value

    def optional_text(self, name: str, *, longest: int = 120) -> str | None:
        """As :meth:`text`; null, absent and empty are None."""
        return None if self._value.get(name) in (None, "") else self.text(name, longest=longest)

    def choice(self, name: str, choices: Collection[str]) -> str:
        value = self.text(name)
        if value not in choices:
            raise wrong("field_value", self.at(name), f"must be one of {', '.join(sorted(choices))}")
        return value

    def flag(self, name: str, *, default: bool | None = None) -> bool:
        value = self._value.get(name)
        if value is None and default is not None:
            return default
        value = self.required(name)
        if not isinstance(value, bool):
            raise wrong("field_type", self.at(name), "must be true or false")
        return value

    def number(self, name: str, lower: float, upper: float) -> float:
        """A finite number in [lower, upper], written as a JSON number or as a text of one."""
        value = self.required(name)
        found = read_number(value) if isinstance(value, str) else value
        if isinstance(found, bool) or not isinstance(found, int | float) or not math.isfinite(found):
            raise wrong("field_type", self.at(name), "must be a number with a decimal point")
        if not lower <= found <= upper:
            raise wrong("field_value", self.at(name), f"must lie between {lower:g} and {upper:g}")
        return float(found)

    def optional_number(self, name: str, lower: float, upper: float) -> float | None:
        return self.number(name, lower, upper) if self.has(name) else None

    def whole(self, name: str, lower: int, upper: int) -> int:
        value = self.required(name)
        if isinstance(value, bool) or not isinstance(value, int):
            raise wrong("field_type", self.at(name), "must be a whole number")
        if not lower <= value <= upper:
            raise wrong("field_value", self.at(name), f"must lie between {lower} and {upper}")
        return value

    def optional_whole(self, name: str, lower: int, upper: int) -> int | None:
        return self.whole(name, lower, upper) if self.has(name) else None

    def instant(self, name: str) -> str:
        """An RFC 3339 time with offset, kept as written."""
        value = self.text(name, longest=40)
        if read_instant(value) is None:
            raise wrong("field_value", self.at(name), "must be an RFC 3339 time with an offset")
        return value

    def clock_text(self, name: str) -> str:
        """What a device's clock shows, ``2026-05-05T14:05`` with or without seconds, or an RFC 3339 time."""
        value = self.text(name, longest=40)
        if read_instant(value) is None and _LOCAL_CLOCK.fullmatch(value) is None:
            raise wrong("field_value", self.at(name), "must look like 2026-05-05T14:05")
        return value

    def optional_clock_text(self, name: str) -> str | None:
        return self.clock_text(name) if self.has(name) and self._value[name] != "" else None

    def entries(self, name: str, most: int, *, least: int = 0) -> list[object]:
        """A list of ``least`` to ``most`` items; absent counts as empty where ``least`` is 0."""
        value = self._value.get(name, [] if least == 0 else None)
        value = self.required(name) if value is None else value
        if not isinstance(value, list):
            raise wrong("field_type", self.at(name), "must be a list")
        if not least <= len(value) <= most:
            raise wrong("field_value", self.at(name), f"must have {least} to {most} entries")
        return value

    def texts(self, name: str, most: int, *, least: int = 1, longest: int = 120) -> list[str]:
        """A list of texts, each checked as :meth:`text`."""
        items = self.entries(name, most, least=least)
        named = {f"{place}": item for place, item in enumerate(items)}
        inner = Fields(named, self.at(name), named)
        return [inner.text(place, longest=longest) for place in named]


def join(path: str, name: str) -> str:
    """``modules`` and ``3`` and ``name`` give ``modules.3.name``."""
    return f"{path}.{name}" if path else name
