"""What was added to a packet after sealing, read back: for lists, for bundles, and checked as a chain."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from jobs import storage
from jobs.ledger.entry import instant_text
from jobs.models import LogEntry, Packet, PacketAddition
from rules.canonical import canonical_bytes, sha256_hex

FORMAT: Final = "addition 1"
ADDED: Final = "packet.added_to"

# Each kind as a heading.
TITLES: Final = {
    "time_stamp": "Time stamp",
    "late_certificate": "Calibration certificate that came later",
    "look_back": "Look-back",
    "rule_change": "Change of a rule text",
    "comeback": "The car came in again",
    "superseded": "A newer packet of the same job",
    "retention": "Files deleted",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class AdditionLine:
    """One addition as lists show it; ``pdf_sha256`` is empty until its pages are made."""

    number: int
    kind: str
    at: datetime
    text: str
    facts: dict[str, Any]
    who: str
    sha256: str
    size_bytes: int
    pdf_sha256: str = ""
    pdf_bytes: int = 0

    @property
    def title(self) -> str:
        return TITLES[self.kind]

    @property
    def name(self) -> str:
        """``addition-0001.json``."""
        return f"addition-{self.number:04d}.json"

    @property
    def pdf_name(self) -> str:
        """``addition-0001.pdf``."""
        return f"addition-{self.number:04d}.pdf"


@dataclass(frozen=True, slots=True, kw_only=True)
class AdditionFile(AdditionLine):
    """One addition with its exact bytes; ``pdf`` is None until its pages are made."""

    data: bytes
    pdf: bytes | None = None


def addition_bytes(  # noqa: PLR0913 - these are the members of the document itself
    *, packet: Packet, number: int, kind: str, at: datetime, text: str, facts: dict[str, Any], previous: str
) -> bytes:
    """The canonical JSON (RFC 8785) of one addition.

    Raises:
        rules.canonical.CanonicalError: ``facts`` has no canonical form.
    """
    return canonical_bytes(
        {
            "format": FORMAT,
            "packet": packet.serial,
            "number": number,
            "kind": kind,
            "at": instant_text(at),
            "text": text,
            "facts": facts,
            "sealed": {"root": packet.merkle_root, "pdf_sha256": packet.pdf_sha256},
            "previous": previous,
        }
    )


def additions_listed(packet: Packet) -> tuple[AdditionLine, ...]:
    """Every addition in order, without reading a file; the scope of the packet's organisation is open."""
    return tuple(AdditionLine(**_fields(row)) for row in _rows(packet))


def additions_of(packet: Packet) -> tuple[AdditionFile, ...]:
    """Every addition in order, with its bytes as stored, each compared with its hash.

    Raises:
        jobs.storage.StoredBytesMissingError, jobs.storage.StoredBytesChangedError: the store is damaged.
    """
    return tuple(
        AdditionFile(
            **_fields(row),
            data=storage.read(row.sha256),
            pdf=storage.read(row.printed.sha256) if hasattr(row, "printed") else None,
        )
        for row in _rows(packet)
    )


def _rows(packet: Packet) -> Iterator[PacketAddition]:
    rows = PacketAddition.objects.filter(packet=packet).select_related("printed").order_by("number")
    return rows.iterator()


def _fields(row: PacketAddition) -> dict[str, Any]:
    printed = getattr(row, "printed", None)
    return {
        "number": row.number,
        "kind": row.kind,
        "at": row.at,
        "text": row.text,
        "facts": row.facts,
        "who": row.who,
        "sha256": row.sha256,
        "size_bytes": row.size_bytes,
        "pdf_sha256": printed.sha256 if printed is not None else "",
        "pdf_bytes": printed.size_bytes if printed is not None else 0,
    }


# ------------------------------------------------------------------ checked


def check_chain(packet: Packet) -> tuple[str, ...]:
    """Everything that is wrong with the additions of a packet, in words; nothing where the chain is whole.

    Compared are: numbers without a gap, each file with its hash, each with the one before it and with the
    sealed packet, the row with the file, and the log: as many entries as additions, with the same hashes.
    """
    faults: list[str] = []
    previous = ""
    logged = _logged(packet)
    rows = list(_rows(packet))
    for place, row in enumerate(rows, start=1):
        faults += [f"Addition {row.number}: {fault}" for fault in _faults_of(packet, row, place, previous)]
        if logged.get(row.number) != row.sha256:
            faults.append(f"Addition {row.number}: the log has no entry with its hash.")
        previous = row.sha256
    missing = sorted(set(logged) - {row.number for row in rows})
    faults += [f"Addition {number} stands in the log and is not there." for number in missing]
    return tuple(faults)


def _logged(packet: Packet) -> dict[int, str]:
    """Numbers and hashes of the additions that the log tells of."""
    rows = LogEntry.objects.filter(
        organisation_id=packet.organisation_id, target=f"packet/{packet.pk}", what=ADDED
    )
    found = [json.loads(text) for text in rows.order_by("n").values_list("detail", flat=True)]
    return {int(item["number"]): str(item["sha256"]) for item in found}


def _faults_of(packet: Packet, row: PacketAddition, place: int, previous: str) -> list[str]:
    faults = []
    if row.number != place:
        faults.append(f"it stands at place {place}.")
    if row.previous != previous:
        faults.append("it does not follow the one before it.")
    try:
        data = storage.read(row.sha256)
    except (storage.StoredBytesMissingError, storage.StoredBytesChangedError) as error:
        return [*faults, error.message]
    expected = addition_bytes(
        packet=packet,
        number=row.number,
        kind=row.kind,
        at=row.at,
        text=row.text,
        facts=row.facts,
        previous=row.previous,
    )
    if sha256_hex(expected) != sha256_hex(data):
        faults.append("its file says something else than its row, or names another sealed packet.")
    return faults
