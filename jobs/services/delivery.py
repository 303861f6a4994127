"""The car goes back to its owner; on hold too, for what happened is recorded."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from django.db import transaction

from jobs.access import Actor
from jobs.errors import Conflict
from jobs.models import Delivery, Job, RepairOrder
from jobs.services import assessment_queue, moments, recording, references
from jobs.services.odometer import Odometer, check_odometer

DELIVERY_ROLES: Final = (
    "technician", "glass_installer", "estimator", "location_manager", "quality_manager", "operations_manager",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class DeliveryEntry:
    """``delivered_at`` empty: now by the server's own clock, for a hand-over recorded at the portal."""

    id: UUID
    odometer_out: Odometer
    delivered_at: str = ""
    device: UUID | None = None


@transaction.atomic
def deliver(*, job: Job, actor: Actor, as_of: datetime, entry: DeliveryEntry) -> Delivery:
    """Keeps when the car left and with what mileage.

    A car that leaves on hold has left against hold for ever.

    Codes: role_missing, already_delivered, bad_number, bad_choice, and those of moments.
    """
    recording.require_role(actor, *DELIVERY_ROLES)
    Job.objects.select_for_update().get(pk=job.pk)
    standing = Delivery.objects.filter(job=job, ended_at__isnull=True).first()
    if standing is not None and standing.pk != entry.id:
        raise Conflict("already_delivered", "This car was delivered before.")
    odometer = check_odometer(entry.odometer_out, "odometer_out").as_json()
    device = references.device(actor, entry.device, "device")
    delivery = Delivery(
        id=entry.id,
        at=moments.read_or_now(entry.delivered_at, field="delivered_at", device=device, as_of=as_of),
        odometer_out=odometer,
        handed_over_by=actor.person,
        device=device,
    )
    kept = recording.keep(delivery, job=job, actor=actor, as_of=as_of, what="car.delivered")
    if kept is not delivery:
        return kept
    RepairOrder.objects.filter(pk=job.order_id, closed_at__isnull=True).update(
        odometer_out=odometer, closed_at=as_of
    )
    Job.objects.filter(pk=job.pk).exclude(state="archived").update(
        state="delivered", delivered_at=kept.at.reading
    )
    if standing is None:
        assessment_queue.ask(job=job, actor=actor, as_of=as_of, after=timedelta(0))
    job.refresh_from_db()
    return kept
