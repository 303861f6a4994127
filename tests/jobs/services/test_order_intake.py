"""Vehicles and orders come in."""

from dataclasses import replace
from typing import Any

import pytest

from jobs.access import actor_for_person
from jobs.errors import Conflict, NotAllowed, Refused, VersionConflict
from jobs.models import AssessmentRun, IdentityReading, Job, LogEntry, OutboxEntry, Vehicle, scope
from jobs.services import order_intake
from jobs.services.odometer import Odometer
from jobs.services.order_intake import VehicleChanges, VehicleEntry
from tests.factories import second_organisation
from tests.jobs.shop import Shop, new_id

# Printed sample of 49 CFR 565.15, Table IV (checked against the published text).
VIN_OF_THE_RULE = "1G4AH59H45G118341"


def vehicle_entry(**changes: Any) -> VehicleEntry:
    fields: dict[str, Any] = {
        "id": new_id(), "vin": "Z0ACR4H24T1004217", "make": "Orrinvale", "model": "Corran",
        "model_year": 2026, "market": "US", "placard_front_kpa": "240", "placard_rear_kpa": "240",
    }  # fmt: skip
    return VehicleEntry(**(fields | changes))


def test_only_intake_roles_register_a_vehicle(shop: Shop) -> None:
    entry = vehicle_entry()
    with pytest.raises(NotAllowed) as refusal:
        order_intake.register_vehicle(actor=shop.actor("dpell"), as_of=shop.at("07:00"), entry=entry)
    assert refusal.value.code == "role_missing"
    vehicle = order_intake.register_vehicle(
        actor=shop.actor("tachterly"), as_of=shop.at("07:00"), entry=entry
    )
    assert (vehicle.vin, vehicle.placard_front_kpa) == ("Z0ACR4H24T1004217", 240.0)
    assert LogEntry.objects.filter(what="vehicle.registered").count() == 1


@pytest.mark.parametrize(
    ("vin", "code"),
    [
        ("Z0ACR4H24T100421", "vin_length"),
        ("Z0ACR4H24T10042177", "vin_length"),
        ("Z0ACR4H24T10042I7", "vin_letter"),
        ("ZOACR4H24T1004217", "vin_letter"),
        ("Q0ACR4H24T1004217", "vin_letter"),
        ("Z0ACR4H24T100421７", "vin_letter"),
        ("Z0ACR4H24T1004271", "vin_check_digit"),
    ],
)
def test_a_vin_out_of_form_is_refused_and_nothing_is_kept(shop: Shop, vin: str, code: str) -> None:
    before = Vehicle.objects.count()
    with pytest.raises(Refused) as refusal:
        order_intake.register_vehicle(
            actor=shop.actor("tachterly"), as_of=shop.at("07:00"), entry=vehicle_entry(vin=vin)
        )
    assert (refusal.value.code, refusal.value.extra["field"]) == (code, "vin")
    assert Vehicle.objects.count() == before


@pytest.mark.parametrize(
    ("vin", "rule"),
    [
        ("Z0ACR4H2XT1004271", "required"),
        ("z0acr4h24 t1004217", "required"),
        (VIN_OF_THE_RULE, "required"),
        ("Z0ACR4H24T1004271", "advisory"),
    ],
)
def test_vins_that_are_taken(shop: Shop, vin: str, rule: str) -> None:
    kept = order_intake.register_vehicle(
        actor=shop.actor("tachterly"),
        as_of=shop.at("07:00"),
        entry=vehicle_entry(vin=vin, check_digit_rule=rule),
    )
    assert kept.vin == vin.upper().replace(" ", "")


@pytest.mark.parametrize(
    ("field", "value", "code"),
    [
        ("market", "us", "bad_choice"),
        ("market", "USA", "bad_choice"),
        ("model_year", 1979, "bad_number"),
        ("model_year", 2029, "bad_number"),
        ("placard_front_kpa", "0", "bad_number"),
        ("placard_front_kpa", "NaN", "bad_number"),
        ("build_date", "2026-02-30", "bad_date"),
        ("make", " ", "text_length"),
        ("check_digit_rule", "none", "bad_choice"),
    ],
)
def test_other_fields_of_a_vehicle(shop: Shop, field: str, value: object, code: str) -> None:
    with pytest.raises(Refused) as refusal:
        order_intake.register_vehicle(
            actor=shop.actor("tachterly"), as_of=shop.at("07:00"), entry=vehicle_entry(**{field: value})
        )
    assert (refusal.value.code, refusal.value.extra["field"]) == (code, field)


def test_the_same_vehicle_sent_again_is_the_same_row(shop: Shop) -> None:
    entry = vehicle_entry()
    actor = shop.actor("tachterly")
    first = order_intake.register_vehicle(actor=actor, as_of=shop.at("07:00"), entry=entry)
    again = order_intake.register_vehicle(actor=actor, as_of=shop.at("07:05"), entry=entry)
    assert first.pk == again.pk
    with pytest.raises(Conflict) as conflict:
        order_intake.register_vehicle(
            actor=actor, as_of=shop.at("07:06"), entry=replace(entry, model="Sedge")
        )
    assert conflict.value.code == "id_in_use"


