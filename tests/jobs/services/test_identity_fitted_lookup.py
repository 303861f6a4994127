"""Readings of the VIN, ways of knowing what is fitted, and the maker's text looked up."""

from typing import Any

import pytest

from jobs.errors import Conflict, NotAllowed, Refused
from jobs.models import AssessmentRun, FittedWay, IdentityReading, Job, LogEntry, TextLookup
from jobs.services import fitted, identity, lookup
from jobs.services.fitted import FittedEntry
from jobs.services.identity import IdentityEntry
from jobs.services.lookup import LookupEntry
from tests.factories import PersonFactory
from tests.jobs.shop import Shop, new_id


def test_a_vin_is_kept_exactly_as_read(shop: Shop, job: Job) -> None:
    entry = IdentityEntry(
        id=new_id(), way="vin_plate_photo", vin_read="ZOASD1F89 S2011835", at=shop.text("08:00"),
        device=shop.tablet.pk,
    )  # fmt: skip
    shop.people["auditor"] = PersonFactory.create(organisation=shop.organisation, roles=["auditor"])
    with pytest.raises(NotAllowed) as refusal:
        identity.record_identity(job=job, actor=shop.actor("auditor"), as_of=shop.at("08:01"), entry=entry)
    assert refusal.value.code == "role_missing"
    kept = identity.record_identity(
        job=job, actor=shop.actor("itolvaar"), as_of=shop.at("08:01"), entry=entry
    )
    assert (kept.vin_read, kept.at.clock) == ("ZOASD1F89 S2011835", f"device:{shop.tablet.pk}")
    # Observed at 07:29 to 0.1 s either way, and 31 minutes of drift.
    assert (kept.at.high - kept.at.low).total_seconds() == pytest.approx(0.2 + 2 * 1e-4 * 1860, abs=0.02)
    assert LogEntry.objects.filter(what="identity.read").count() == 1


def test_without_a_device_the_clock_is_nobodys(shop: Shop, job: Job) -> None:
    entry = IdentityEntry(id=new_id(), way="typed", vin_read="X", at=shop.text("08:00"))
    kept = identity.record_identity(
        job=job, actor=shop.actor("itolvaar"), as_of=shop.at("08:01"), entry=entry
    )
    assert kept.at.clock.startswith("device:unnamed-")
    assert (kept.at.low, kept.at.high) == (shop.at("08:00", days=-1), shop.at("08:01"))
    again = identity.record_identity(
        job=job, actor=shop.actor("itolvaar"), as_of=shop.at("08:02"), entry=entry
    )
    assert again.pk == kept.pk
    assert again.received_at == shop.at("08:01")


def test_the_same_id_with_other_content_is_refused(shop: Shop, job: Job) -> None:
    actor, used = shop.actor("itolvaar"), new_id()
    for vin_read in ("A", "B"):
        entry = IdentityEntry(id=used, way="scan", vin_read=vin_read, at=shop.text("08:00"))
        if vin_read == "A":
            identity.record_identity(job=job, actor=actor, as_of=shop.at("08:01"), entry=entry)
            continue
        with pytest.raises(Conflict) as conflict:
            identity.record_identity(job=job, actor=actor, as_of=shop.at("08:02"), entry=entry)
        assert conflict.value.code == "id_in_use"


@pytest.mark.parametrize(
    ("changes", "code", "field"),
    [
        ({"way": "guess"}, "bad_choice", "way"),
        ({"vin_read": ""}, "text_length", "vin_read"),
        ({"vin_read": "1" * 41}, "text_length", "vin_read"),
        ({"at": "yesterday"}, "bad_instant", "at"),
        ({"at": "2026-05-07T08:00:00Z"}, "instant_in_future", "at"),
        ({"device": new_id()}, "unknown_device", "device"),
        ({"evidence": (new_id(),)}, "unknown_reference", "evidence"),
    ],
)
def test_faulty_identity_readings_leave_nothing(
    shop: Shop, job: Job, changes: dict[str, Any], code: str, field: str
) -> None:
    before = IdentityReading.objects.count()
    fields: dict[str, Any] = {"way": "typed", "vin_read": "X", "at": shop.text("08:00")}
    with pytest.raises(Refused) as refusal:
        identity.record_identity(
            job=job,
            actor=shop.actor("itolvaar"),
            as_of=shop.at("08:01"),
            entry=IdentityEntry(id=new_id(), **(fields | changes)),
        )
    assert (refusal.value.code, refusal.value.extra["field"]) == (code, field)
    assert IdentityReading.objects.count() == before


