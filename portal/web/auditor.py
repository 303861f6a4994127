"""The auditor's pages: the packets granted to this person, one of them, and its logged, stamped download."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_POST

from jobs.access import Actor, get_packet_for, grant_of_packet, grants_for
from jobs.errors import NotFound
from jobs.link_access import copy_of_person
from jobs.selectors import granted
from jobs.services.bundle import take_bundle
from jobs.services.copying import copy_for_person
from jobs.services.packet_taking import take_packet
from portal.addresses import caller_of
from portal.clock import now
from portal.downloads import attachment_of
from portal.ranges import copy_answer, kept_download
from portal.web import reader
from portal.web.doors import page, show


@page
@require_http_methods(["GET", "HEAD"])
def packet_list(request: HttpRequest, actor: Actor) -> HttpResponse:
    rows = [granted.summary(grant) for grant in grants_for(actor, as_of=now()) if grant.packet is not None]
    return show(request, "audit/packets.html", {"packets": rows, "organisation": actor.organisation.name})


@page
@require_http_methods(["GET", "HEAD"])
def packet(request: HttpRequest, actor: Actor, packet_id: UUID) -> HttpResponse:
    """The reader: the statement of record with its claims, as the sealed file says them."""
    grant = _grant(actor, packet_id)
    context = reader.reader_of(grant, reader.places_of_person(packet_id), as_of=now())
    return show(request, "audit/packet.html", context)


@page
@require_http_methods(["GET", "HEAD"])
def picture(request: HttpRequest, actor: Actor, packet_id: UUID, number: int) -> HttpResponse:
    """One photo of the packet, as its pages show it."""
    return reader.picture_of(_grant(actor, packet_id), number)


def _grant(actor: Actor, packet_id: UUID) -> Any:
    row = get_packet_for(actor, packet_id, as_of=now())
    grant = grant_of_packet(actor, row, as_of=now())
    if grant is None or row.state != "sealed":
        raise NotFound()
    return grant


@page
@require_POST
def download(request: HttpRequest, actor: Actor, packet_id: UUID) -> HttpResponse:
    """The sealed file to the shop's own people; to everybody else a copy stamped with the recipient.

    The copy is made and counted here; its address, which follows, can be fetched in several goes.
    """
    at = now()
    row = get_packet_for(actor, packet_id, as_of=at)
    if row.state != "sealed":
        raise NotFound()
    if row.organisation_id == actor.organisation_id and not actor.is_outsider:
        data = take_packet(packet=row, actor=actor, as_of=at, caller=caller_of(request))
        name = f"{row.serial.replace('/', '-')}.pdf"
        return attachment_of(data, media_type="application/pdf", file_name=name)
    made = copy_for_person(packet=row, actor=actor, as_of=at, caller=caller_of(request))
    answer = redirect("web:copy", made.copy)
    answer.status_code = 303
    return answer


@page
@require_POST
def bundle(request: HttpRequest, actor: Actor, packet_id: UUID) -> HttpResponseBase:
    """The packet with its parts, originals and checkers: made and counted here, fetched after that."""
    at = now()
    row = get_packet_for(actor, packet_id, as_of=at)
    if row.state != "sealed":
        raise NotFound()
    made = take_bundle(packet=row, actor=actor, as_of=at, caller=caller_of(request))
    answer = redirect("web:copy", made.copy)
    answer.status_code = 303
    return answer


@page
@require_http_methods(["GET", "HEAD"])
def copy(request: HttpRequest, actor: Actor, copy_id: UUID) -> HttpResponseBase:
    """A copy that was made for this very person, while what it came from is open to them."""
    made = copy_of_person(actor.person.pk, copy_id, as_of=now())
    return copy_answer(request, kept_download(request, made))
