"""What happens after sealing and concerns a packet, told on it in plain dated words: once for each event."""

from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.models import Count, QuerySet

from jobs import outbox
from jobs.models import (
    Certificate,
    Job,
    Organisation,
    PackEditionOnFile,
    Packet,
    PacketAddition,
    RepairOrder,
)
from jobs.services.additions import add_to_packet
from jobs.services.governed import required_sensors
from jobs.services.late_certificates import certificate_came
from jobs.services.rule_changes import edition_replaced, edition_withdrawn
from jobs.services.sealed_packets import PROGRAM, SEALED, STAYS, day_words, sealed_ones
from rules.canonical import canonical_bytes, sha256_hex
from rules.vocabulary import plain_sensor

TASK: Final = "jobs.note_later_event"


def later_event(*, organisation: Organisation, event: str, subject: UUID, as_of: datetime) -> None:
    """Asks for an event to be told on every packet it concerns, in the caller's transaction.

    Args:
        event: ``certificate``, ``edition_replaced`` or ``edition_withdrawn``.
        subject: id of the certificate or of the edition.
    """
    outbox.enqueue(
        organisation=organisation,
        task=TASK,
        arguments={"event": event, "id": str(subject), "at": as_of.isoformat()},
        key=f"{event}/{subject}",
        at=as_of,
    )


def perform_event(*, event: str, subject: UUID, as_of: datetime) -> tuple[PacketAddition, ...]:
    """Tells one event; repeating it adds nothing. The organisation's scope is open."""
    if event == "certificate":
        return certificate_came(
            certificate=Certificate.objects.select_related("equipment").get(pk=subject), as_of=as_of
        )
    edition = PackEditionOnFile.objects.select_related("organisation").get(pk=subject)
    if event == "edition_replaced":
        return edition_replaced(edition=edition, as_of=as_of)
    return edition_withdrawn(edition=edition, as_of=as_of)


# ------------------------------------------------------------------ a newer packet of the same job


@transaction.atomic
def packet_sealed(*, packet: Packet, as_of: datetime) -> tuple[PacketAddition, ...]:
    """A newly sealed packet that supersedes another: each names the other."""
    old = packet.supersedes
    if old is None or old.state != SEALED:
        return ()
    day = day_words(as_of, packet.job.location.tz)
    both = (
        (
            old,
            f"superseded/by/{packet.pk}",
            f"On {day} packet {packet.serial} was sealed from a newer state of the same record. It "
            f"supersedes this one. {STAYS}",
            {"by": _named(packet)},
        ),
        (
            packet,
            f"superseded/of/{old.pk}",
            f"This packet, sealed on {day}, supersedes packet {old.serial}, which was sealed on "
            f"{day_words(old.built_at or old.as_of, old.job.location.tz)}. Both are kept.",
            {"of": _named(old)},
        ),
    )
    return tuple(
        add_to_packet(
            packet=one, kind="superseded", text=text, facts=facts, as_of=as_of, who=PROGRAM, key=key
        )
        for one, key, text, facts in both
    )


def _named(packet: Packet) -> dict[str, str]:
    return {"serial": packet.serial, "root": packet.merkle_root, "pdf_sha256": packet.pdf_sha256}


# ------------------------------------------------------------------ the car comes in again


def comebacks(*, organisation: Organisation, as_of: datetime) -> tuple[PacketAddition, ...]:
    """Later orders on the same VIN, told on the packets of the earlier ones where they name the same systems.

    Looked at are cars with an order that came in after a packet was sealed, in this organisation alone. An
    order that comes to name further systems is told again with these.
    """
    made = []
    again = RepairOrder.objects.filter(organisation=organisation).values("vehicle__vin")
    vins = again.annotate(orders=Count("pk")).filter(orders__gt=1).values("vehicle__vin")
    packets = Packet.objects.filter(organisation=organisation, assessment__isnull=False)
    for packet in sealed_ones(packets.filter(job__order__vehicle__vin__in=vins)):
        for later in _later_jobs(packet):
            shared = required_sensors(later.current_assessment) & required_sensors(packet.assessment)
            if shared:
                made.append(_tell_comeback(packet, later, sorted(shared), as_of))
    return tuple(made)


def _later_jobs(packet: Packet) -> QuerySet[Job]:
    rows = Job.objects.filter(
        organisation_id=packet.organisation_id,
        order__vehicle__vin=packet.job.order.vehicle.vin,
        opened_at__gt=packet.as_of,
        current_assessment__isnull=False,
    )
    return (
        rows.exclude(pk=packet.job_id).select_related("location", "current_assessment").order_by("opened_at")
    )


def _tell_comeback(packet: Packet, later: Job, systems: list[str], as_of: datetime) -> PacketAddition:
    names = ", ".join(plain_sensor(system) for system in systems)
    text = (
        f"The same car came in again: order {later.number} at {later.location.name}, opened on "
        f"{day_words(later.opened_at, later.location.tz)}. That order asks for work on systems of this "
        f"packet: {names}. Why is for the later record to show; new facts have new dates. {STAYS}"
    )
    facts = {
        "order": later.number,
        "location": later.location.code,
        "opened_at": later.opened_at.isoformat(),
        "systems": systems,
    }
    told = sha256_hex(canonical_bytes(systems))[:16]
    return add_to_packet(
        packet=packet, kind="comeback", text=text, facts=facts, as_of=as_of, who=PROGRAM,
        key=f"comeback/{later.pk}/{told}",
    )  # fmt: skip


def tell_missed(*, organisation: Organisation, as_of: datetime) -> int:
    """The nightly look: comebacks, and superseded packets that nobody told yet; returns how many."""
    before = PacketAddition.objects.filter(organisation=organisation).count()
    told = PacketAddition.objects.filter(key__startswith="superseded/of/").values("packet_id")
    newer = Packet.objects.filter(organisation=organisation, supersedes__isnull=False)
    for packet in sealed_ones(newer.exclude(pk__in=told)):
        packet_sealed(packet=packet, as_of=as_of)
    comebacks(organisation=organisation, as_of=as_of)
    return PacketAddition.objects.filter(organisation=organisation).count() - before
