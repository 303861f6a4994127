"""Who has access to the packets of a job, and what was taken: for those who gave it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from jobs.link_access import holding
from jobs.models import AccessGrant, Job, PacketDownload

ENDED_WORDS: Final = {
    "asked": "taken back",
    "superseded": "ended: a newer packet was sealed",
    "sharer_left": "ended: who gave it has left",
    "evidence_flagged": "ended: evidence was set aside after sealing",
    "wrong_tries": "shut: too many wrong pass phrases",
}
CHOICE_WORDS: Final = (
    ("ends_when_superseded", "a newer packet is sealed"),
    ("ends_when_sharer_leaves", "who gave it leaves"),
    ("ends_when_evidence_flagged", "evidence is set aside"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class GivenAccess:
    """One grant as its giver sees it; ``words`` say whether it is open, and why not."""

    id: UUID
    link: UUID | None
    packet: UUID
    serial: str
    recipient: str
    purpose: str
    granted_at: datetime
    granted_by: str
    until: datetime
    is_open: bool
    words: str
    downloads: int
    max_downloads: int | None
    sections: tuple[str, ...]
    ends_when: tuple[str, ...]
    asks_passphrase: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenCopy:
    """One counted download, and how much of it went out."""

    id: int
    serial: str
    recipient: str
    at: datetime
    sha256: str
    size_bytes: int
    sent_bytes: int
    words: str
    ip: str
    user_agent: str


def access_of_job(job: Job, *, as_of: datetime) -> tuple[GivenAccess, ...]:
    """Every grant to a packet of the job, open ones first, newest first. The scope is open."""
    rows = AccessGrant.objects.filter(packet__job=job)
    still = set(holding(rows, as_of=as_of).values_list("pk", flat=True))
    joined = rows.select_related("packet", "link", "to_person__organisation", "granted_by")
    found = [_given(row, row.pk in still, as_of) for row in joined.order_by("-granted_at", "pk")]
    return tuple(sorted(found, key=lambda row: not row.is_open))


def _given(row: AccessGrant, is_open: bool, as_of: datetime) -> GivenAccess:
    if row.packet is None:
        raise ValueError("a grant of a job has no packet")
    return GivenAccess(
        id=row.pk,
        link=row.link_id,
        packet=row.packet.pk,
        serial=row.packet.serial,
        recipient=row.recipient,
        purpose=row.purpose.replace("_", " "),
        granted_at=row.granted_at,
        granted_by=row.granted_by.name,
        until=row.until,
        is_open=is_open,
        words=_words(row, is_open, as_of),
        downloads=row.downloads,
        max_downloads=row.max_downloads,
        sections=tuple(row.sections),
        ends_when=tuple(words for field, words in CHOICE_WORDS if getattr(row, field)),
        asks_passphrase=row.link is not None and bool(row.link.passphrase_hash),
    )


def _words(row: AccessGrant, is_open: bool, as_of: datetime) -> str:
    if is_open:
        used_up = row.max_downloads is not None and row.downloads >= row.max_downloads
        return "open, downloads used up" if used_up else "open"
    if row.revoked_why:
        return ENDED_WORDS[row.revoked_why]
    return "run out" if row.until <= as_of else "ended: what its giver chose came true"


def downloads_of_job(job: Job, *, most: int = 200) -> tuple[TakenCopy, ...]:
    """The newest downloads of the job's packets, with what was really sent of each. The scope is open."""
    rows = PacketDownload.objects.filter(packet__job=job).select_related("packet", "person")
    return tuple(_taken(row) for row in rows.prefetch_related("transfers").order_by("-pk")[:most])


def _taken(row: PacketDownload) -> TakenCopy:
    transfers = list(row.transfers.all())
    sent = covered((item.first_byte, item.first_byte + item.sent_bytes) for item in transfers)
    if row.copy is None:
        words = "given in one answer"
    elif sent >= row.size_bytes:
        words = "complete"
    else:
        words = "partial" if sent else "not fetched"
    return TakenCopy(
        id=row.pk,
        serial=row.packet.serial,
        recipient=row.recipient or (row.person.name if row.person else ""),
        at=row.downloaded_at,
        sha256=row.sha256,
        size_bytes=row.size_bytes,
        sent_bytes=sent,
        words=words,
        ip=row.ip or (transfers[0].ip or "" if transfers else ""),
        user_agent=row.user_agent,
    )


def covered(stretches: Iterable[tuple[int, int]]) -> int:
    """How many bytes lie in at least one stretch, each from its first byte to before its end."""
    total, reached = 0, 0
    for first, end in sorted(stretches):
        total += max(end - max(first, reached), 0)
        reached = max(reached, end)
    return total
