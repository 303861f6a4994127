"""Calibration certificates: transcribed by one person, confirmed by another, and when they run out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final
from uuid import UUID

from django.db import transaction

from jobs.access import Actor
from jobs.errors import Conflict, NotAllowed
from jobs.models import Certificate, Equipment
from jobs.services import later_events, recording, values
from jobs.services.equipment import EVENT_ROLES, judge_users, log, texts
from jobs.services.values import refused
from rules.quantities import UNITS
from rules.science.months import add_months

MOST_POINTS: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class PointEntry:
    """One calibration point as printed; the error belongs to the indication: error = indication -
    reference."""

    nominal: str
    indication: str
    error: str
    expanded_u: str
    unit: str
    k: str = "2"

    def as_json(self, field: str) -> dict[str, Any]:
        """Checked numbers. Codes: bad_number, unit_unknown."""
        if self.unit not in UNITS:
            raise refused("unit_unknown", f"{field}.unit", f"{self.unit} is no unit that is known here.")
        return {
            "nominal": values.read_number(self.nominal, f"{field}.nominal")[0],
            "indication": values.read_number(self.indication, f"{field}.indication")[0],
            "error": values.read_number(self.error, f"{field}.error")[0],
            "U": values.read_positive(self.expanded_u, f"{field}.expanded_u"),
            "k": values.read_positive(self.k, f"{field}.k"),
            "unit": self.unit,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificateEntry:
    """A calibration certificate as transcribed; somebody else confirms it against the paper."""

    id: UUID
    number: str
    lab_name: str
    calibrated_on: str
    issued_on: str
    as_found: tuple[PointEntry, ...] = ()
    as_left: tuple[PointEntry, ...] = ()
    adjusted: bool = False
    accreditation_body: str = ""
    accreditation_no: str = ""
    scope_ok: str = "unknown"
    calibrated_at: str = ""
    mpe_statement: str = ""
    conformity_statement: str = ""
    decision_rule: str = ""
    climate: str = ""
    traceability_text: str = ""
    next_due_on_label: str = ""


@transaction.atomic
def add_certificate(
    *, equipment: Equipment, actor: Actor, as_of: datetime, entry: CertificateEntry
) -> Certificate:
    """Transcribes a certificate. It counts once somebody else has confirmed it.

    Codes: role_missing, number_taken, bad_date, dates_backwards, date_in_future, bad_number, unit_unknown,
    too_many, points_missing.
    """
    recording.require_role(actor, *EVENT_ROLES)
    taken = Certificate.objects.filter(equipment=equipment, number=entry.number, ended_at__isnull=True)
    if taken.exclude(pk=entry.id).exists():
        raise Conflict("number_taken", f"{equipment.tag} has a certificate {entry.number} already.")
    row = Certificate(
        id=entry.id,
        equipment=equipment,
        number=values.read_text(entry.number, "number", longest=80),
        lab_name=values.read_text(entry.lab_name, "lab_name", longest=120),
        scope_ok=values.read_choice(entry.scope_ok, ("yes", "no", "unknown"), "scope_ok"),
        calibrated_at=values.read_instant(entry.calibrated_at, "calibrated_at")
        if entry.calibrated_at
        else None,
        as_found=_points(entry.as_found, "as_found"),
        as_left=_points(entry.as_left, "as_left"),
        no_as_found=not entry.as_found,
        adjusted=entry.adjusted,
        transcribed_by=actor.person,
        **_dates(entry, as_of.date()),
        **texts(entry, accreditation_body=120, accreditation_no=80, mpe_statement=2000),
        **texts(entry, conformity_statement=2000, decision_rule=2000, climate=2000, traceability_text=2000),
    )
    if not row.as_left and not row.as_found and not row.mpe_statement:
        raise refused("points_missing", "as_left", "A certificate has points, or a statement of conformity.")
    recording.stamp(row, actor=actor, as_of=as_of)
    there = recording.repeated(row)
    if there is not None:
        return there
    recording.insert(row)
    log(actor, as_of, "certificate.transcribed", equipment, _certificate_detail(row))
    return row


def _dates(entry: CertificateEntry, today: date) -> dict[str, date | None]:
    calibrated_on = values.read_day(entry.calibrated_on, "calibrated_on")
    issued_on = values.read_day(entry.issued_on, "issued_on")
    if issued_on < calibrated_on:
        raise refused("dates_backwards", "issued_on", "A certificate is not issued before the calibration.")
    # A day of slack: where the laboratory sits, tomorrow may have begun.
    if (calibrated_on - today).days > 1:
        raise refused("date_in_future", "calibrated_on", "calibrated_on lies in the future.")
    label = values.read_day(entry.next_due_on_label, "next_due_on_label") if entry.next_due_on_label else None
    return {"calibrated_on": calibrated_on, "issued_on": issued_on, "next_due_on_label": label}


def _points(entries: Sequence[PointEntry], field: str) -> list[dict[str, Any]]:
    if len(entries) > MOST_POINTS:
        raise refused("too_many", field, f"{field} has more than {MOST_POINTS} points.")
    return [point.as_json(f"{field}[{place}]") for place, point in enumerate(entries)]


def _certificate_detail(row: Certificate) -> dict[str, Any]:
    return {"certificate": str(row.pk), "number": row.number, "sha256": row.content_sha256}


@transaction.atomic
def confirm_certificate(*, certificate: Certificate, actor: Actor, as_of: datetime) -> Certificate:
    """A second person compared the transcription with the paper.

    Raises:
        NotAllowed: ``role_missing``; ``same_person`` who transcribed it.
        Conflict: ``already_confirmed``.
    """
    recording.require_role(actor, *EVENT_ROLES)
    if certificate.transcribed_by_id == actor.person.pk:
        raise NotAllowed("same_person", "Somebody else confirms what you transcribed.")
    rows = Certificate.objects.filter(pk=certificate.pk, confirmed_by__isnull=True, ended_at__isnull=True)
    if rows.update(confirmed_by=actor.person) != 1:
        raise Conflict("already_confirmed", "This certificate was confirmed before, or counts no longer.")
    certificate.refresh_from_db()
    set_due_on(certificate.equipment)
    judge_users(certificate.equipment, actor=actor, as_of=as_of)
    later_events.later_event(
        organisation=certificate.organisation, event="certificate", subject=certificate.pk, as_of=as_of
    )
    log(actor, as_of, "certificate.confirmed", certificate.equipment, _certificate_detail(certificate))
    return certificate


def set_due_on(equipment: Equipment) -> date | None:
    """Repeats on the instrument when its last confirmed certificate runs out, for lists."""
    latest = (
        Certificate.objects.filter(equipment=equipment, confirmed_by__isnull=False, ended_at__isnull=True)
        .order_by("-calibrated_on")
        .first()
    )
    due_on = None
    if latest is not None and equipment.interval_months is not None:
        due_on = add_months(latest.calibrated_on, equipment.interval_months)
    Equipment.objects.filter(pk=equipment.pk).update(due_on=due_on)
    equipment.due_on = due_on
    return due_on
