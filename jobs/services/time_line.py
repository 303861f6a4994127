"""The time line of a job or of a sealed packet, from facts that a judgement rests on; reads only."""

from typing import Any
from uuid import UUID

from jobs import storage
from jobs.errors import Conflict
from jobs.facts import pack_set
from jobs.models import Device, Job, Packet
from jobs.packets.build import read_packs
from jobs.packets.pages.line_page import line_page, source_for_line
from jobs.packets.pages.time_line import TimeDay, time_line
from jobs.packets.source import PacketSource
from jobs.services.facts_on_file import kept_facts
from rules.reading_back import read_assessment


def time_line_of(job: Job) -> tuple[TimeDay, ...]:
    """Empty where nothing was judged, or the facts of that judgement were not kept or are damaged."""
    if job.current_assessment is None:
        return ()
    try:
        facts = kept_facts(job.current_assessment)
    except Conflict:
        return ()
    return time_line(facts, device_names(job))


def time_line_page_of(job: Job) -> dict[str, Any] | None:
    """Everything the time line's page shows of a job as last judged; None where nothing was judged.

    Raises:
        Conflict: the facts of that judgement were not kept or are damaged.
    """
    kept = job.current_assessment
    if kept is None:
        return None
    source = source_for_line(
        kept_facts(kept), read_assessment(kept.result.encode("utf-8")), job.organisation.name
    )
    return line_page(source, pack_set(job.organisation).editions, _devices(job.organisation_id))


def time_line_page_of_packet(packet: Packet) -> dict[str, Any]:
    """The same of a sealed packet, from its frozen input: nothing that came later, nothing withheld."""
    source = PacketSource.from_bytes(storage.read(packet.source_sha256))
    named = tuple(getattr(source, "devices", ())) or _devices(packet.organisation_id)
    return line_page(source, read_packs(source.packs), named)


class _Named:
    def __init__(self, row: Device) -> None:
        self.id, self.name = str(row.pk), row.name


def _devices(organisation_id: UUID | str) -> tuple[_Named, ...]:
    return tuple(_Named(row) for row in Device.objects.filter(organisation_id=organisation_id))


def device_names(job: Job) -> dict[str, str]:
    """Names of the group's devices by the words that stand for them where only an id is known."""
    rows = Device.objects.filter(organisation_id=job.organisation_id)
    return {f"device {str(row.pk).split('-')[0]}": row.name for row in rows}
