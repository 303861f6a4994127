"""All that one packet is made from, frozen once and kept: the same source gives the same bytes for ever."""

import json
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, Literal, Self

from rules.canonical import canonical_bytes, from_plain, to_plain
from rules.facts import JobFacts
from rules.result import Assessment

# Kinds that this version can make. A redacted packet is derived from a sealed one and needs its own service.
KINDS: Final = ("full", "insurer", "owner", "counsel")
Paper = Literal["A4", "Letter"]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderCard:
    """What the repair order says that no verdict rests on. Empty text where nothing was recorded."""

    customer_name: str = ""
    customer_contact: str = ""
    payer: str = ""
    claim_number: str = ""
    plate: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PackText:
    """One pack edition as published: its exact text with SHA-256, and the day it was withdrawn on."""

    pack: str
    edition: int
    title: str
    sha256: str
    text: str
    withdrawn_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EnclosedFile:
    """One evidence original that travels with the packet; bytes lie in storage under ``sha256``.

    ``set_aside_*`` say when, by whom and why it stopped counting; it is enclosed all the same.
    """

    evidence_id: str
    number: int
    name: str
    media_type: str
    sha256: str
    size_bytes: int
    set_aside_at: datetime | None = None
    set_aside_how: str = ""
    set_aside_by: str = ""
    set_aside_reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LogLine:
    """One ledger entry that concerns the job; ``entry`` is its canonical JSON without prev and hash."""

    n: int
    at: datetime
    who: str
    what: str
    target: str
    entry: str
    prev: str
    hash: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PacketSource:
    """Attributes:
    sealed_at: the instant the packet speaks for; nothing received later is in it.
    log_head: hash of the newest ledger entry of the organisation at ``sealed_at``.
    withheld: paths of manifest entries (or folders ending in ``/``) whose content this packet does not ship.
    """

    serial: str
    kind: str
    paper: Paper
    organisation_name: str
    sealed_at: datetime
    software_version: str
    facts: JobFacts
    assessment: Assessment
    order: OrderCard = OrderCard()
    supersedes: str | None = None
    packs: tuple[PackText, ...] = ()
    files: tuple[EnclosedFile, ...] = ()
    log: tuple[LogLine, ...] = ()
    log_head: str = ""
    withheld: tuple[str, ...] = ()

    def to_bytes(self) -> bytes:
        """Canonical JSON of the whole source."""
        return canonical_bytes(to_plain(self))

    @classmethod
    def from_bytes(cls, data: bytes) -> Self:
        return from_plain(cls, json.loads(data))


# What a kind of packet leaves out: an insurer is not given the owner's name and contact.
WITHHELD_BY_KIND: Final[dict[str, tuple[str, ...]]] = {
    "full": (),
    "owner": (),
    "counsel": (),
    "insurer": ("order/customer_name", "order/customer_contact", "order/plate"),
}

# How an enclosed original is named: by number and by the type its content has, never by a name that came in.
EXTENSIONS: Final = {
    "image/jpeg": "jpg",
    "image/png": "png",
    "image/webp": "webp",
    "image/heic": "heic",
    "application/gpx+xml": "gpx",
    "application/json": "json",
    "application/pdf": "pdf",
    "application/xml": "xml",
    "text/csv": "csv",
    "text/plain": "txt",
}


def attachment_name(number: int, media_type: str) -> str:
    """``evidence-0004.jpg``: flat, sortable, with nothing in it that came from outside."""
    return f"evidence-{number:04d}.{EXTENSIONS.get(media_type, 'bin')}"


def pack_file_name(pack: PackText) -> str:
    """``pack-orrinvale-7.yaml``."""
    return f"pack-{pack.pack}-{pack.edition}.yaml"
