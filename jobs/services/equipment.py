"""Instruments and tools: registering them, their certificates, what happens to them, checks before use."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, TypeVar
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from jobs.access import Actor
from jobs.errors import Conflict
from jobs.models import (
    BayFloorSurvey,
    BeforeUseCheck,
    Device,
    Equipment,
    EquipmentEvent,
    EquipmentUse,
    Job,
    Record,
    Session,
)
from jobs.services import assessment_queue, moments, recording, references, values
from jobs.services.values import refused
from rules.conformity import decide_limit
from rules.quantities import UNITS, QuantityError, parse_limit, to_program_unit

RecordT = TypeVar("RecordT", bound=Record)

DESK_ROLES: Final = ("location_manager", "quality_manager", "operations_manager")
EVENT_ROLES: Final = (*DESK_ROLES, "technician", "glass_installer", "guest_calibrator", "quality_reviewer")
CLASSES: Final = (
    "tape", "rule", "laser_distance", "target_stand", "target_board", "reflector", "mat_set", "angle_gauge",
    "tyre_gauge", "voltage_logger", "alignment_rack", "film_gauge", "light_meter", "climate_logger", "level",
    "scan_device", "support_supply",
)  # fmt: skip
# These stamp what they record with a clock of their own.
WITH_CLOCK: Final = ("scan_device", "voltage_logger", "climate_logger", "alignment_rack")
EVENT_KINDS: Final = (
    "dropped", "repaired", "adjusted", "software_updated", "lent_out", "returned", "lost", "found",
    "quarantine", "clear",
)  # fmt: skip
# What an event does to the instrument's state; the others leave it.
_STATE_AFTER: Final = {"quarantine": "quarantined", "lost": "quarantined", "clear": "in_service"}


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipmentEntry:
    """An instrument. ``check_before_use``: a reference and a limit with unit, or empty for none."""

    id: UUID
    tag: str
    cls: str
    in_service_from: str
    maker: str = ""
    model: str = ""
    serial: str = ""
    owner_org: str = ""
    home_location: str = ""
    resolution: str | None = None
    unit: str = ""
    mpe: str = ""
    interval_months: int | None = None
    interval_uses: int | None = None
    needs_certificate: bool = True
    check_reference: str = ""
    check_limit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class EventEntry:
    id: UUID
    kind: str
    at: str = ""
    note: str = ""
    device: UUID | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckEntry:
    """A check before use: what the instrument showed on the reference, in its own unit."""

    id: UUID
    reading: str
    at: str = ""
    device: UUID | None = None


@transaction.atomic
def register_equipment(*, actor: Actor, as_of: datetime, entry: EquipmentEntry) -> Equipment:
    """Puts an instrument on file; one with a clock gets a device for it.

    Codes: role_missing, tag_taken, bad_choice, bad_date, bad_number, unit_unknown, limit codes, id_in_use.
    """
    recording.require_role(actor, *DESK_ROLES)
    tag = values.read_text(entry.tag, "tag", longest=20)
    there = Equipment.objects.filter(organisation=actor.organisation, tag=tag).first()
    if there is not None:
        if there.pk != entry.id:
            raise Conflict("tag_taken", f"There is an instrument {tag} already.")
        return there
    if entry.unit and entry.unit not in UNITS:
        raise refused("unit_unknown", "unit", f"{entry.unit} is no unit that is known here.")
    row = Equipment(
        id=entry.id,
        organisation=actor.organisation,
        tag=tag,
        cls=values.read_choice(entry.cls, CLASSES, "cls"),
        in_service_from=values.read_day(entry.in_service_from, "in_service_from"),
        home_location=(
            references.location(actor, entry.home_location, "home_location") if entry.home_location else None
        ),
        resolution=(
            values.read_positive(entry.resolution, "resolution") if entry.resolution is not None else None
        ),
        unit=entry.unit,
        interval_months=_interval(entry.interval_months, "interval_months", 240),
        interval_uses=_interval(entry.interval_uses, "interval_uses", 100_000),
        needs_certificate=entry.needs_certificate,
        check_before_use=_check_rule(entry),
        **texts(entry, maker=60, model=60, serial=60, owner_org=120, mpe=200),
    )
    recording.insert(row)
    if row.cls in WITH_CLOCK:
        Device(
            organisation=actor.organisation,
            location=row.home_location,
            name=f"{tag} clock",
            kind=row.cls,
            equipment=row,
            enrolled_at=as_of,
            enrolled_by=actor.person,
        ).save(force_insert=True)
    log(actor, as_of, "equipment.registered", row, {"sha256": recording.content_hash(row)})
    return row


def texts(entry: object, **longest: int) -> dict[str, str]:
    return {
        name: values.read_text(getattr(entry, name), name, shortest=0, longest=length)
        for name, length in longest.items()
    }


def _interval(value: int | None, field: str, most: int) -> int | None:
    if value is not None and not 1 <= value <= most:
        raise refused("bad_number", field, f"{field} lies between 1 and {most}.")
    return value


def _check_rule(entry: EquipmentEntry) -> dict[str, str] | None:
    if not entry.check_limit and not entry.check_reference:
        return None
    try:
        parse_limit(entry.check_limit)
    except QuantityError as error:
        raise refused(error.code, "check_limit", str(error)) from error
    return {
        "reference": values.read_text(entry.check_reference, "check_reference", longest=200),
        "limit": entry.check_limit,
        "unit": entry.unit,
    }


def log(actor: Actor, as_of: datetime, what: str, row: Equipment, detail: dict[str, Any]) -> None:
    recording.log_about(
        actor=actor, as_of=as_of, what=what, target=f"equipment/{row.tag}", detail={"tag": row.tag, **detail}
    )


def judge_users(equipment: Equipment, *, actor: Actor, as_of: datetime) -> None:
    """What became known of an instrument may change the verdict of every job that is not archived
    and used it."""
    used = EquipmentUse.objects.filter(equipment=equipment).values("job_id")
    surveyed = BayFloorSurvey.objects.filter(instrument=equipment).values("bay_id")
    stood_there = Session.objects.filter(bay__in=surveyed).values("job_id")
    for job in Job.objects.filter(Q(pk__in=used) | Q(pk__in=stood_there)).exclude(state="archived"):
        assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)


@transaction.atomic
def record_event(*, equipment: Equipment, actor: Actor, as_of: datetime, entry: EventEntry) -> EquipmentEvent:
    """Keeps what happened to an instrument. Quarantine and loss take it out of service, clear puts it back.

    Codes: role_missing (only the desk may clear), bad_choice, text_length, and those of moments.
    """
    recording.require_role(actor, *(DESK_ROLES if entry.kind == "clear" else EVENT_ROLES))
    device = references.device(actor, entry.device, "device")
    event = EquipmentEvent(
        id=entry.id,
        equipment=equipment,
        kind=values.read_choice(entry.kind, EVENT_KINDS, "kind"),
        at=moments.read_or_now(entry.at, field="at", device=device, as_of=as_of),
        seen_by=actor.person,
        note=values.read_text(entry.note, "note", shortest=0),
    )
    kept = keep(event, actor=actor, as_of=as_of)
    if kept is not event:
        return kept
    state = _STATE_AFTER.get(event.kind)
    if state is not None:
        Equipment.objects.filter(pk=equipment.pk).exclude(state="retired").update(
            state=state, state_since=event.at.low
        )
    judge_users(equipment, actor=actor, as_of=as_of)
    log(actor, as_of, f"equipment.{event.kind}", equipment, {"event": str(event.pk), "note": event.note})
    return event


@transaction.atomic
def check_before_use(
    *, equipment: Equipment, actor: Actor, as_of: datetime, entry: CheckEntry
) -> BeforeUseCheck:
    """Compares an instrument with its reference before use; whether it passed is computed, plainly.

    Raises:
        Conflict: ``no_check_rule`` where the instrument has none.
    """
    recording.require_role(actor, *EVENT_ROLES)
    rule = equipment.check_before_use
    if rule is None:
        raise Conflict("no_check_rule", f"{equipment.tag} has no check before use.")
    typed, _ = values.read_number(entry.reading, "reading")
    value, _ = to_program_unit(typed, rule["unit"])
    device = references.device(actor, entry.device, "device")
    check = BeforeUseCheck(
        id=entry.id,
        equipment=equipment,
        at=moments.read_or_now(entry.at, field="at", device=device, as_of=as_of),
        checked_by=actor.person,
        reference=rule["reference"],
        reading=typed,
        limit=rule["limit"],
        passed=decide_limit(value, 0.0, parse_limit(rule["limit"]), 0.0).verdict == "met",
    )
    kept = keep(check, actor=actor, as_of=as_of)
    if kept is check:
        judge_users(equipment, actor=actor, as_of=as_of)
        detail = {"check": str(check.pk), "passed": check.passed}
        log(actor, as_of, "equipment.checked", equipment, detail)
    return kept


def keep(row: RecordT, *, actor: Actor, as_of: datetime) -> RecordT:
    recording.stamp(row, actor=actor, as_of=as_of)
    there = recording.repeated(row)
    if there is None:
        recording.insert(row)
    return there or row
