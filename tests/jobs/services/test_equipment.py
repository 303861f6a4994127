"""Instruments, their certificates, events and checks before use."""

from datetime import date
from typing import Any

import pytest

from jobs.errors import Conflict, NotAllowed, Refused
from jobs.facts import job_facts
from jobs.models import AssessmentRun, Certificate, Device, Equipment, EquipmentEvent, Job
from jobs.services import certificates, equipment, measurement
from jobs.services.certificates import CertificateEntry, PointEntry
from jobs.services.equipment import CheckEntry, EquipmentEntry, EventEntry
from tests.jobs.shop import Shop, new_id


def register(shop: Shop, login: str = "tachterly", **fields: Any) -> Equipment:
    given: dict[str, Any] = {
        "id": new_id(), "tag": "TM-014", "cls": "tape", "in_service_from": "2024-02-05", "unit": "mm",
        "resolution": "1", "interval_months": 6, "home_location": "EM",
    } | fields  # fmt: skip
    return equipment.register_equipment(
        actor=shop.actor(login), as_of=shop.at("08:00"), entry=EquipmentEntry(**given)
    )


def test_the_desk_registers_instruments(shop: Shop) -> None:
    with pytest.raises(NotAllowed):
        register(shop, "itolvaar")
    tape = register(shop)
    assert (tape.tag, tape.resolution, tape.state) == ("TM-014", 1.0, "in_service")
    assert not Device.objects.filter(equipment=tape).exists()
    logger = register(shop, tag="VL-009", cls="voltage_logger", unit="V")
    assert Device.objects.get(equipment=logger).kind == "voltage_logger"


def test_a_tag_is_used_once(shop: Shop) -> None:
    tape = register(shop)
    assert register(shop, id=tape.pk).pk == tape.pk
    with pytest.raises(Conflict) as conflict:
        register(shop)
    assert conflict.value.code == "tag_taken"


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"cls": "hammer"}, "bad_choice"),
        ({"unit": "furlong"}, "unit_unknown"),
        ({"interval_months": 0}, "bad_number"),
        ({"interval_months": 241}, "bad_number"),
        ({"interval_uses": 0}, "bad_number"),
        ({"resolution": "-1"}, "bad_number"),
        ({"in_service_from": "2024-02-30"}, "bad_date"),
        ({"home_location": "XX"}, "unknown_reference"),
        ({"check_reference": "3000.0 mm bar", "check_limit": "3000 ± 1"}, "unit_missing"),
        ({"interval_months": 240, "interval_uses": 100_000}, ""),
    ],
)
def test_what_an_instrument_may_say(shop: Shop, fields: dict[str, Any], code: str) -> None:
    before = Equipment.objects.count()
    if not code:
        assert register(shop, **fields).pk
        return
    with pytest.raises(Refused) as refusal:
        register(shop, **fields)
    assert refusal.value.code == code
    assert Equipment.objects.count() == before


def point(**fields: Any) -> PointEntry:
    given: dict[str, Any] = {
        "nominal": "250",
        "indication": "250.6",
        "error": "0.6",
        "expanded_u": "2",
        "unit": "kPa",
    }
    return PointEntry(**(given | fields))


def transcribe(shop: Shop, login: str = "itolvaar", **fields: Any) -> Certificate:
    given: dict[str, Any] = {
        "id": new_id(), "number": "FM-26-1180", "lab_name": "Fellgate Metrology Laboratory",
        "calibrated_on": "2026-02-12", "issued_on": "2026-02-14",
        "as_left": (point(),), "as_found": (point(),),
    } | fields  # fmt: skip
    return certificates.add_certificate(
        equipment=Equipment.objects.get(tag="PG-022"),
        actor=shop.actor(login),
        as_of=shop.at("08:00"),
        entry=CertificateEntry(**given),
    )


