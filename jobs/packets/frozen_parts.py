"""Parts of a frozen source that no verdict rests on: copies given out, device names, what is others'."""

import re
from typing import Final

from jobs.models import Device, Packet, PacketDownload
from jobs.packets.neighbours import of_others
from jobs.packets.outside import own_words
from jobs.packets.source import DeviceName, PacketSource, ProducedCopy
from jobs.packets.strangers import Known, strings_in
from rules.canonical import to_plain
from rules.facts import JobFacts

_DEVICE: Final = re.compile(r"device:([0-9a-f]{8}-[0-9a-f-]{27})")


def known_of(packet: Packet, source: PacketSource) -> Known:
    """What in the texts is others', and, for an insurer, the words that stand for the own customer."""
    is_insurer = packet.kind == "insurer"
    return Known(
        vin=source.facts.vehicle.vin,
        job_id=source.facts.job_id,
        others=of_others(packet.job),
        own=own_words(source) if is_insurer else {},
        hides_owner=is_insurer,
    )


def produced_copies(packet: Packet) -> tuple[ProducedCopy, ...]:
    """Every copy of a packet of this job that was given out until now: to whom, for what, which bytes."""
    rows = (
        PacketDownload.objects.filter(packet__job=packet.job, downloaded_at__lte=packet.as_of)
        .select_related("packet", "grant", "person")
        .order_by("downloaded_at", "pk")
    )
    return tuple(
        ProducedCopy(
            at=row.downloaded_at,
            serial=row.packet.serial,
            kind=row.packet.kind,
            whom=_whom(row),
            purpose=row.grant.purpose if row.grant is not None else "internal",
            sha256=row.sha256,
            size_bytes=row.size_bytes,
        )
        for row in rows
    )


def _whom(row: PacketDownload) -> str:
    if row.grant is not None:
        return row.grant.recipient
    return row.person.name if row.person is not None else ""


def device_names(facts: JobFacts) -> tuple[DeviceName, ...]:
    """Names of the devices whose clocks stamped something of this job."""
    ids = {found.group(1) for text in strings_in(to_plain(facts)) if (found := _DEVICE.match(text))}
    rows = Device.objects.filter(pk__in=ids).order_by("pk")
    return tuple(DeviceName(id=str(row.pk), name=row.name) for row in rows if row.name)