def test_an_archived_job_takes_no_more_records(shop: Shop, job: Job) -> None:
    Job.objects.filter(pk=job.pk).update(state="archived")
    job.refresh_from_db()
    with pytest.raises(Conflict) as conflict:
        identity.record_identity(
            job=job,
            actor=shop.actor("itolvaar"),
            as_of=shop.at("08:01"),
            entry=IdentityEntry(id=new_id(), way="typed", vin_read="X", at=shop.text("08:00")),
        )
    assert conflict.value.code == "job_archived"


@pytest.mark.parametrize(
    ("sensor", "state", "way", "code"),
    [
        ("forward_camera", "yes", "sight", ""),
        ("lidar", "unknown", "owner_statement", ""),
        ("engine", "yes", "sight", "bad_choice"),
        ("lidar", "maybe", "sight", "bad_choice"),
        ("lidar", "no", "smell", "bad_choice"),
    ],
)
def test_ways_of_knowing_what_is_fitted(
    shop: Shop, job: Job, sensor: str, state: str, way: str, code: str
) -> None:
    entry = FittedEntry(id=new_id(), sensor=sensor, state=state, way=way, at=shop.text("08:00"))
    actor = shop.actor("itolvaar")
    if code:
        with pytest.raises(Refused) as refusal:
            fitted.record_fitted(job=job, actor=actor, as_of=shop.at("08:01"), entry=entry)
        assert refusal.value.code == code
        assert not FittedWay.objects.exists()
        return
    kept = fitted.record_fitted(job=job, actor=actor, as_of=shop.at("08:01"), entry=entry)
    assert (kept.sensor, kept.state, kept.way, kept.found_by) == (sensor, state, way, actor.person)


def test_a_lookup_names_who_and_when(shop: Shop, job: Job) -> None:
    entry = LookupEntry(
        id=new_id(), procedure_id="OV-FC-ROAD", document_number="OV-SI-2114", edition="2026-02",
        section="4", retrieved_at=shop.text("08:10"), device=shop.tablet.pk,
    )  # fmt: skip
    kept = lookup.record_lookup(job=job, actor=shop.actor("itolvaar"), as_of=shop.at("08:11"), entry=entry)
    assert kept.retrieved is not None
    assert (kept.retrieved_by.login, kept.retrieved.reading) == ("itolvaar", shop.at("08:10"))
    with pytest.raises(Refused) as refusal:
        lookup.record_lookup(
            job=job,
            actor=shop.actor("itolvaar"),
            as_of=shop.at("08:12"),
            entry=LookupEntry(
                id=new_id(), procedure_id="OV-FC-ROAD", document_number="", edition="", section="",
                retrieved_at="",
            ),
        )  # fmt: skip
    assert refusal.value.code == "text_length"
    assert TextLookup.objects.count() == 1


def test_records_that_come_in_together_ask_for_one_judgement(shop: Shop, job: Job) -> None:
    for sensor in ("lidar", "night_camera", "driver_camera"):
        entry = FittedEntry(id=new_id(), sensor=sensor, state="no", way="sight", at=shop.text("08:00"))
        fitted.record_fitted(job=job, actor=shop.actor("itolvaar"), as_of=shop.at("08:01"), entry=entry)
    (run,) = AssessmentRun.objects.filter(job=job)
    assert (run.state, run.requested_at) == ("waiting", shop.at("08:01"))
