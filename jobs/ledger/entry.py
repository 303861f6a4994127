"""What one entry of the log says, in the one form that is hashed."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from rules.canonical import canonical_bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One entry as hashed; ``at`` is RFC 3339 text in UTC, ``detail`` canonical JSON as text."""

    organisation: str
    n: int
    at: str
    who: str
    device: str
    what: str
    target: str
    detail: str

    def content(self) -> dict[str, Any]:
        """The entry without ``prev`` and ``hash``, ready for canonical JSON."""
        return {
            "at": self.at,
            "detail": json.loads(self.detail),
            "device": self.device,
            "n": self.n,
            "organisation": self.organisation,
            "target": self.target,
            "what": self.what,
            "who": self.who,
        }


def instant_text(at: datetime) -> str:
    """RFC 3339 in UTC with microseconds, always the same length: ``2026-05-12T14:02:11.000000Z``."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def detail_text(detail: Mapping[str, Any]) -> str:
    """Canonical JSON as text; raises ``rules.canonical.CanonicalError`` for what has no canonical form."""
    return canonical_bytes(dict(detail)).decode("utf-8")
