"""The manager's page of who has access to a job's packets: given, by person or link, seen, taken back."""

from datetime import UTC, datetime, time, timedelta
from typing import Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from jobs.access import Actor, get_grant_for, get_job_for, get_link_for, get_packet_for
from jobs.errors import DomainError, NotFound
from jobs.selectors import cars
from jobs.selectors.access_given import access_of_job, downloads_of_job
from jobs.services.sharing import (
    ENDS,
    LONGEST_GRANT,
    USUAL_GRANT,
    GrantEntry,
    LinkEntry,
    grant_access,
    revoke_grant,
    revoke_link,
    share_by_link,
)
from portal.clock import now
from portal.errors import status_of
from portal.web.doors import page, said, said_address, show, words_of

PURPOSES = (
    ("insurer_audit", "insurer's audit"),
    ("owner_copy", "owner's copy"),
    ("discovery", "discovery"),
    ("sublet", "sublet"),
    ("internal", "internal"),
)
SECTION_WORDS = (
    ("required", "what was required"),
    ("vehicle", "vehicle and owner"),
    ("procedures", "procedures"),
    ("people", "people"),
    ("waivers", "waivers and refusals"),
    ("time_line", "time line"),
    ("evidence", "evidence and photos"),
    ("computations", "computations"),
    ("packs", "packs"),
    ("log", "log extract"),
)
END_WORDS = (
    ("superseded", "a newer packet of the job is sealed"),
    ("sharer_leaves", "I leave the shop"),
    ("evidence_flagged", "evidence is set aside after sealing"),
)


@page
@require_http_methods(["GET", "HEAD"])
def access(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    return _page(request, actor, job_id)


@page
@require_POST
def grant(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    """Gives one person access to one packet."""
    job = get_job_for(actor, job_id)
    try:
        entry = GrantEntry(to_person=_text(request, "to_person"), **_entry(request, job.location.tz))
        made = grant_access(packet=_packet(request, actor, job_id), actor=actor, as_of=now(), entry=entry)
    except DomainError as error:
        return _page(request, actor, job_id, fault=error, form="grant")
    return _back(job_id, f"{made.recipient} can read the packet now.")


@page
@require_POST
def link(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    """Makes a link; its address stands on the answer to this form, once, and nowhere else."""
    job = get_job_for(actor, job_id)
    try:
        entry = LinkEntry(
            to_name=_text(request, "to_name"),
            to_company=_text(request, "to_company"),
            passphrase=str(request.POST.get("passphrase", "")),
            **_entry(request, job.location.tz),
        )
        packets = [_packet(request, actor, job_id, text) for text in request.POST.getlist("packet")]
        made, text = share_by_link(packets=packets, actor=actor, as_of=now(), entry=entry)
    except DomainError as error:
        return _page(request, actor, job_id, fault=error, form="link")
    address = request.build_absolute_uri(reverse("web:link", args=[text]))
    return _page(request, actor, job_id, made={"link": made, "address": address})


@page
@require_POST
def take_back(request: HttpRequest, actor: Actor, job_id: UUID, grant_id: UUID) -> HttpResponse:
    get_job_for(actor, job_id)
    try:
        revoke_grant(grant=get_grant_for(actor, grant_id), actor=actor, as_of=now())
    except DomainError as error:
        if isinstance(error, NotFound):
            raise
        return _page(request, actor, job_id, fault=error)
    return _back(job_id, "Taken back. Whoever held it sees nothing from now on.")


@page
@require_POST
def take_back_link(request: HttpRequest, actor: Actor, job_id: UUID, link_id: UUID) -> HttpResponse:
    get_job_for(actor, job_id)
    try:
        revoke_link(link=get_link_for(actor, link_id), actor=actor, as_of=now())
    except DomainError as error:
        if isinstance(error, NotFound):
            raise
        return _page(request, actor, job_id, fault=error)
    return _back(job_id, "The link is shut, with every packet that it opened.")


def _text(request: HttpRequest, name: str) -> str:
    return str(request.POST.get(name, "")).strip()


def _entry(request: HttpRequest, tz: str) -> dict[str, Any]:
    """The fields that both forms have; a day ends with its last second at the shop."""
    most = _text(request, "max_downloads")
    return {
        "id": _form_id(request),
        "purpose": _text(request, "purpose"),
        "until": _end_of_day(_text(request, "until"), tz),
        "max_downloads": int(most) if most.isascii() and most.isdigit() and len(most) < 6 else None,
        "sections": tuple(request.POST.getlist("sections")),
        "ends_when": tuple(request.POST.getlist("ends_when")),
    }


def _end_of_day(text: str, tz: str) -> str:
    """The last second of a local day as an instant; what is no day goes on as it is, to be refused."""
    try:
        day = datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC).date()
    except ValueError:
        return text
    return datetime.combine(day, time(23, 59, 59), tzinfo=ZoneInfo(tz)).isoformat()


def _packet(request: HttpRequest, actor: Actor, job_id: UUID, text: str | None = None) -> Any:
    packet = get_packet_for(actor, _text(request, "packet") if text is None else text, as_of=now())
    if packet.job_id != job_id:
        raise NotFound()
    return packet


def _form_id(request: HttpRequest) -> UUID:
    try:
        return UUID(_text(request, "id"))
    except ValueError:
        raise NotFound() from None


def _back(job_id: UUID, words: str) -> HttpResponse:
    return redirect(said_address(reverse("web:access", args=[job_id]), job_id, words))


def _page(
    request: HttpRequest,
    actor: Actor,
    job_id: UUID,
    *,
    fault: DomainError | None = None,
    form: str = "",
    made: dict[str, Any] | None = None,
) -> HttpResponse:
    job = get_job_for(actor, job_id)
    at, tz = now(), job.location.tz
    local = at.astimezone(ZoneInfo(tz)).date()
    context: dict[str, Any] = {
        "car": cars.car_of(job),
        "access": access_of_job(job, as_of=at),
        "taken": downloads_of_job(job),
        "packets": [packet for packet in cars.packets_of(job) if packet.state == "sealed"],
        "fault": words_of(fault) if fault else None,
        "form": form,
        "made": made,
        "said": said(request, job_id),
        "new_ids": {"grant": uuid4(), "link": uuid4()},
        "purposes": PURPOSES,
        "sections_of": SECTION_WORDS,
        "ends": [(code, words) for code, words in END_WORDS if code in ENDS],
        "usual_day": (local + USUAL_GRANT).isoformat(),
        "last_day": (local + LONGEST_GRANT - timedelta(days=1)).isoformat(),
        "tz": tz,
    }
    answer = show(request, "desk/access.html", context, status=status_of(fault) if fault else 200)
    if made:
        # The address of a link stands on this page: it goes into no other request.
        answer.headers["Referrer-Policy"] = "no-referrer"
        answer.headers["Cache-Control"] = "private, no-store"
    return answer
