"""The time line of one job for the shop's own people, and of one sealed packet for whom it is granted to."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from jobs.access import Actor, get_job_for, get_packet_for, grant_of_packet, scope_of
from jobs.errors import NotFound
from jobs.selectors import cars
from jobs.services.time_line import time_line_page_of, time_line_page_of_packet
from portal.clock import now
from portal.web.doors import page, show

SECTION = "time_line"


@page
@require_http_methods(["GET", "HEAD"])
def of_job(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    """As last judged; the live record may have more."""
    job = get_job_for(actor, job_id)
    heading = cars.car_of(job)
    shown = time_line_page_of(job)
    about = {"number": heading.number, "back": reverse("web:gate", args=[job_id]), "is_packet": False}
    return _shown(request, shown, {**about, "tz": heading.tz})


@page
@require_http_methods(["GET", "HEAD"])
def of_packet(request: HttpRequest, actor: Actor, packet_id: UUID) -> HttpResponse:
    """As sealed, where the grant opens the time line."""
    packet = get_packet_for(actor, packet_id, as_of=now())
    grant = grant_of_packet(actor, packet, as_of=now())
    if grant is None or packet.state != "sealed" or (grant.sections and SECTION not in grant.sections):
        raise NotFound()
    with scope_of(packet):
        shown = time_line_page_of_packet(packet)
        tz = packet.job.order.location.tz
    about = {"number": packet.serial, "back": reverse("web:packet", args=[packet_id]), "is_packet": True}
    return _shown(request, shown, {**about, "tz": tz})


def _shown(request: HttpRequest, shown: dict[str, Any] | None, about: dict[str, Any]) -> HttpResponse:
    return show(request, "times/line.html", {"line": shown, **about})
