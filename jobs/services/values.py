"""Single values as they arrive, checked and converted, each fault with a stable code and the field's name."""

import re
from collections.abc import Collection
from datetime import UTC, date, datetime
from typing import Final

from jobs.errors import Refused

_INSTANT = re.compile(
    r"(\d{4})-(\d{2})-(\d{2})[Tt ](\d{2}):(\d{2}):(\d{2})(\.\d{1,9})?([Zz]|[+-]\d{2}:\d{2})"
)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_NUMBER = re.compile(r"[+-]?\d{1,12}(?:\.(\d{1,9}))?", re.ASCII)
# Before this no vehicle with a 17-character number was built; far dates are typing errors (project default).
FIRST_YEAR: Final = 1980
LAST_YEAR: Final = 2200


def refused(code: str, field: str, message: str) -> Refused:
    return Refused(code, message, field=field)


def read_instant(text: str, field: str) -> datetime:
    """An RFC 3339 instant with offset, as UTC.

    Raises:
        Refused: ``bad_instant`` for another form, a missing offset, or a day or hour that does not exist.
    """
    found = _INSTANT.fullmatch(text)
    if found is None:
        raise refused("bad_instant", field, f"{field} must look like 2026-05-05T10:30:00-05:00.")
    # Python reads at most six decimals and no leap second; more decimals are cut, a 60th second is refused.
    head = text[: found.end(6)].replace(" ", "T").replace("t", "T")
    fraction = (found.group(7) or "")[:7]
    try:
        instant = datetime.fromisoformat(head + fraction + found.group(8).upper()).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise refused("bad_instant", field, f"{field} is not a time that exists.") from error
    if not FIRST_YEAR <= instant.year <= LAST_YEAR:
        raise refused("bad_instant", field, f"{field} lies outside {FIRST_YEAR} to {LAST_YEAR}.")
    return instant


def read_day(text: str, field: str) -> date:
    """A date as YYYY-MM-DD; ``bad_date`` otherwise."""
    try:
        day = date.fromisoformat(text) if _DAY.fullmatch(text) else None
    except ValueError:
        day = None
    if day is None or not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise refused("bad_date", field, f"{field} must be a day like 2026-05-05.")
    return day


def read_number(text: str, field: str) -> tuple[float, float]:
    """A decimal number as typed, and the size of its last digit; ``bad_number`` otherwise.

    Returns:
        The value and its resolution, both in the typed unit: "35" gives (35.0, 1.0), "35.0" gives (35.0,
        0.1).
    """
    found = _NUMBER.fullmatch(text.strip())
    if found is None:
        raise refused("bad_number", field, f"{field} must be a plain number like 240 or 2.4.")
    decimals = len(found.group(1) or "")
    return float(text), float(f"1e-{decimals}")


def read_positive(text: str, field: str) -> float:
    """A number above 0; ``bad_number`` otherwise."""
    value, _ = read_number(text, field)
    if value <= 0:
        raise refused("bad_number", field, f"{field} must be more than 0.")
    return value


def read_choice(value: str, allowed: Collection[str], field: str) -> str:
    """One of the allowed words; ``bad_choice`` otherwise."""
    if value not in allowed:
        words = ", ".join(sorted(allowed)) if len(allowed) <= 20 else "one of the known words"
        raise refused("bad_choice", field, f"{field} must be one of: {words}.")
    return value


def read_choices(values: Collection[str], allowed: Collection[str], field: str) -> list[str]:
    return [read_choice(value, allowed, f"{field}[{place}]") for place, value in enumerate(values)]


def read_text(value: str, field: str, *, shortest: int = 1, longest: int = 2000) -> str:
    """Text within its length and without control characters other than line breaks; ``text_length``
    otherwise."""
    kept = value.strip()
    if not shortest <= len(kept) <= longest:
        raise refused("text_length", field, f"{field} must have {shortest} to {longest} characters.")
    if any(ord(sign) < 32 and sign not in "\n\t" for sign in kept):
        raise refused("text_signs", field, f"{field} contains signs that cannot be printed.")
    return kept


def read_name(value: str, field: str) -> str:
    """One name of a list of names (a statement's point, a photo subject): lower case words with
    underscores."""
    if re.fullmatch(r"[a-z][a-z0-9_.]{0,79}", value) is None:
        raise refused("bad_name", field, f"{field} must be a name in lower case with underscores.")
    return value