def test_an_id_of_another_organisation_is_told_like_any_used_one(shop: Shop) -> None:
    other = second_organisation()
    entry = vehicle_entry()
    with scope(other["organisation"].pk):
        order_intake.register_vehicle(
            actor=actor_for_person(other["wstroud"], as_of=shop.at("07:00")),
            as_of=shop.at("07:00"),
            entry=entry,
        )
    with pytest.raises(Conflict) as conflict:
        order_intake.register_vehicle(actor=shop.actor("tachterly"), as_of=shop.at("07:01"), entry=entry)
    assert conflict.value.code == "id_in_use"


def test_changing_a_vehicle_needs_the_version_that_was_read(shop: Shop, job: Job) -> None:
    actor = shop.actor("tachterly")
    changes = VehicleChanges(placard_front_kpa="250", trim="GL")
    changed = order_intake.change_vehicle(
        vehicle=shop.vehicle, actor=actor, as_of=shop.at("08:00"), version=1, changes=changes
    )
    assert (changed.placard_front_kpa, changed.trim, changed.version) == (250.0, "GL", 2)
    with pytest.raises(VersionConflict):
        order_intake.change_vehicle(
            vehicle=shop.vehicle, actor=actor, as_of=shop.at("08:01"), version=1, changes=changes
        )


def test_what_a_released_job_rests_on_is_not_changed(shop: Shop, job: Job) -> None:
    Job.objects.filter(pk=job.pk).update(state="released")
    with pytest.raises(Conflict) as conflict:
        order_intake.change_vehicle(
            vehicle=shop.vehicle,
            actor=shop.actor("tachterly"),
            as_of=shop.at("08:00"),
            version=1,
            changes=VehicleChanges(trim="GL"),
        )
    assert conflict.value.code == "vehicle_in_use"


def test_an_order_opens_a_job_with_its_typed_identity(shop: Shop) -> None:
    entry = shop.order_entry()
    with pytest.raises(NotAllowed):
        order_intake.open_order(actor=shop.actor("dpell"), as_of=shop.at("07:31"), entry=entry)
    job = order_intake.open_order(actor=shop.actor("tachterly"), as_of=shop.at("07:31"), entry=entry)
    assert (job.number, job.state, job.location.code) == ("EM-2026-0417", "open", "EM")
    reading = IdentityReading.objects.get(job=job)
    assert (reading.way, reading.vin_read) == ("typed", shop.vehicle.vin)
    assert LogEntry.objects.filter(what="job.opened").count() == 1
    run = AssessmentRun.objects.get(job=job)
    assert OutboxEntry.objects.get(key=f"run/{run.pk}").arguments == {"run_id": str(run.pk)}


def test_the_same_order_again_and_a_taken_number(shop: Shop, job: Job) -> None:
    actor, entry = shop.actor("tachterly"), shop.order_entry(number="EM-2026-0500")
    first = order_intake.open_order(actor=actor, as_of=shop.at("09:00"), entry=entry)
    assert order_intake.open_order(actor=actor, as_of=shop.at("09:01"), entry=entry).pk == first.pk
    for changed, code in (
        (replace(entry, number="EM-2026-0501"), "id_in_use"),
        (shop.order_entry(number="EM-2026-0500"), "order_number_taken"),
    ):
        with pytest.raises(Conflict) as conflict:
            order_intake.open_order(actor=actor, as_of=shop.at("09:02"), entry=changed)
        assert conflict.value.code == code


@pytest.mark.parametrize(
    ("changes", "code", "field"),
    [
        ({"location": "XX"}, "unknown_reference", "location"),
        ({"vehicle": new_id()}, "unknown_reference", "vehicle"),
        ({"device": new_id()}, "unknown_device", "device"),
        ({"opened_at": "07:30"}, "bad_instant", "opened_at"),
        ({"opened_at": "2026-05-07T07:30:00-05:00"}, "instant_in_future", "opened_at"),
        ({"odometer_in": Odometer(value="-1", unit="km")}, "bad_number", "odometer_in.value"),
        ({"odometer_in": Odometer(value="1", unit="leagues")}, "bad_choice", "odometer_in.unit"),
        ({"customer_name": ""}, "text_length", "customer_name"),
    ],
)
def test_faulty_orders_leave_nothing(shop: Shop, changes: dict[str, Any], code: str, field: str) -> None:
    with pytest.raises(Refused) as refusal:
        shop.open_job(**changes)
    assert (refusal.value.code, refusal.value.extra["field"]) == (code, field)
    assert not Job.objects.exists()


def test_another_organisations_vehicle_is_unknown(shop: Shop) -> None:
    other = second_organisation()
    with scope(other["organisation"].pk):
        foreign = order_intake.register_vehicle(
            actor=actor_for_person(other["wstroud"], as_of=shop.at("07:00")),
            as_of=shop.at("07:00"),
            entry=vehicle_entry(),
        )
    with pytest.raises(Refused) as refusal:
        shop.open_job(vehicle=foreign.pk)
    assert refusal.value.code == "unknown_reference"
