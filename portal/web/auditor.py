"""The auditor's pages: the packets granted to this person, one of them, and its logged, stamped download."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_http_methods, require_POST

from jobs.access import Actor, get_packet_for, grant_of_packet, grants_for, scope_of
from jobs.errors import NotFound
from jobs.selectors import cars, granted
from jobs.services.packet_taking import take_packet
from portal.clock import now
from portal.downloads import attachment_of
from portal.errors import request_id_of
from portal.web.doors import page, show
from portal.web.job_page import page_of


@page
@require_http_methods(["GET", "HEAD"])
def packet_list(request: HttpRequest, actor: Actor) -> HttpResponse:
    rows = [granted.summary(grant) for grant in grants_for(actor, as_of=now()) if grant.packet is not None]
    return show(request, "audit/packets.html", {"packets": rows, "organisation": actor.organisation.name})


@page
@require_http_methods(["GET", "HEAD"])
def packet(request: HttpRequest, actor: Actor, packet_id: UUID) -> HttpResponse:
    row = get_packet_for(actor, packet_id, as_of=now())
    grant = grant_of_packet(actor, row, as_of=now())
    if grant is None or row.state != "sealed":
        raise NotFound()
    with scope_of(row):
        summary = granted.summary(grant)
        assessment = granted.sealed_assessment(row)
        shown = page_of(assessment, cars.people_by_id(row.organisation_id), summary.tz)
        check = granted.integrity(row)
    context: dict[str, Any] = {"packet": summary, "page": shown, "check": check}
    return show(request, "audit/packet.html", context)


@page
@require_POST
def download(request: HttpRequest, actor: Actor, packet_id: UUID) -> HttpResponse:
    """The sealed file to the shop's own people, a copy stamped with the recipient to everybody else."""
    at = now()
    row = get_packet_for(actor, packet_id, as_of=at)
    if row.state != "sealed":
        raise NotFound()
    data = take_packet(packet=row, actor=actor, as_of=at, request_id=request_id_of(request))
    return attachment_of(data, media_type="application/pdf", file_name=f"{row.serial.replace('/', '-')}.pdf")
