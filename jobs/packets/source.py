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
class SignerCard:
    """The key that is to sign the packet: the name in its certificate, its SHA-256, is it for show."""

    name: str
    key_sha256: str
    is_demo: bool


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
    ``withheld`` names the kind of thing for which its bytes stay behind; its hash is told.
    ``copy_sha256`` and ``large_sha256`` are small and large copies of a picture, for the pages.
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
    withheld: str = ""
    copy_sha256: str = ""
    large_sha256: str = ""


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
class DeviceName:
    """A capture device whose clock stamped something, and what the shop calls it."""

    id: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ProducedCopy:
    """One copy of one of the job's packets that was given out."""

    at: datetime
    serial: str
    kind: str
    whom: str
    purpose: str
    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WithheldItem:
    """One entry that a redacted packet does not ship: where it stood in plain words, the kind of thing, why.

    ``follows``: nobody chose it; it goes because it would give away what was chosen (a hash, a log line).
    """

    path: str
    where: str
    kind: str
    why: str
    follows: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RedactedPicture:
    """A picture with regions painted over: the file that takes the original's place, ``regions`` of them."""

    evidence_id: str
    number: int
    original_name: str
    name: str
    sha256: str
    size_bytes: int
    regions: int
    kind: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NotJudgedAgain:
    """A verdict that a reader of the redacted packet cannot judge again, and what of it is withheld."""

    procedure_id: str
    proof_id: str
    title: str
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Redaction:
    """What makes a redacted packet out of a sealed one.

    Attributes:
        of: serial of the sealed packet, whose tree and root this packet keeps.
        serial: its own serial.
        made_at: when it was asked for; made_by: by whom.
        text: the exact content of redaction.json.
        manifest: the exact content of manifest.json: leaves where something is withheld.
    """

    of: str
    serial: str
    made_at: datetime
    made_by: str
    text: str
    manifest: str
    items: tuple[WithheldItem, ...] = ()
    pictures: tuple[RedactedPicture, ...] = ()
    not_judged_again: tuple[NotJudgedAgain, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PacketSource:
    """Attributes:
    sealed_at: the instant the packet speaks for; nothing received later is in it.
    log_head: hash of the newest ledger entry of the organisation at ``sealed_at``.
    withheld: paths of manifest entries (or folders ending in ``/``) whose content this packet does not ship.
    form: how the tree's entries are made, see ``rules.seal.entries``.
    redaction: what was withheld from a sealed packet; facts, judgement, order, log and files of this source
        then hold nothing of it, and ``serial`` and ``kind`` are those of the sealed packet.
    production: what of this job was given out before, to whom (kind ``counsel`` only).
    signer: the key that signs the packet; None where the organisation has none and it stays unsigned.
    strangers: how many identifiers of other cars, customers and jobs were replaced by words.
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
    form: int = 1
    redaction: Redaction | None = None
    production: tuple[ProducedCopy, ...] = ()
    devices: tuple[DeviceName, ...] = ()
    strangers: int = 0
    signer: SignerCard | None = None

    @property
    def own_serial(self) -> str:
        """The serial of this very packet."""
        return self.serial if self.redaction is None else self.redaction.serial

    @property
    def own_kind(self) -> str:
        """The kind of this very packet."""
        return self.kind if self.redaction is None else "redacted"

    def shown_log(self) -> tuple[LogLine, ...]:
        """The log lines that this packet shows."""
        return tuple(line for line in self.log if not is_withheld(f"log/{line.n:09d}", self.withheld))

    def shipped_files(self) -> tuple[EnclosedFile, ...]:
        """The originals whose bytes may leave with this packet."""
        return tuple(
            file
            for file in self.files
            if not file.withheld and not is_withheld(f"files/{file.name}", self.withheld)
        )

    def to_bytes(self) -> bytes:
        """Canonical JSON of the whole source."""
        return canonical_bytes(to_plain(self))

    @classmethod
    def from_bytes(cls, data: bytes) -> Self:
        return from_plain(cls, json.loads(data))


def is_withheld(path: str, withheld: tuple[str, ...]) -> bool:
    """True where ``path`` is named, or lies in a named folder."""
    return any(path == name or (name.endswith("/") and path.startswith(name)) for name in withheld)


# What a kind of packet leaves out: an insurer is not given the owner's name, contact and plate; the owner is
# not given the shop's log. Counsel gets everything, and the production log with it.
WITHHELD_BY_KIND: Final[dict[str, tuple[str, ...]]] = {
    "full": (),
    "owner": ("log/", "packet/log_head"),
    "counsel": (),
    "insurer": ("order/customer_name", "order/customer_contact", "order/plate"),
}

# Kinds that leave the shop's own hands: nothing of other people's cars and names is in them.
OUTSIDE_KINDS: Final = ("insurer", "owner")

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
