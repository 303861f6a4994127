"""Trouble codes: two-byte text form, failure type byte, normalising, and how a code changed between scans."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

SYSTEM_LETTERS: Final = "PCBU"
_FORM: Final = re.compile(r"([PCBU][0-3][0-9A-F]{3})([0-9A-F]{2})?")
_SEPARATORS: Final = re.compile(r"[\s:.\-_/]")

State = Literal["present", "intermittent", "stored"]
CodeClass = Literal["resolved", "remaining", "new", "set_while_working", "history_only"]
Key = tuple[str, str, str | None]
_STRENGTH: Final[dict[str, int]] = {"stored": 0, "intermittent": 1, "present": 2}


def code_text(two_bytes: int) -> str:
    """``0x4031`` -> ``C0031``: bits 15-14 the letter, 13-12 the first digit, three hex digits (SAE J2012).

    Raises:
        ValueError: outside 0 to 65,535.
    """
    if not 0 <= two_bytes <= 0xFFFF:
        raise ValueError("a trouble code has two bytes")
    return f"{SYSTEM_LETTERS[two_bytes >> 14]}{two_bytes >> 12 & 3}{two_bytes & 0xFFF:03X}"


def code_bytes(text: str) -> int:
    """``C0031`` -> ``0x4031``; a failure type in the text is left aside.

    Raises:
        ValueError: no trouble code.
    """
    code, _ = normalise(text)
    return SYSTEM_LETTERS.index(code[0]) << 14 | int(code[1]) << 12 | int(code[2:], 16)


def three_byte_text(three_bytes: int) -> str:
    """``0x403123`` -> ``C0031-23``: the third byte is the failure type (SAE J2012-DA).

    Raises:
        ValueError: outside 0 to 0xFFFFFF.
    """
    if not 0 <= three_bytes <= 0xFFFFFF:
        raise ValueError("a code with its failure type has three bytes")
    return shown(code_text(three_bytes >> 8), f"{three_bytes & 0xFF:02X}")


def normalise(text: str, ftb: str | None = None) -> tuple[str, str | None]:
    """``C1A4554``, ``C1A45:54``, ``c1a45-54`` are all (``C1A45``, ``54``); no type: (``C1A45``, None).

    Args:
        text: the code, with or without its failure type.
        ftb: the failure type where it stands in a field of its own.

    Raises:
        ValueError: no trouble code, or two failure types that differ.
    """
    found = _FORM.fullmatch(_plain(text))
    if found is None:
        raise ValueError(f"{text!r} is no trouble code")
    inside = found.group(2)
    beside = None if ftb is None or not ftb.strip() else _plain(ftb)
    if beside is not None and re.fullmatch("[0-9A-F]{2}", beside) is None:
        raise ValueError(f"{ftb!r} is no failure type")
    if inside is not None and beside is not None and inside != beside:
        raise ValueError(f"{text!r} and failure type {ftb!r} contradict each other")
    return found.group(1), inside or beside


def _plain(text: str) -> str:
    stripped = _SEPARATORS.sub("", text)
    return stripped.upper() if stripped.isascii() else stripped


def shown(code: str, ftb: str | None) -> str:
    """``C1A45-54``, or the code alone."""
    return code if ftb is None else f"{code}-{ftb}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """How one code stood in one scan; ``count`` where the module reports how often it was set."""

    state: State
    count: int | None = None


def merge_duplicates(entries: Iterable[tuple[Key, Seen]], *, highest_count: bool) -> dict[Key, Seen]:
    """One entry per key: the strongest state, and the highest (last scan) or lowest (first scan) count.

    So a code listed twice can only make a later rise of its count more visible, never hide one.
    """
    merged: dict[Key, Seen] = {}
    pick = max if highest_count else min
    for key, seen in entries:
        other = merged.get(key)
        if other is None:
            merged[key] = seen
            continue
        counts = [count for count in (other.count, seen.count) if count is not None]
        state = max(other.state, seen.state, key=lambda name: _STRENGTH[name])
        merged[key] = Seen(state=state, count=pick(counts) if counts else None)
    return merged


def classify(
    before: Mapping[Key, Seen], between: Iterable[Key], after: Mapping[Key, Seen]
) -> dict[Key, CodeClass]:
    """What became of each code from the first scan to the last, in order of the key.

    Args:
        before: codes of the scan before repair.
        between: codes seen in scans between the two.
        after: codes of the final scan.
    """
    classes: dict[Key, CodeClass] = {}
    for key in sorted({*before, *between, *after}, key=lambda item: (item[0], item[1], item[2] or "")):
        if key not in after:
            classes[key] = "resolved" if key in before else "set_while_working"
        elif key not in before:
            classes[key] = "new"
        else:
            classes[key] = "history_only" if _only_history(before[key], after[key]) else "remaining"
    return classes


def _only_history(before: Seen, after: Seen) -> bool:
    if after.state != "stored":
        return False
    return before.count is None or after.count is None or after.count <= before.count
