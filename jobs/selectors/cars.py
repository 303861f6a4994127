"""Reads for the pages of one car and of lists of cars: who stands where, and what the last judgement said."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from jobs.access import Actor, jobs_for
from jobs.models import AssessmentRun, EstimateLine, FindingRow, Job, Packet, Person, Session
from rules.canonical import from_plain
from rules.result import Assessment


@dataclass(frozen=True, slots=True, kw_only=True)
class Car:
    """One job as lists and headings show it."""

    job_id: UUID
    number: str
    make: str
    model: str
    model_year: int
    vin: str
    location: str
    location_name: str
    tz: str
    opened_at: datetime
    delivered_at: datetime | None
    state: str
    gate: str

    @property
    def vin_tail(self) -> str:
        return self.vin[-6:]

    @property
    def released(self) -> bool:
        return self.state in ("released", "delivered", "archived")


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenProof:
    """A proof that is not met and counts, as the board shows it."""

    procedure_id: str
    title: str
    verdict: str
    sentence: str
    change: str
    settle: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardCar:
    car: Car
    verdicts: tuple[str, ...]
    open_proofs: tuple[OpenProof, ...]
    unmapped_lines: int


def car_of(job: Job) -> Car:
    """The heading of one job; needs order, vehicle and location joined."""
    vehicle = job.order.vehicle
    return Car(
        job_id=job.pk,
        number=job.number,
        make=vehicle.make,
        model=vehicle.model,
        model_year=vehicle.model_year,
        vin=vehicle.vin,
        location=job.location.code,
        location_name=job.location.name,
        tz=job.location.tz,
        opened_at=job.opened_at,
        delivered_at=job.delivered_at,
        state=job.state,
        gate="left_against_hold" if job.left_against_hold else job.disposition,
    )


def list_cars(actor: Actor, *, limit: int = 200) -> list[Car]:
    """The newest cars the actor may see, those still here first."""
    rows = jobs_for(actor).exclude(state="archived").order_by("-opened_at", "-pk")[:limit]
    cars = [car_of(job) for job in rows]
    return sorted(cars, key=lambda car: car.delivered_at is not None)


def board_cars(actor: Actor, *, limit: int = 400) -> list[BoardCar]:
    """Every car not archived with its open proofs, in four queries whatever their number."""
    jobs = list(jobs_for(actor).exclude(state="archived").order_by("-opened_at", "-pk")[:limit])
    findings = _findings_by_job(jobs)
    unmapped = _unmapped_by_job(jobs)
    return [_board_car(job, findings.get(job.pk, []), unmapped.get(job.pk, 0)) for job in jobs]


def _findings_by_job(jobs: Iterable[Job]) -> dict[UUID, list[FindingRow]]:
    current = [job.current_assessment_id for job in jobs if job.current_assessment_id]
    found: dict[UUID, list[FindingRow]] = {}
    for row in FindingRow.objects.filter(assessment_id__in=current).order_by("assessment_id", "place"):
        found.setdefault(row.job_id, []).append(row)
    return found


def _unmapped_by_job(jobs: Iterable[Job]) -> dict[UUID, int]:
    lines = EstimateLine.objects.filter(job__in=[job.pk for job in jobs], version=0, ended_at__isnull=True)
    found: dict[UUID, int] = {}
    for job_id in lines.values_list("job_id", flat=True):
        found[job_id] = found.get(job_id, 0) + 1
    return found


def _board_car(job: Job, findings: list[FindingRow], unmapped: int) -> BoardCar:
    by_procedure: dict[str, set[str]] = {}
    for row in findings:
        by_procedure.setdefault(row.procedure_id, set()).add(row.verdict)
    verdicts = (
        "not_met" if "not_met" in seen else "not_shown" if "not_shown" in seen else "met"
        for seen in by_procedure.values()
    )
    return BoardCar(
        car=car_of(job),
        verdicts=tuple(verdicts),
        open_proofs=tuple(
            OpenProof(
                procedure_id=row.procedure_id,
                title=row.title,
                verdict=row.verdict,
                sentence=row.sentence,
                change=row.change,
                settle=row.settle,
            )
            for row in findings
            if row.counts and row.verdict != "met"
        ),
        unmapped_lines=unmapped,
    )


def current_assessment(job: Job) -> Assessment | None:
    """The last finished judgement of the job; None while there is none."""
    if job.current_assessment is None:
        return None
    return from_plain(Assessment, json.loads(job.current_assessment.result))


def newest_run(job: Job) -> AssessmentRun | None:
    return AssessmentRun.objects.filter(job=job).order_by("-requested_at", "-pk").first()


def people_by_id(organisation_id: UUID) -> dict[str, str]:
    """Names of an organisation's people by id and by login."""
    names: dict[str, str] = {}
    for pk, login, name in Person.objects.filter(organisation_id=organisation_id).values_list(
        "pk", "login", "name"
    ):
        names[str(pk)] = names[login] = name
    return names


def sessions_of(job: Job) -> QuerySet[Session]:
    return Session.objects.filter(job=job, ended_how="").order_by("received_at")


def packets_of(job: Job) -> QuerySet[Packet]:
    return Packet.objects.filter(job=job).order_by("number")
