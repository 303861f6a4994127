"""Reads for people outside: a granted packet, what was judged at its sealing, whether it is intact."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from jobs import storage
from jobs.models import AccessGrant, Packet


@dataclass(frozen=True, slots=True, kw_only=True)
class GrantedPacket:
    """A packet as it was granted to one person."""

    id: UUID
    serial: str
    vehicle: str
    vin: str
    issuer: str
    location: str
    tz: str
    verdict: str
    gate: str
    until: datetime
    purpose: str
    downloads: int
    built_at: datetime | None
    root: str
    pdf_sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Integrity:
    """What a reader is told of the sealed file as it lies in the store now."""

    headline: str
    detail: str
    is_intact: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedPacket:
    """A packet as the page of a link shows it before anything is taken: nothing of its content."""

    id: UUID
    serial: str
    kind: str
    issuer: str
    location: str
    vehicle: str
    tz: str
    sealed_at: datetime | None
    root: str
    pdf_sha256: str
    pdf_bytes: int
    until: datetime
    purpose: str
    left: int | None
    reads_only: bool
    newer: str


def summary(grant: AccessGrant) -> GrantedPacket:
    """One granted packet; follows foreign keys of the granting organisation only."""
    packet = grant.packet
    if packet is None:
        raise ValueError("a grant of a job has no packet")
    job, vehicle, judged = packet.job, packet.job.order.vehicle, packet.assessment
    gate = "none" if judged is None else judged.disposition
    return GrantedPacket(
        id=packet.pk,
        serial=packet.serial,
        vehicle=f"{vehicle.make} {vehicle.model} {vehicle.model_year}",
        # A redacted packet may leave it out; its reader has it from the file then.
        vin=vehicle.vin if packet.kind != "redacted" else "",
        issuer=packet.organisation.name,
        location=f"{job.location.name} ({job.location.code})",
        tz=job.location.tz,
        verdict="not_shown" if judged is None else judged.verdict,
        gate="left_against_hold" if judged is not None and judged.left_against_hold else gate,
        until=grant.until,
        purpose=grant.purpose.replace("_", " "),
        downloads=grant.downloads,
        built_at=packet.built_at,
        root=packet.merkle_root,
        pdf_sha256=packet.pdf_sha256,
    )


def shared(grant: AccessGrant) -> SharedPacket:
    """One packet of a link. The organisation's scope must be open."""
    packet = grant.packet
    if packet is None:
        raise ValueError("a grant of a job has no packet")
    job, vehicle = packet.job, packet.job.order.vehicle
    newer = newer_than(packet)
    return SharedPacket(
        id=packet.pk,
        serial=packet.serial,
        kind=packet.kind,
        issuer=packet.organisation.name,
        location=f"{job.location.name} ({job.location.code})",
        vehicle=f"{vehicle.make} {vehicle.model} {vehicle.model_year}",
        tz=job.location.tz,
        sealed_at=packet.built_at,
        root=packet.merkle_root,
        pdf_sha256=packet.pdf_sha256,
        pdf_bytes=packet.pdf_bytes or 0,
        until=grant.until,
        purpose=grant.purpose.replace("_", " "),
        left=None if grant.max_downloads is None else max(grant.max_downloads - grant.downloads, 0),
        reads_only=bool(grant.sections),
        newer=newer.serial if newer is not None else "",
    )


def newer_than(packet: Packet) -> Packet | None:
    """The sealed packet that supersedes this one. The organisation's scope must be open."""
    return Packet.objects.filter(supersedes=packet, state="sealed").order_by("number").last()


def integrity(packet: Packet) -> Integrity:
    """Reads the sealed file again and compares its hash."""
    if storage.is_intact(packet.pdf_sha256):
        files = len(packet.contents)
        return Integrity(
            headline="Nothing has changed since it was sealed.",
            detail=f"The stored file was read again just now: SHA-256 as sealed, {files} parts.",
            is_intact=True,
        )
    return Integrity(
        headline="The stored file is not the one that was sealed.",
        detail="It is missing or has another SHA-256. Do not rely on it; tell the operator.",
        is_intact=False,
    )
