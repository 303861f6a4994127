"""Originals that the workshop took away under its rules: believed only where log and additions tell of it."""

import re
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Any, Final

from rules.seal.additions_check import JSON_NAME
from rules.seal.enclosed import PartError, read_canonical
from rules.seal.log_extract import ADDED, Extract

KIND: Final = "retention"
WHY: Final[Mapping[str, str]] = {
    "retention": "deleted under the retention policy",
    "erasure": "erased at a person's request",
}
_SHA256: Final = re.compile(r"[0-9a-f]{64}")


def deleted_words(why: str, on: date, *, has_hash: bool = True) -> str:
    """``deleted under the retention policy on 5 May 2036; its SHA-256 remains``.

    Args:
        why: ``retention`` or ``erasure``.
        on: the local day of the deletion.
        has_hash: whether what is gone had a hash.
    """
    rest = "; its SHA-256 remains" if has_hash else ""
    return f"{WHY[why]} on {on.day} {on:%b %Y}{rest}"


def deletions(additions: Mapping[str, bytes], extract: Extract) -> dict[str, str]:
    """SHA-256 of each file that an addition says is deleted, and the words for it.

    The caller has found both additions and extract whole. Only an addition counts whose log entry is under
    the extract's head: what came after it is not proven.

    Args:
        additions: bytes by name, as ``additions_line`` takes them.
    """
    proven = {
        JSON_NAME.format(number)
        for entry in extract.of(ADDED)
        if entry.n <= extract.later.head.size
        and entry.detail.get("kind") == KIND
        and type(number := entry.detail.get("number")) is int
    }
    return deleted_of({name: additions[name] for name in proven & additions.keys()})


def deleted_of(additions: Mapping[str, bytes]) -> dict[str, str]:
    """What additions tell to be deleted, as they stand: SHA-256 and words."""
    found: dict[str, str] = {}
    for name in sorted(additions):
        if name.endswith(".json"):
            found.update(_told(additions[name]))
    return found


def _told(data: bytes) -> Iterator[tuple[str, str]]:
    try:
        plain = read_canonical(data, "it")
    except PartError:
        return
    facts = plain.get("facts") if plain.get("kind") == KIND else None
    rows = facts.get("deleted") if isinstance(facts, Mapping) else None
    for row in rows if isinstance(rows, list) else ():
        words = _words(row) if isinstance(row, Mapping) else ""
        if words:
            yield row["sha256"], words


def _words(row: Mapping[str, Any]) -> str:
    sha256, why, on = row.get("sha256"), row.get("why"), row.get("on")
    if not isinstance(sha256, str) or _SHA256.fullmatch(sha256) is None or why not in WHY:
        return ""
    try:
        # Additions made before the local day was told have the instant alone.
        day = date.fromisoformat(on) if isinstance(on, str) else datetime.fromisoformat(str(row["at"])).date()
    except (ValueError, KeyError):
        return ""
    return deleted_words(str(why), day)
