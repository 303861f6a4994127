"""The production log and the custodian's form for those who answer for the record."""

from datetime import datetime
from typing import Any

from jobs.access import Actor, get_job_for
from jobs.errors import Conflict
from jobs.models import Job, Packet
from jobs.packets.production import ProductionLine, custodian_form, production_csv, production_lines
from jobs.services import recording


def production_log(*, job: Job, as_of: datetime) -> tuple[ProductionLine, ...]:
    """Every taking of the job's packets."""
    return production_lines(job, as_of)


def production_export(*, job: Job, actor: Actor, as_of: datetime) -> bytes:
    """The production log as CSV; that it was exported is logged: it names people."""
    data = production_csv(production_lines(job, as_of))
    recording.log(actor=actor, as_of=as_of, what="production.exported", job=job, detail={"bytes": len(data)})
    return data


def form_of(*, packet: Packet, actor: Actor, as_of: datetime) -> dict[str, Any]:
    """The custodian's form of a packet of the actor's own organisation.

    Raises:
        NotFound: the packet's job is not the actor's.
        Conflict: ``packet_not_sealed``.
    """
    get_job_for(actor, packet.job_id)
    if packet.state != "sealed":
        raise Conflict("packet_not_sealed", "This packet is not sealed yet.")
    return custodian_form(packet, as_of)
