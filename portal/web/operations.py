"""The manager's pages: the board of all locations, and the gate of one car."""

from typing import Any
from uuid import UUID, uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from jobs.access import Actor, get_job_for
from jobs.errors import DomainError, NotFound
from jobs.selectors import cars
from jobs.services.advice import home_answer
from jobs.services.delivery import DeliveryEntry, deliver
from jobs.services.odometer import Odometer
from jobs.services.packet import request_packet
from jobs.services.release import ReleaseEntry, release_job
from jobs.services.time_line import device_names, time_line_of
from portal.clock import now
from portal.errors import status_of
from portal.permissions import DESK, MANAGERS
from portal.web import wording
from portal.web.board import board_of
from portal.web.doors import page, said, said_address, show, words_of
from portal.web.home_box import home_box
from portal.web.job_page import judging_words, page_of
from portal.web.times import with_device_names


@page
@require_http_methods(["GET", "HEAD"])
def board(request: HttpRequest, actor: Actor) -> HttpResponse:
    context = {
        "board": board_of(actor, now()),
        "organisation": actor.organisation.name,
        "tz": actor.organisation.default_tz,
    }
    return show(request, "desk/board.html", context)


@page
@require_http_methods(["GET", "HEAD"])
def gate(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    return _gate_page(request, actor, job_id)


@page
@require_POST
def release(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    job = get_job_for(actor, job_id)
    entry = ReleaseEntry(id=_form_id(request), pin=str(request.POST.get("pin", "")))
    try:
        release_job(job=job, actor=actor, as_of=now(), entry=entry)
    except DomainError as error:
        return _gate_page(request, actor, job_id, fault=error, form="release")
    return _back(job_id, "Released. Your signature covers every item recorded so far.")


@page
@require_POST
def delivery(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    job = get_job_for(actor, job_id)
    entry = DeliveryEntry(
        id=_form_id(request),
        odometer_out=Odometer(
            value=str(request.POST.get("odometer", "")),
            unit=str(request.POST.get("unit", "km")),
            resolution="1",
        ),
    )
    try:
        deliver(job=job, actor=actor, as_of=now(), entry=entry)
    except DomainError as error:
        return _gate_page(request, actor, job_id, fault=error, form="delivery")
    return _back(job_id, "The hand-over is on record.")


@page
@require_POST
def seal_packet(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    job = get_job_for(actor, job_id)
    try:
        packet = request_packet(job=job, actor=actor, as_of=now(), kind="full", packet_id=_form_id(request))
    except DomainError as error:
        return _gate_page(request, actor, job_id, fault=error)
    return _back(job_id, f"Packet {packet.serial} is being built.")


def _form_id(request: HttpRequest) -> UUID:
    """The id drawn when the page was made: sending the form twice is the same row."""
    try:
        return UUID(str(request.POST.get("id", "")))
    except ValueError:
        raise NotFound() from None


def _back(job_id: UUID, words: str) -> HttpResponse:
    return redirect(said_address(reverse("web:gate", args=[job_id]), job_id, words))


_PACKET_WORDS = {
    "waiting": "waits to be built",
    "building": "is being built",
    "sealed": "sealed",
    "failed": "could not be built; the record is kept",
}


def _gate_page(
    request: HttpRequest, actor: Actor, job_id: UUID, fault: DomainError | None = None, form: str = ""
) -> HttpResponse:
    """The gate of one car; ``form`` is the sheet that stays open because what it sent was refused."""
    job = get_job_for(actor, job_id)
    heading = cars.car_of(job)
    judging = judging_words(cars.judging_of(job))
    assessment = cars.current_assessment(job)
    people = cars.people_by_id(actor.organisation_id)
    shown = page_of(assessment, people, heading.tz, judging["state"])
    shown = with_device_names(shown, lambda: device_names(job))
    context: dict[str, Any] = {
        "car": heading,
        "page": shown,
        "judging": judging,
        "said": said(request, job_id),
        "left": len(shown.get("open_rows", ())) + len(shown.get("undecided", ())),
        "fault": words_of(fault, shown.get("titles")) if fault else None,
        "sheet": form,
        "new_ids": {name: uuid4() for name in ("release", "delivery", "packet")},
        "home": home_box(
            request.GET.dict(),
            heading.tz,
            lambda given, at: home_answer(job=job, as_of=at, entered=given),
        ),
        "road_caution": " ".join(wording.ROAD_CAUTIONS),
        "photo_missing": "odometer_out" not in cars.photographed(job),
        "may_release": actor.has_role(*actor.organisation.release_roles),
        "may_deliver": bool(actor.roles & DESK),
        "time_line": time_line_of(job),
        "may_share": bool(actor.roles & MANAGERS),
        "may_packet": bool(actor.roles & (MANAGERS | {"quality_reviewer"})) and assessment is not None,
        "may_redact": bool(actor.roles & {"operations_manager", "quality_manager"}),
        "packets": [
            {
                "id": packet.pk,
                "serial": packet.serial,
                "words": _PACKET_WORDS[packet.state],
                "sealed": packet.state == "sealed",
            }
            for packet in cars.packets_of(job)
        ],
    }
    return show(request, "desk/gate.html", context, status=status_of(fault) if fault else 200)
