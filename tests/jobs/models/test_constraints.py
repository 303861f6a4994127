"""What the database itself refuses, table by table."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from jobs.models import (
    AccessGrant,
    ClockObservation,
    EstimateLine,
    Job,
    OperationsClosing,
    OutboxEntry,
    Person,
    Reading,
    RecordedMoment,
    Session,
    unscoped,
)
from tests.jobs import rows
from tests.jobs.rows import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def job() -> Any:
    with unscoped():
        owner = rows.organisation()
        place = rows.location(owner)
        yield rows.job(place, rows.person(owner, "itolvaar", place))


def _record(job: Job) -> dict[str, Any]:
    by = Person.objects.get(login="itolvaar")
    return {
        "organisation": job.organisation, "job": job, "created_by": by, "received_at": NOON,
        "content_sha256": "0" * 64,
    }  # fmt: skip


def refused(make: Callable[[], object]) -> bool:
    try:
        with transaction.atomic():
            make()
    except IntegrityError:
        return True
    return False


def test_an_order_number_is_unique_per_location_only(job: Job) -> None:
    by = Person.objects.get(login="itolvaar")
    assert refused(lambda: rows.job(job.location, by, job.number))
    assert not refused(lambda: rows.job(rows.location(job.organisation, "LM"), by, job.number))


def test_a_login_is_one_human_whatever_its_case(job: Job) -> None:
    other = rows.organisation("Sallowfield")
    assert refused(lambda: Person.objects.create(login="ITolvaar", organisation=other, name="x"))


def test_one_live_closing_stands_at_a_time(job: Job) -> None:
    by = Person.objects.get(login="itolvaar")

    def close() -> OperationsClosing:
        return OperationsClosing.objects.create(**_record(job), closed_by=by, at=RecordedMoment.exact(NOON))

    first = close()
    assert refused(close)
    OperationsClosing.objects.filter(pk=first.pk).update(
        ended_at=NOON, ended_how="withdrawn", ended_by=by, ended_reason="one line was missing"
    )
    assert not refused(close)


def test_an_estimate_line_number_counts_once_among_live_lines(job: Job) -> None:
    def line() -> EstimateLine:
        return EstimateLine.objects.create(**_record(job), line_no=1, text="Replace windshield")

    line()
    assert refused(line)


def test_an_ending_is_whole_or_absent(job: Job) -> None:
    by = Person.objects.get(login="itolvaar")
    row = rows.reading(job, by)
    kept = Reading.objects.filter(pk=row.pk)
    for half in (
        {"ended_at": NOON},
        {"ended_at": NOON, "ended_how": "set_aside"},
        {"ended_how": "set_aside", "ended_by": by},
        {"ended_at": NOON, "ended_how": "lost", "ended_by": by},
    ):
        assert refused(lambda half=half: kept.update(**half)), half
    assert not refused(lambda: kept.update(ended_at=NOON, ended_how="corrected", ended_by=by))


def test_a_correction_needs_a_reason(job: Job) -> None:
    by = Person.objects.get(login="itolvaar")
    first = rows.reading(job, by)
    assert refused(lambda: rows.reading(job, by, corrects=first))
    assert not refused(lambda: rows.reading(job, by, corrects=first, correction_reason="mistyped"))


def test_the_same_bytes_are_one_evidence_of_a_job(job: Job) -> None:
    by = Person.objects.get(login="itolvaar")
    rows.evidence(job, by, 1)
    assert refused(lambda: rows.evidence(job, by, 2, sha256=f"{1:064x}"))
    assert refused(lambda: rows.evidence(job, by, 1, sha256="a" * 64))
    second = rows.job(job.location, by, "EM-2026-0418")
    assert not refused(lambda: rows.evidence(second, by, 1))


@pytest.mark.parametrize(
    ("field", "value"), [("state", "gone"), ("verdict", "passed"), ("disposition", "approved")]
)
def test_a_job_has_only_the_known_words(job: Job, field: str, value: str) -> None:
    assert refused(lambda: Job.objects.filter(pk=job.pk).update(**{field: value}))


def test_an_attempt_number_is_used_once_for_each_procedure(job: Job) -> None:
    by = Person.objects.get(login="itolvaar")

    def attempt(procedure: str, number: int) -> Session:
        return Session.objects.create(
            **_record(job), procedure_id=procedure, attempt=number, location=job.location, performed_by=by,
            started=RecordedMoment.exact(NOON),
        )  # fmt: skip

    attempt("OV-FC-STATIC", 1)
    assert refused(lambda: attempt("OV-FC-STATIC", 1))
    assert not refused(lambda: attempt("OV-FC-STATIC", 2))
    assert not refused(lambda: attempt("OV-FR-STATIC", 1))


def test_a_clock_observation_is_an_interval(job: Job) -> None:
    device = rows.device(job.organisation)

    def seen(low: float, high: float) -> ClockObservation:
        return ClockObservation.objects.create(
            organisation=job.organisation, device=device, device_reads=NOON, true_low=NOON, true_high=NOON,
            offset_low_s=low, offset_high_s=high, how="network_exchange", received_at=NOON,
        )  # fmt: skip

    assert refused(lambda: seen(0.2, 0.1))
    assert not refused(lambda: seen(0.1, 0.1))


def test_a_grant_is_of_something_to_somebody_for_a_while(job: Job) -> None:
    by = Person.objects.get(login="itolvaar")
    good = {
        "organisation": job.organisation, "job": job, "to_person": by, "purpose": "internal",
        "valid_from": NOON, "until": NOON + timedelta(days=30), "granted_at": NOON, "granted_by": by,
        "max_downloads": 1,
    }  # fmt: skip
    for wrong in (
        {"job": None}, {"to_person": None}, {"until": NOON}, {"purpose": "fun"}, {"downloads": 2},
    ):  # fmt: skip
        assert refused(lambda wrong=wrong: AccessGrant.objects.create(**(good | wrong))), wrong
    assert not refused(lambda: AccessGrant.objects.create(**good))


def test_a_sealed_packet_has_its_file(job: Job) -> None:
    by = Person.objects.get(login="itolvaar")
    assert refused(lambda: rows.packet(job, by, 1, state="sealed"))
    assert not refused(lambda: rows.packet(job, by, 1, state="sealed", built_at=NOON, pdf_sha256="a" * 64))


def test_a_lease_is_whole_or_absent(job: Job) -> None:
    def entry(**fields: Any) -> OutboxEntry:
        return OutboxEntry.objects.create(
            organisation=job.organisation, task="t", key="k", created_at=NOON, **fields
        )

    assert refused(lambda: entry(state="leased"))
    assert refused(lambda: entry(state="waiting", owner="a", lease_until=NOON))
    assert not refused(lambda: entry(state="leased", owner="a", lease_until=NOON))


def test_a_moment_comes_back_as_it_went_in(job: Job) -> None:
    moment = RecordedMoment(
        text="2026-05-12T12:00:00.250-05:00",
        reading=NOON + timedelta(milliseconds=250),
        clock="device:9c6f",
        low=NOON - timedelta(hours=24),
        high=NOON,
        resolution_s=60.0,
    )
    by = Person.objects.get(login="itolvaar")
    row = Session.objects.create(
        **_record(job), procedure_id="p", location=job.location, performed_by=by, started=moment
    )
    kept = Session.objects.get(pk=row.pk)
    assert kept.started == moment
    assert kept.ended is None
    assert kept.started.moment().clock == "device:9c6f"
    kept.full_clean(exclude=["device"])
