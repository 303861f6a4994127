"""A scan summary comes in: checked whole, kept as evidence and as a scan."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, BinaryIO, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction

from jobs import storage
from jobs.access import Actor
from jobs.errors import Conflict
from jobs.intake import Decoded
from jobs.intake.scan_summary import validate_scan
from jobs.models import Device, Equipment, Evidence, Job, RecordedMoment, Scan
from jobs.services import equipment_use, evidence_intake, moments, recording, references, values
from jobs.services.evidence_intake import Upload
from jobs.services.values import refused
from rules.canonical import CanonicalError, canonical_bytes
from rules.vocabulary import EVIDENCE_STAGES

# The evidence row that holds a scan's bytes gets an id made from the scan's, so a repeated request finds it.
_SUMMARY_OF_SCAN: Final = UUID("6f3d2f0e-6c52-4c0b-9c6e-6f1f3d9f0a11")
# And the scan that a file of evidence tells of gets an id made from the evidence's.
_SCAN_OF_SUMMARY: Final = UUID("0d4a9c52-7f0f-4d6c-8b27-3a2f6f1f9e02")


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanEntry:
    """``tool`` is the scan device's tag; ``summary`` the scan summary as parsed JSON; ``device``
    the tablet."""

    id: UUID
    tool: str
    stage: str
    summary: Mapping[str, Any]
    device: UUID | None = None
    at: str = ""


@transaction.atomic
def record_scan(*, job: Job, actor: Actor, as_of: datetime, entry: ScanEntry) -> Scan:
    """Keeps a scan. Its end is ``ended_at`` by the tablet's clock if given, else what the scan device showed.

    Codes: those of ``validate_scan``, tool_class, other_job, other_stage, scan_without_time, serial_conflict,
    and those of moments and references.
    """
    recording.require_role(actor, *recording.FLOOR_ROLES)
    summary = validate_scan(dict(entry.summary))
    stage = values.read_choice(entry.stage, EVIDENCE_STAGES, "stage")
    _check_belongs(summary, job=job, stage=stage)
    tool = _tool(entry.tool, summary)
    device = references.device(actor, entry.device, "device")
    ended = _ended(summary, entry.at, tool=tool, device=device, job=job, as_of=as_of)
    evidence = _keep_summary(entry, stage, ended, tool=tool, device=device, job=job, actor=actor, as_of=as_of)
    scan = _scan(entry.id, summary, ended, evidence=evidence)
    return _keep(scan, job=job, actor=actor, as_of=as_of)


def take_in_scan(
    *, job: Job, actor: Actor, as_of: datetime, upload: Upload, source: BinaryIO
) -> tuple[Evidence, bool]:
    """Takes a scan summary as a file: kept byte for byte as evidence, and as the scan that it tells of.

    Sending the same bytes again makes up for a scan that was not written the first time.

    Raises:
        Refused, Conflict: those of ``take_in`` and of ``record_scan``.
    """

    def accept(decoded: Decoded) -> None:
        summary = decoded.facts
        _check_belongs(summary, job=job, stage=upload.stage)
        tool = _tool(upload.instrument, summary)
        device = references.device(actor, upload.device, "device")
        _ended(summary, upload.captured_at, tool=tool, device=device, job=job, as_of=as_of)

    evidence, is_new = evidence_intake.take_in(
        job=job, actor=actor, as_of=as_of, upload=upload, source=source, accept=accept
    )
    told = Scan.objects.filter(job=job, source_sha256=evidence.sha256)
    if evidence.ended_at is None and not told.exists():
        scan_id = uuid.uuid5(_SCAN_OF_SUMMARY, str(evidence.pk))
        summary, said = evidence.decoded, upload.captured_at
        tool, device = evidence.instrument, evidence.device
        ended = _ended(summary, said, tool=tool, device=device, job=job, as_of=as_of)
        with transaction.atomic():
            _keep(_scan(scan_id, summary, ended, evidence=evidence), job=job, actor=actor, as_of=as_of)
    return evidence, is_new


def _scan(scan_id: UUID, summary: Mapping[str, Any], ended: RecordedMoment, *, evidence: Evidence) -> Scan:
    return Scan(
        id=scan_id,
        stage=evidence.stage,
        tool=evidence.instrument,
        device_serial=summary["device_serial"],
        device_software=summary["device_software"] or "",
        database_version=summary["database_version"] or "",
        device_clock_text=summary["device_clock"] or "",
        ended=ended,
        modules=summary["modules"],
        vin_per_module=summary["vin_per_module"],
        odometer=summary["odometer"],
        supply_voltage_v=summary["supply_voltage_v"],
        cleared=summary["cleared"],
        source_sha256=evidence.sha256,
        device=evidence.device,
        evidence=[str(evidence.pk)],
    )


def _keep(scan: Scan, *, job: Job, actor: Actor, as_of: datetime) -> Scan:
    scan.scanned_by = actor.person
    kept = recording.keep(scan, job=job, actor=actor, as_of=as_of, what="scan.recorded")
    uses = [(scan.tool, kept.pk, scan.ended.reading)]
    equipment_use.note_uses(job=job, session=None, kind="scan", uses=uses)
    return kept


def _check_belongs(summary: Mapping[str, Any], *, job: Job, stage: str) -> None:
    if summary["job"] and summary["job"] not in (str(job.pk), job.number):
        raise refused("other_job", "job", "The summary names another job.")
    if summary["stage"] and summary["stage"] != stage:
        raise refused("other_stage", "stage", "The summary names another stage.")


def _tool(tag: str, summary: Mapping[str, Any]) -> Equipment | None:
    tool = references.instrument(tag, "tool")
    if tool is not None and tool.cls != "scan_device":
        raise refused("tool_class", "tool", f"{tag} is no scan device.")
    if tool is not None and tool.serial and tool.serial != summary["device_serial"]:
        raise refused("serial_conflict", "device_serial", f"{tag} has another serial number on file.")
    return tool


def _ended(
    summary: Mapping[str, Any],
    said: str,
    *,
    tool: Equipment | None,
    device: Device | None,
    job: Job,
    as_of: datetime,
) -> RecordedMoment:
    timed = summary["ended_at"] or said
    if timed:
        return moments.read_moment(timed, field="ended_at", device=device, as_of=as_of)
    shown = summary["device_clock"]
    if not shown:
        raise refused("scan_without_time", "device_clock", "Give device_clock or ended_at.")
    own_clock = Device.objects.filter(equipment=tool).first() if tool is not None else None
    zone = ZoneInfo(job.location.tz)
    return moments.read_clock_text(shown, field="device_clock", zone=zone, device=own_clock, as_of=as_of)


def _keep_summary(  # noqa: PLR0913 - what a row of evidence needs, once
    entry: ScanEntry,
    stage: str,
    ended: RecordedMoment,
    *,
    tool: Equipment | None,
    device: Device | None,
    job: Job,
    actor: Actor,
    as_of: datetime,
) -> Evidence:
    try:
        data = canonical_bytes(dict(entry.summary))
    except CanonicalError as error:
        raise refused("summary_form", "summary", "The summary holds a number that cannot be kept.") from error
    evidence = Evidence(
        id=uuid.uuid5(_SUMMARY_OF_SCAN, str(entry.id)),
        kind="scan_summary",
        stage=stage,
        sha256=storage.put(data),
        size_bytes=len(data),
        media_type="application/json",
        file_name=f"scan-{stage}.json",
        instrument=tool,
        device=device,
        captured_by=actor.person,
        captured=ended,
        captured_how="scan end",
        decoded={"decoder": "scan_summary", "notes": []},
    )
    kept, _ = evidence_intake.keep_file(evidence, job=job, actor=actor, as_of=as_of)
    if kept.ended_at is not None:
        # Sending it once more does not bring back what a reviewer set aside.
        raise Conflict("evidence_set_aside", "This very summary was set aside on this job.")
    return kept
