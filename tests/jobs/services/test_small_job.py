"""A small job from intake to delivery by services alone: a door is refinished, no sensor is near it."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest

from jobs.demo import evidence
from jobs.errors import Conflict, NotAllowed
from jobs.facts import job_facts
from jobs.models import Assessment, AssessmentRun, FindingRow, Job, LogEntry, scope
from jobs.services import (
    assessment,
    decision,
    delivery,
    estimate,
    fitted,
    identity,
    measurement,
    records,
    release,
    scan,
    slips,
)
from jobs.services.odometer import Odometer
from rules.vocabulary import SENSORS
from tests.factories import PIN, VehicleFactory
from tests.jobs.shop import Shop, eastmarch, new_id

# Minutes of work in all: left out of what runs before each commit.
pytestmark = pytest.mark.slow

VIN = "Z0KLN2C96S4120077"
FITTED = ("rear_camera", "steering_angle_sensor")


@pytest.fixture
def linnet(db: None) -> Iterator[tuple[Shop, Job]]:
    shop = eastmarch()
    with scope(shop.organisation.pk):
        shop.publish("common-practice.3.yaml")
        shop.vehicle = VehicleFactory.create(
            organisation=shop.organisation, created_by=shop.people["tachterly"], vin=VIN,
            make="Kestmoor", model="Linnet",
        )  # fmt: skip
        shop.observe_clock("07:29")
        yield shop, shop.open_job()


def take(shop: Shop, job: Job, hhmm: str, subject: str, *, slip: str | None = None, **more: Any) -> Any:
    at = shop.at(hhmm).astimezone(ZoneInfo(shop.location.tz))
    data = evidence.photo(subject, taken_at=at, lat=43.1, lon=-98.2, job=job.number, slip=slip)
    taken, _ = shop.upload(job, data, hhmm=hhmm, shows=(subject,), **more)
    return taken


def summary(shop: Shop, hhmm: str) -> dict[str, Any]:
    return {
        "device_serial": "PW-7711",
        "device_software": "4.2",
        "ended_at": shop.text(hhmm),
        "vin_per_module": {"Engine": VIN},
        "supply_voltage_v": 12.8,
        "modules": [
            {"name": "Engine", "system": "other", "answered": True, "software_no": "11"},
            {"name": "Rear camera", "system": "rear_camera", "answered": True},
        ],
    }


def record_everything(shop: Shop, job: Job, *, with_pictures: bool = True) -> None:
    """The whole record of the job up to the signatures; decoding pictures takes most of the time."""
    ines, tobin = shop.actor("itolvaar"), shop.actor("tachterly")
    tablet = shop.tablet.pk
    plate: tuple[UUID, ...] = ()
    if with_pictures:
        slip = slips.issue_slip(job=job, actor=ines, as_of=shop.at("07:39"))
        take(shop, job, "07:40", "vehicle_front_with_slip", slip=slip.code)
        take(shop, job, "07:41", "plate")
        plate = (take(shop, job, "07:42", "vin_plate").pk,)
        take(shop, job, "07:42", "dash_lamps_before")
        take(shop, job, "07:43", "odometer_in")
        take(shop, job, "09:25", "dash_lamps_after")
    identity.record_identity(
        job=job, actor=ines, as_of=shop.at("07:45"),
        entry=identity.IdentityEntry(
            id=new_id(), way="vin_plate_photo", vin_read=VIN, at=shop.text("07:44"), device=tablet,
            evidence=plate,
        ),
    )  # fmt: skip
    for sensor in SENSORS:
        for way in ("build_data", "sight"):
            state = "yes" if sensor in FITTED else "no"
            entry = fitted.FittedEntry(
                id=new_id(), sensor=sensor, state=state, way=way, at=shop.text("07:46"), device=tablet
            )
            fitted.record_fitted(job=job, actor=ines, as_of=shop.at("07:47"), entry=entry)
    scan_at(shop, job, "before_repair", "07:50")
    line = estimate.add_line(
        job=job, actor=tobin, as_of=shop.at("07:55"),
        entry=estimate.LineEntry(id=new_id(), line_no=1, text="Refinish door, left front"),
    )  # fmt: skip
    with pytest.raises(Conflict) as conflict:
        estimate.close_operations(
            job=job, actor=tobin, as_of=shop.at("07:56"), entry=estimate.ClosingEntry(id=new_id())
        )
    assert (conflict.value.code, conflict.value.extra["lines"]) == ("lines_unmapped", [1])
    estimate.map_line(
        job=job, line=line, actor=tobin, as_of=shop.at("07:57"),
        entry=estimate.MappingEntry(version=0, operations=("door.left_front.refinished",)),
    )  # fmt: skip
    estimate.close_operations(
        job=job, actor=tobin, as_of=shop.at("07:58"), entry=estimate.ClosingEntry(id=new_id())
    )
    estimate.record_operation(
        job=job, actor=ines, as_of=shop.at("09:01"),
        entry=estimate.OperationEntry(
            id=new_id(), operation="door.left_front.refinished", started_at=shop.text("08:10"),
            done_at=shop.text("09:00"), device=tablet,
        ),
    )  # fmt: skip
    scan_at(shop, job, "final", "09:20")
    records.record_lamps(
        job=job, actor=ines, as_of=shop.at("09:26"),
        entry=records.LampEntry(
            id=new_id(), at=shop.text("09:25"), device=tablet,
            states=dict.fromkeys(("driver_assistance", "airbag", "brake", "steering"), "unlit"),
        ),
    )  # fmt: skip


def scan_at(shop: Shop, job: Job, stage: str, hhmm: str) -> None:
    scan.record_scan(
        job=job, actor=shop.actor("itolvaar"), as_of=shop.at(hhmm) + timedelta(seconds=30),
        entry=scan.ScanEntry(
            id=new_id(), tool="SD-011", stage=stage, summary=summary(shop, hhmm), device=shop.tablet.pk
        ),
    )  # fmt: skip


def judge(shop: Shop, job: Job, as_of: datetime) -> Assessment:
    run = assessment.request_assessment(job=job, actor=shop.actor("itolvaar"), as_of=as_of)
    done = assessment.perform_assessment(run_id=run.pk, as_of=as_of)
    job.refresh_from_db()
    assert done.assessment is not None
    return done.assessment


def open_proofs(kept: Assessment) -> dict[str, list[str]]:
    rows = FindingRow.objects.filter(assessment=kept).exclude(verdict="met").order_by("place")
    return {row.proof_id: row.reasons for row in rows}


def sign(shop: Shop, job: Job, login: str, role: str, hhmm: str) -> None:
    decision.sign(
        job=job, actor=shop.actor(login), as_of=shop.at(hhmm),
        entry=decision.SignOffEntry(id=new_id(), role=role, pin=PIN, statement_version=f"{role}-1"),
    )  # fmt: skip


def test_a_small_job_is_judged_signed_released_and_delivered(linnet: tuple[Shop, Job]) -> None:
    shop, job = linnet
    record_everything(shop, job)
    first = judge(shop, job, shop.at("09:30"))
    assert open_proofs(first) == {
        "sign": ["not_signed"],
        "second": ["not_signed"],
        "order": ["missing"],
    }
    assert (job.state, job.disposition) == ("working", "hold")

    entry = release.ReleaseEntry(id=new_id(), pin=PIN)
    with pytest.raises(NotAllowed):
        release.release_job(job=job, actor=shop.actor("itolvaar"), as_of=shop.at("09:31"), entry=entry)
    with pytest.raises(Conflict) as held:
        release.release_job(job=job, actor=shop.actor("tachterly"), as_of=shop.at("09:31"), entry=entry)
    assert held.value.code == "release_not_open"
    assert {"sign", "second"} <= {proof["proof_id"] for proof in held.value.extra["open"]}

    sign(shop, job, "itolvaar", "technician", "09:35")
    sign(shop, job, "dpell", "quality_reviewer", "09:40")
    second = judge(shop, job, shop.at("09:41"))
    assert (open_proofs(second), second.verdict, second.disposition) == ({}, "met", "release")
    assert job.state == "review"

    released = release.release_job(
        job=job, actor=shop.actor("tachterly"), as_of=shop.at("09:45"), entry=entry
    )
    assert released.assessment is not None
    assert released.assessment.gate_at == shop.at("09:45")
    assert job.state == "released"
    assert judge(shop, job, shop.at("09:46")).disposition == "release"
    assert job.state == "released"

    take(shop, job, "09:58", "odometer_out", stage="delivery")
    delivery.deliver(
        job=job, actor=shop.actor("tachterly"), as_of=shop.at("10:01"),
        entry=delivery.DeliveryEntry(
            id=new_id(), delivered_at=shop.text("10:00"), device=shop.tablet.pk,
            odometer_out=Odometer(value="21007", unit="km"),
        ),
    )  # fmt: skip
    last = judge(shop, job, shop.at("10:05"))
    assert (open_proofs(last), last.left_against_hold, job.state) == ({}, False, "delivered")
    assert LogEntry.objects.filter(what="verdict.computed").count() == 5


def test_a_car_that_leaves_on_hold_left_against_hold_for_ever(linnet: tuple[Shop, Job]) -> None:
    shop, job = linnet
    record_everything(shop, job, with_pictures=False)
    delivery.deliver(
        job=job, actor=shop.actor("tachterly"), as_of=shop.at("10:01"),
        entry=delivery.DeliveryEntry(
            id=new_id(), delivered_at=shop.text("10:00"), device=shop.tablet.pk,
            odometer_out=Odometer(value="21007", unit="km"),
        ),
    )  # fmt: skip
    judge(shop, job, shop.at("10:05"))
    assert (job.left_against_hold, job.state) == (True, "delivered")
    sign(shop, job, "itolvaar", "technician", "10:30")
    sign(shop, job, "dpell", "quality_reviewer", "10:31")
    judge(shop, job, shop.at("10:32"))
    assert job.left_against_hold is True


def test_a_record_after_the_release_takes_the_job_back(linnet: tuple[Shop, Job]) -> None:
    shop, job = linnet
    record_everything(shop, job)
    sign(shop, job, "itolvaar", "technician", "09:35")
    sign(shop, job, "dpell", "quality_reviewer", "09:40")
    entry = release.ReleaseEntry(id=new_id(), pin=PIN)
    release.release_job(job=job, actor=shop.actor("tachterly"), as_of=shop.at("09:45"), entry=entry)
    scan_at(shop, job, "final", "09:50")
    after = judge(shop, job, shop.at("09:55"))
    assert after.disposition == "hold"
    assert "sign_off_stale" in open_proofs(after)["sign"]
    assert job.state == "held"


def test_the_same_inputs_give_the_same_row_once(linnet: tuple[Shop, Job]) -> None:
    shop, job = linnet
    run = assessment.request_assessment(job=job, actor=shop.actor("itolvaar"), as_of=shop.at("08:00"))
    done = assessment.perform_assessment(run_id=run.pk, as_of=shop.at("08:00"))
    again = assessment.perform_assessment(run_id=run.pk, as_of=shop.at("08:10"))
    assert done.assessment_id == again.assessment_id
    # A worker that was lost after writing the result but before the run's end: the run goes on with its own
    # gate instant and finds the row.
    AssessmentRun.objects.filter(pk=run.pk).update(state="running", assessment=None)
    third = assessment.perform_assessment(run_id=run.pk, as_of=shop.at("08:20"))
    assert third.assessment_id == done.assessment_id
    assert Assessment.objects.filter(job=job).count() == 1


def test_judging_later_than_the_facts_does_not_see_later_records(linnet: tuple[Shop, Job]) -> None:
    shop, job = linnet
    before = job_facts(job=job, as_of=shop.at("07:35"))
    record_everything(shop, job, with_pictures=False)
    assert job_facts(job=job, as_of=shop.at("07:35")) == before


def test_readings_are_judged_with_their_gauge(linnet: tuple[Shop, Job]) -> None:
    shop, job = linnet
    (reading,) = measurement.record_readings(
        job=job, actor=shop.actor("itolvaar"), as_of=shop.at("08:31"),
        entries=(
            measurement.ReadingEntry(
                id=new_id(), quantity="tyre_pressure", place="front_left", value="240", unit="kPa",
                at=shop.text("08:30"), device=shop.tablet.pk, instrument="PG-022",
            ),
        ),
    )  # fmt: skip
    facts = job_facts(job=job, as_of=shop.at("09:00"))
    (held,) = (item for item in facts.readings if item.quantity == "tyre_pressure")
    assert (held.id, held.u, held.instrument) == (str(reading.pk), 1.443376, "PG-022")
    assert [item.tag for item in facts.equipment] == ["PG-022"]