def test_a_certificate_counts_once_somebody_else_confirmed_it(shop: Shop, job: Job) -> None:
    row = transcribe(shop)
    gauge = Equipment.objects.get(tag="PG-022")
    assert gauge.due_on is None
    with pytest.raises(NotAllowed) as refusal:
        certificates.confirm_certificate(
            certificate=row, actor=shop.actor("itolvaar"), as_of=shop.at("08:05")
        )
    assert refusal.value.code == "same_person"
    confirmed = certificates.confirm_certificate(
        certificate=row, actor=shop.actor("dpell"), as_of=shop.at("08:05")
    )
    gauge.refresh_from_db()
    assert confirmed.confirmed_by is not None
    assert (confirmed.confirmed_by.login, gauge.due_on) == ("dpell", date(2027, 2, 12))
    with pytest.raises(Conflict) as conflict:
        certificates.confirm_certificate(certificate=row, actor=shop.actor("dpell"), as_of=shop.at("08:06"))
    assert conflict.value.code == "already_confirmed"
    again = transcribe(shop, id=row.pk)
    assert again.pk == row.pk


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"issued_on": "2026-02-11"}, "dates_backwards"),
        ({"calibrated_on": "2026-05-07", "issued_on": "2026-05-07"}, "date_in_future"),
        ({"as_left": (), "as_found": ()}, "points_missing"),
        ({"as_left": (point(error="n/a"),)}, "bad_number"),
        ({"as_left": (point(expanded_u="0"),)}, "bad_number"),
        ({"as_left": (point(unit="atm"),)}, "unit_unknown"),
        ({"as_left": (point(),) * 61}, "too_many"),
        ({"scope_ok": "perhaps"}, "bad_choice"),
        ({"number": ""}, "text_length"),
        ({"as_left": (), "as_found": (), "mpe_statement": "class II"}, ""),
        ({"issued_on": "2026-02-12"}, ""),
        ({"as_left": (point(),) * 60}, ""),
    ],
)
def test_what_a_certificate_may_say(shop: Shop, fields: dict[str, Any], code: str) -> None:
    if not code:
        assert transcribe(shop, **fields).pk
        return
    with pytest.raises(Refused) as refusal:
        transcribe(shop, **fields)
    assert refusal.value.code == code
    assert not Certificate.objects.exists()


def test_a_certificate_without_as_found_values_says_so(shop: Shop) -> None:
    assert transcribe(shop, as_found=()).no_as_found is True
    with pytest.raises(Conflict) as conflict:
        transcribe(shop)
    assert conflict.value.code == "number_taken"


def use_the_gauge(shop: Shop, job: Job) -> None:
    measurement.record_readings(
        job=job, actor=shop.actor("itolvaar"), as_of=shop.at("08:31"),
        entries=(
            measurement.ReadingEntry(
                id=new_id(), quantity="tyre_pressure", place="front_left", value="240", unit="kPa",
                at=shop.text("08:30"), device=shop.tablet.pk, instrument="PG-022",
            ),
        ),
    )  # fmt: skip


def event(shop: Shop, kind: str, login: str = "itolvaar", hhmm: str = "09:00") -> EquipmentEvent:
    return equipment.record_event(
        equipment=Equipment.objects.get(tag="PG-022"),
        actor=shop.actor(login),
        as_of=shop.at(hhmm),
        entry=EventEntry(id=new_id(), kind=kind, note="Fell from the bench"),
    )


def test_an_event_has_every_job_that_used_it_judged_anew(shop: Shop, job: Job) -> None:
    use_the_gauge(shop, job)
    AssessmentRun.objects.update(state="dead")
    event(shop, "dropped")
    assert AssessmentRun.objects.filter(job=job, state="waiting").count() == 1
    (held,) = job_facts(job=job, as_of=shop.at("10:00")).equipment
    assert [(item.kind, item.at.reading) for item in held.events] == [("dropped", shop.at("09:00"))]


def test_quarantine_and_clearing(shop: Shop) -> None:
    event(shop, "quarantine")
    gauge = Equipment.objects.get(tag="PG-022")
    assert (gauge.state, gauge.state_since) == ("quarantined", shop.at("09:00"))
    with pytest.raises(NotAllowed):
        event(shop, "clear", hhmm="09:30")
    event(shop, "clear", "tachterly", "09:30")
    gauge.refresh_from_db()
    assert gauge.state == "in_service"
    with pytest.raises(Refused):
        event(shop, "polished")


@pytest.mark.parametrize(
    ("reading", "passed"), [("3001.0", True), ("2999.0", True), ("3001.1", False), ("2998.9", False)]
)
def test_a_check_before_use_is_compared_plainly(shop: Shop, reading: str, passed: bool) -> None:
    tape = register(shop, check_reference="3000.0 mm bar", check_limit="3000 mm ± 1 mm")
    check = equipment.check_before_use(
        equipment=tape, actor=shop.actor("itolvaar"), as_of=shop.at("08:10"),
        entry=CheckEntry(id=new_id(), reading=reading),
    )  # fmt: skip
    assert (check.passed, check.reference) == (passed, "3000.0 mm bar")


def test_an_instrument_without_a_check(shop: Shop) -> None:
    with pytest.raises(Conflict) as conflict:
        equipment.check_before_use(
            equipment=register(shop), actor=shop.actor("itolvaar"), as_of=shop.at("08:10"),
            entry=CheckEntry(id=new_id(), reading="3000"),
        )  # fmt: skip
    assert conflict.value.code == "no_check_rule"
