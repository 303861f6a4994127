"""Reads for people outside: a granted packet, what was judged at its sealing, whether it is intact."""

import json
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from jobs import storage
from jobs.models import AccessGrant, Packet
from rules.canonical import from_plain
from rules.result import Assessment


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
        vin=vehicle.vin,
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


def sealed_assessment(packet: Packet) -> Assessment | None:
    """The judgement that was sealed, never a later one."""
    if packet.assessment is None:
        return None
    return from_plain(Assessment, json.loads(packet.assessment.result))


def integrity(packet: Packet) -> Integrity:
    """Reads the sealed file again and compares its hash."""
    if storage.is_intact(packet.pdf_sha256):
        files = len(packet.contents)
        return Integrity(
            headline="Nothing has changed since it was sealed.",
            detail=f"The stored file was read again just now: SHA-256 as sealed, {files} parts.",
        )
    return Integrity(
        headline="The stored file is not the one that was sealed.",
        detail="It is missing or has another SHA-256. Do not rely on it; tell the operator.",
    )
