"""Instruments with their certificates and events, and people with their qualifications."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any, Literal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q

from jobs.facts.clock_book import ClockBook
from jobs.facts.rows import base
from jobs.models import (
    BeforeUseCheck,
    Certificate,
    Equipment,
    EquipmentEvent,
    EquipmentUse,
    Job,
    Person,
    Qualification,
)
from rules import facts as held


def certificate(row: Certificate) -> held.Certificate:
    """The as-left points, or the as-found ones where nothing was adjusted."""
    points = row.as_left or ([] if row.adjusted else row.as_found)
    return held.Certificate(
        **base(row),
        number=row.number,
        lab_name=row.lab_name,
        calibrated_on=row.calibrated_on,
        calibrated_at=row.calibrated_at,
        points=tuple(_point(point) for point in points),
        mpe_statement=row.mpe_statement or None,
        no_as_found=row.no_as_found,
        confirmed=row.confirmed_by_id is not None,
    )


def _point(stored: Mapping[str, Any]) -> held.CalibrationPoint:
    return held.CalibrationPoint(
        nominal=float(stored["nominal"]),
        indication=float(stored["indication"]),
        error=float(stored["error"]),
        expanded_u=float(stored["U"]),
        k=float(stored["k"]),
        unit=str(stored["unit"]),
    )


def event(row: EquipmentEvent, book: ClockBook) -> held.EquipmentEvent:
    return held.EquipmentEvent(**base(row), kind=row.kind, at=book.moment(row.at, row.received_at))


def before_use_check(row: BeforeUseCheck, book: ClockBook) -> held.BeforeUseCheck:
    return held.BeforeUseCheck(**base(row), at=book.moment(row.at, row.received_at), passed=row.passed)


class GearRows:
    """Rows about the given instruments; always four queries."""

    def __init__(self, job: Job, ids: Iterable[UUID]) -> None:
        wanted = set(ids)
        self.job = job
        self.equipment = list(Equipment.objects.filter(pk__in=wanted).order_by("tag"))
        self.certificates = list(
            Certificate.objects.filter(equipment__in=wanted).order_by("calibrated_on", "id")
        )
        self.events = list(EquipmentEvent.objects.filter(equipment__in=wanted).order_by("received_at", "id"))
        self.checks = list(BeforeUseCheck.objects.filter(equipment__in=wanted).order_by("received_at", "id"))
        self.uses = list(
            EquipmentUse.objects.filter(
                Q(used_at__lt=job.opened_at), equipment__in=wanted, equipment__interval_uses__isnull=False
            )
            .exclude(job=job)
            .values_list("equipment_id", "job_id", "session_id", "used_on")
            .distinct()
        )

    def moments(self) -> list[Any]:
        """Stored moments among them, for the clocks they name."""
        return [*(row.at for row in self.events), *(row.at for row in self.checks)]

    def facts(self, book: ClockBook) -> tuple[held.Equipment, ...]:
        certificates: dict[UUID, list[held.Certificate]] = defaultdict(list)
        for row in self.certificates:
            certificates[row.equipment_id].append(certificate(row))
        events: dict[UUID, list[held.EquipmentEvent]] = defaultdict(list)
        for happened in self.events:
            events[happened.equipment_id].append(event(happened, book))
        checks: dict[UUID, list[held.BeforeUseCheck]] = defaultdict(list)
        for check in self.checks:
            checks[check.equipment_id].append(before_use_check(check, book))
        return tuple(
            _equipment(
                row,
                certificates=certificates[row.pk],
                events=events[row.pk],
                checks=checks[row.pk],
                uses_before=self._uses_before(row, certificates[row.pk]),
            )
            for row in self.equipment
        )

    def _uses_before(self, row: Equipment, certificates: Sequence[held.Certificate]) -> int:
        """Uses on earlier jobs since the last calibration on or before the day this job was opened.

        A calibration after that day takes none of them away, nor does a certificate nobody has confirmed.
        """
        opened_on = self.job.opened_at.astimezone(ZoneInfo(self.job.location.tz)).date()
        calibrated = [item.calibrated_on for item in certificates if item.ended_at is None and item.confirmed]
        since = max((day for day in calibrated if day <= opened_on), default=date.min)
        return sum(
            1 for equipment_id, _, _, used_on in self.uses if equipment_id == row.pk and used_on >= since
        )


def _equipment(
    row: Equipment,
    *,
    certificates: Sequence[held.Certificate],
    events: Sequence[held.EquipmentEvent],
    checks: Sequence[held.BeforeUseCheck],
    uses_before: int,
) -> held.Equipment:
    return held.Equipment(
        tag=row.tag,
        cls=row.cls,
        unit=row.unit,
        needs_certificate=row.needs_certificate,
        interval_months=row.interval_months,
        interval_uses=row.interval_uses,
        in_service_from=row.in_service_from,
        state=_state(row.state),
        state_since=row.state_since,
        needs_check_before_use=row.check_before_use is not None,
        maker=row.maker,
        model=row.model,
        serial=row.serial,
        certificates=tuple(certificates),
        events=tuple(events),
        before_use_checks=tuple(checks),
        uses_before=uses_before,
    )


def _state(text: str) -> Literal["in_service", "quarantined", "retired"]:
    if text == "in_service":
        return "in_service"
    return "retired" if text == "retired" else "quarantined"


def qualification(row: Qualification) -> held.Qualification:
    return held.Qualification(
        **base(row),
        kind=row.kind,
        issuer=row.issuer,
        number=row.number,
        issued_on=row.issued_on,
        expires_on=row.expires_on,
        revoked_on=row.revoked_on,
    )


def people(ids: Iterable[UUID]) -> tuple[held.Person, ...]:
    """The people with these ids and what they are qualified for, by login; two queries."""
    wanted = set(ids)
    rows = list(Person.objects.filter(pk__in=wanted).order_by("login"))
    qualifications: dict[UUID, list[held.Qualification]] = defaultdict(list)
    for row in Qualification.objects.filter(person__in=wanted).order_by("issued_on", "id"):
        qualifications[row.person_id].append(qualification(row))
    return tuple(
        held.Person(
            id=str(row.pk),
            login=row.login,
            name=row.name,
            roles=tuple(sorted(row.roles)),
            qualifications=tuple(qualifications[row.pk]),
        )
        for row in rows
    )
