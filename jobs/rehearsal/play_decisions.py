"""Playing orders, signatures, decisions and deliveries, and what the desk does to instruments and packs."""

from datetime import date
from typing import Any

from django.db.models import Model

from jobs.access import actor_for_person
from jobs.errors import Refused
from jobs.models import Device, Equipment, PackEditionOnFile, Person
from jobs.rehearsal.play_work import odometer
from jobs.rehearsal.stage import Call, JobOnStage
from jobs.services import decision
from jobs.services.certificates import CertificateEntry, PointEntry, add_certificate, confirm_certificate
from jobs.services.delivery import DeliveryEntry, deliver
from jobs.services.devices import ScreenEntry, observe_screen
from jobs.services.equipment import CheckEntry, EventEntry, check_before_use, record_event
from jobs.services.order_intake import OrderEntry, VehicleEntry, open_order, register_vehicle
from jobs.services.pack_desk import withdraw_pack
from jobs.services.release import ReleaseEntry, release_job
from jobs.services.set_aside import decide_reuse, set_aside_evidence


def play_order(call: Call) -> Model:
    """The vehicle is registered (once, whatever the number of its visits) and the order opens the job."""
    on_stage: JobOnStage | None = call.job_on_stage
    assert on_stage is not None  # noqa: S101 - an order is a job's own
    script, order = on_stage.script, on_stage.script.order
    vehicle = _vehicle(call)
    mileage = odometer(order["odometer"], order["resolution"])
    assert mileage is not None  # noqa: S101 - the key is needed
    entry = OrderEntry(
        id=call.id("order"),
        job_id=call.id("job"),
        number=script.number,
        location=script.location,
        vehicle=vehicle.pk,
        opened_at=call.claim(),
        customer_name=order["customer"],
        odometer_in=mileage,
        customer_contact=order["contact"],
        payer=order["payer"],
        claim_number=order["claim"],
        device=call.device.pk,
    )
    on_stage.row = open_order(actor=call.actor, as_of=call.as_of, entry=entry)
    return on_stage.row


def _vehicle(call: Call) -> Any:
    car = call.script.vehicle
    entry = VehicleEntry(
        id=call.stage.id("", "vehicle", car["vin"], call.job_name),
        vin=car["vin"],
        make=car["make"],
        model=car["model"],
        model_year=car["year"],
        market=car["market"],
        check_digit_rule=car["check_digit"],
        build_date=car["build_date"],
        trim=car["trim"],
        plate=car["plate"],
        wheelbase_mm=car["wheelbase"],
        front_track_mm=car["front_track"],
        placard_front_kpa=car["placard_front"],
        placard_rear_kpa=car["placard_rear"],
        modifications=tuple(car["modifications"]),
    )
    return register_vehicle(actor=call.actor, as_of=call.as_of, entry=entry)


# ------------------------------------------------------------------ signatures and decisions


