"""What one entry of the log says, in the one form that is hashed."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from json.encoder import encode_basestring
from typing import Any, Final, NoReturn

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

    def canonical(self) -> bytes:
        """Canonical JSON (RFC 8785) of ``content()``: what chain and tree hash.

        The stored detail is canonical as it was appended; then it is used as it stands, which is quicker.

        Raises:
            ValueError: ``detail`` is no JSON, or something has no canonical form.
        """
        if not _is_canonical(self.detail):
            return canonical_bytes(self.content())
        at, device, organisation = _text(self.at), _text(self.device), _text(self.organisation)
        target, what, who = _text(self.target), _text(self.what), _text(self.who)
        return (
            f'{{"at":{at},"detail":{self.detail},"device":{device},"n":{self.n},"organisation":{organisation},'
            f'"target":{target},"what":{what},"who":{who}}}'
        ).encode()


class _UnsureError(ValueError):
    """A number whose canonical form is not simply its digits."""


def _unsure(text: str) -> NoReturn:
    raise _UnsureError(text)


def _whole(text: str) -> int:
    # 2^53 - 1 has 16 digits.
    return int(text) if len(text) < 16 else _unsure(text)


_READ: Final = json.JSONDecoder(parse_float=_unsure, parse_int=_whole, parse_constant=_unsure).decode
_WRITE: Final = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), sort_keys=True).encode
_text: Final = encode_basestring


def _is_canonical(detail: str) -> bool:
    """Whether this text is certainly canonical: for ASCII without fractions Python writes just that form."""
    try:
        return detail.isascii() and _WRITE(_READ(detail)) == detail
    except (ValueError, RecursionError):
        return False


def instant_text(at: datetime) -> str:
    """RFC 3339 in UTC with microseconds, always the same length: ``2026-05-12T14:02:11.000000Z``."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def detail_text(detail: Mapping[str, Any]) -> str:
    """Canonical JSON as text; raises ``rules.canonical.CanonicalError`` for what has no canonical form."""
    return canonical_bytes(dict(detail)).decode("utf-8")
