"""Reads for the pages of one car and of lists of cars: who stands where, and what the last judgement said."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Q, QuerySet

from jobs.access import Actor, jobs_for
from jobs.models import Assessment as AssessmentRow
from jobs.models import (
    AssessmentRun,
    Device,
    EstimateLine,
    Evidence,
    FindingRow,
    Job,
    OperationsClosing,
    Packet,
    Person,
    Session,
)
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
    proof_id: str
    check: str
    title: str
    verdict: str
    sentence: str
    change: str
    settle: str
    citation: str


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
    current = [job.current_assessment_id for job in jobs if job.current_assessment_id]
    findings: dict[UUID, list[FindingRow]] = {}
    for row in FindingRow.objects.filter(assessment_id__in=current).order_by("assessment_id", "place"):
        findings.setdefault(row.job_id, []).append(row)
    untold = AssessmentRow.objects.filter(pk__in=current, statement="cannot_tell")
    cannot_tell = set(untold.values_list("job_id", flat=True))
    unmapped = _unmapped_by_job(jobs)
    return [
        _board_car(job, findings.get(job.pk, []), job.pk in cannot_tell, unmapped.get(job.pk, 0))
        for job in jobs
    ]


def _unmapped_by_job(jobs: Iterable[Job]) -> dict[UUID, int]:
    lines = EstimateLine.objects.filter(job__in=[job.pk for job in jobs], version=0, ended_at__isnull=True)
    found: dict[UUID, int] = {}
    for job_id in lines.values_list("job_id", flat=True):
        found[job_id] = found.get(job_id, 0) + 1
    return found


def _board_car(job: Job, findings: list[FindingRow], cannot_tell: bool, unmapped: int) -> BoardCar:
    by_procedure: dict[str, list[FindingRow]] = {}
    for row in findings:
        by_procedure.setdefault(row.procedure_id, []).append(row)
    cells = [_cell(rows) for rows in by_procedure.values()]
    return BoardCar(
        car=car_of(job),
        # What nobody can tell counts as not shown and has no proof of its own.
        verdicts=(*cells, "not_shown") if cannot_tell else tuple(cells),
        open_proofs=tuple(
            OpenProof(
                procedure_id=row.procedure_id,
                proof_id=row.proof_id,
                check=row.check_name,
                title=row.title,
                verdict=row.verdict,
                sentence=row.sentence,
                change=row.change,
                settle=row.settle,
                citation=row.citation,
            )
            for row in findings
            if _is_open(row)
        ),
        unmapped_lines=unmapped,
    )


def _is_open(row: FindingRow) -> bool:
    return row.counts and not row.waived_by and row.verdict != "met"


def _cell(rows: list[FindingRow]) -> str:
    """One procedure in the record strip: its verdict, or what a person decided about all that is open."""
    opened = [row for row in rows if row.verdict != "met"]
    if not opened:
        return "met"
    if not any(_is_open(row) for row in opened):
        return "waived" if any(row.counts for row in opened) else "refused"
    return "not_met" if any(row.verdict == "not_met" for row in opened) else "not_shown"


def current_assessment(job: Job) -> Assessment | None:
    """The last finished judgement; None while there is none, or where judging the record failed."""
    if job.current_assessment is None or job.hold_reason == "judging_failed":
        return None
    return from_plain(Assessment, json.loads(job.current_assessment.result))


def newest_run(job: Job) -> AssessmentRun | None:
    return AssessmentRun.objects.filter(job=job).order_by("-requested_at", "-pk").first()


@dataclass(frozen=True, slots=True, kw_only=True)
class Judging:
    """State of the newest judgement (empty: none), and a text that changes whenever a page would."""

    state: str
    mark: str


def judging_of(job: Job) -> Judging:
    run = newest_run(job)
    state = "" if run is None else run.state
    return Judging(state=state, mark=f"{job.current_assessment_id}:{job.state}:{state}")


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


def photographed(job: Job) -> frozenset[str]:
    """What the standing photos of the job show."""
    rows = Evidence.objects.filter(job=job, kind="photo", ended_at__isnull=True)
    return frozenset(str(subject) for shows in rows.values_list("shows", flat=True) for subject in shows)


def cameras_at(job: Job) -> list[tuple[UUID, str]]:
    """Enrolled devices that may take a picture at the job's location: id and name."""
    rows = Device.objects.filter(revoked_at__isnull=True, equipment__isnull=True)
    here = rows.filter(Q(location__isnull=True) | Q(location_id=job.location_id))
    return list(here.order_by("name").values_list("pk", "name"))


def usual_stage(job: Job) -> str:
    """The stage at which new evidence of this job usually arises now."""
    if job.delivered_at is not None:
        return "later"
    last = sessions_of(job).last()
    if last is not None:
        return "final" if last.ended_at is not None else "calibration"
    closed = OperationsClosing.objects.filter(job=job, ended_at__isnull=True).exists()
    return "before_calibration" if closed else "repair"


def packets_of(job: Job) -> QuerySet[Packet]:
    return Packet.objects.filter(job=job).order_by("number")