def play_signature(call: Call) -> Model:
    entry = decision.SignOffEntry(
        id=call.id(), role=call.body["role"], pin=call.pin, statement_version=call.body["version"]
    )
    return decision.sign(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_release(call: Call) -> Model:
    entry = ReleaseEntry(id=call.id(), pin=call.pin, statement_version=call.body["version"])
    return release_job(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_delivery(call: Call) -> Model:
    mileage = odometer(call.body["odometer"])
    assert mileage is not None  # noqa: S101 - the key is needed
    entry = DeliveryEntry(
        id=call.id(), odometer_out=mileage, delivered_at=call.claim(), device=call.device.pk
    )
    return deliver(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_waiver(call: Call) -> Model:
    body = call.body
    entry = decision.WaiverEntry(
        id=call.id(),
        procedure_id=body["procedure"],
        proof_id=body["proof"],
        reason=body["reason"],
        instead=body["instead"],
        pin=call.pin,
        customer_told_at=call.claim(body["told"]) if body["told"] is not None else "",
    )
    return decision.grant_waiver(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_refusal(call: Call) -> Model:
    body = call.body
    entry = decision.RefusalEntry(
        id=call.id(),
        procedure_id=body["procedure"],
        refused_by_name=body["name"],
        relation=body["relation"],
        told_text_version=body["version"],
        systems_named=tuple(body["systems"]),
        lamp_state=body["lamp_state"],
        signed_at=call.claim(),
        device=call.device.pk,
        evidence=call.evidence(),
    )
    return decision.record_refusal(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_explanation(call: Call) -> Model:
    body = call.body
    entry = decision.ExplanationEntry(
        id=call.id(), module=body["module"], code=body["code"], text=body["text"], ftb=body["ftb"]
    )
    return decision.explain(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def play_set_aside(call: Call) -> Model:
    row = call.find(call.body["evidence"], call.act.kind.points_at["evidence"])
    if getattr(row, "modules", None) is not None:
        row = _summary_of(row)
    return set_aside_evidence(
        job=call.job, evidence=row, actor=call.actor, as_of=call.as_of, reason=call.body["reason"]
    )


def _summary_of(scan: Any) -> Any:
    """The file that a scan was taken from: setting it aside sets the scan aside with it."""
    rows = scan.job.evidences
    return rows.get(pk=scan.evidence[0])


def play_compared_photos(call: Call) -> Model:
    own = call.row("photos", call.body["photo"])
    job_name, _, name = str(call.body["other"]).partition("/")
    other: Any = call.stage.rows.get((job_name, "photos", name))
    if other is None:
        raise Refused("unknown_photo", f"{call.body['other']} names no job/photo that is on record.")
    return decide_reuse(
        job=call.job,
        evidence=own,
        other=other,
        actor=call.actor,
        as_of=call.as_of,
        decision=call.body["decision"],
    )


# ------------------------------------------------------------------ the desk


def play_comparison(call: Call) -> None:
    """A clock compared with the server's, by network."""
    name = call.body["clock"]
    found = Device.objects.select_related("equipment").filter(name__in=(name, f"{name} clock")).first()
    if found is None:
        raise Refused("unknown_device", f"There is no clock {name}.")
    delay = call.body["delay"] if call.body["delay"] is not None else call.stage.clock(found).delay
    call.stage.compare(found, call.actor, call.as_of, call.zone, delay)


def play_screen(call: Call) -> Model:
    """The display of an instrument, read by a device whose clock is known."""
    on_stage = call.stage.jobs.get(call.body["job"])
    if on_stage is None:
        raise Refused("unknown_job", f"There is no job {call.body['job']}.")
    entry = ScreenEntry(id=call.id(), shows=call.body["shows"], seen_at=call.claim(), device=call.device.pk)
    return observe_screen(
        job=on_stage.job,
        equipment=instrument(call.body["instrument"]),
        actor=call.actor,
        as_of=call.as_of,
        entry=entry,
    )


def instrument(tag: str) -> Equipment:
    found = Equipment.objects.filter(tag=tag).first()
    if found is None:
        raise Refused("unknown_reference", f"There is no instrument {tag}.")
    return found


def play_certificate(call: Call) -> Model:
    body = call.body
    equipment = instrument(body["equipment"])
    entry = CertificateEntry(
        id=call.id(),
        number=body["number"],
        lab_name=body["lab"],
        calibrated_on=body["calibrated_on"],
        issued_on=body["issued_on"] or body["calibrated_on"],
        as_found=_points(body["as_found"]),
        as_left=_points(body["as_left"]),
        adjusted=bool(body["adjusted"]),
        scope_ok="yes",
        calibrated_at=call.instant(body["calibrated_at"]).isoformat() if body["calibrated_at"] else "",
        mpe_statement=body["mpe"],
    )
    row = add_certificate(equipment=equipment, actor=call.actor, as_of=call.as_of, entry=entry)
    if body["unconfirmed"]:
        return row
    second = Person.objects.filter(login=body["confirmed_by"]).first()
    if second is None:
        raise Refused("unknown_person", f"There is nobody with the login {body['confirmed_by']}.")
    confirmer = actor_for_person(second, as_of=call.as_of)
    return confirm_certificate(certificate=row, actor=confirmer, as_of=call.as_of)


def _points(typed: Any) -> tuple[PointEntry, ...]:
    return tuple(
        PointEntry(
            nominal=point["nominal"],
            indication=point["indication"],
            error=point["error"],
            expanded_u=point["U"],
            unit=point["unit"],
            k=point["k"],
        )
        for point in typed
    )


def play_instrument_event(call: Call) -> Model:
    entry = EventEntry(
        id=call.id(),
        kind=call.body["event"],
        at=call.claim(),
        note=call.body["text"],
        device=call.device.pk,
    )
    return record_event(
        equipment=instrument(call.body["equipment"]), actor=call.actor, as_of=call.as_of, entry=entry
    )


def play_check_before_use(call: Call) -> Model:
    entry = CheckEntry(id=call.id(), reading=call.body["shows"], at=call.claim(), device=call.device.pk)
    return check_before_use(
        equipment=instrument(call.body["equipment"]), actor=call.actor, as_of=call.as_of, entry=entry
    )


def play_withdrawn_pack(call: Call) -> Model:
    body = call.body
    row = PackEditionOnFile.objects.filter(pack=body["pack"], edition=body["edition"]).first()
    if row is None:
        raise Refused("unknown_pack", f"{body['pack']} {body['edition']} is not on file.")
    on = date.fromisoformat(body["on"]) if body["on"] else call.as_of.astimezone(call.zone).date()
    return withdraw_pack(
        row=row, actor=call.actor, as_of=call.as_of, on=on, reason=body["reason"], severity=body["severity"]
    )
