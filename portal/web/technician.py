"""The technician's pages: the cars at hand, and one car with what is required, missing and still possible."""

import hashlib
from collections.abc import Iterable
from typing import Any, BinaryIO, cast
from uuid import UUID, uuid4

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from jobs.access import Actor, equipment_for, get_job_for, locations_for
from jobs.errors import DomainError, NotFound
from jobs.selectors import cars
from jobs.services.advice import home_answer
from jobs.services.decision import SignOffEntry, sign
from jobs.services.devices import issue_clock_ticket
from jobs.services.evidence_intake import Upload
from jobs.services.filing import file_evidence
from jobs.services.time_line import device_names
from portal.clock import now
from portal.errors import status_of
from portal.web import own_clock, wording
from portal.web.doors import page, said, said_address, show, words_of
from portal.web.home_box import home_box
from portal.web.job_page import judging_words, page_of
from portal.web.times import with_device_names


@page
@require_http_methods(["GET", "HEAD"])
def car_list(request: HttpRequest, actor: Actor) -> HttpResponse:
    places = ", ".join(location.name for location in locations_for(actor)) or "no location"
    rows = cars.list_cars(actor)
    gone = sum(row.delivered_at is not None for row in rows)
    context = {"cars": rows, "here": len(rows) - gone, "gone": gone, "places": places}
    return show(request, "bay/cars.html", context)


@page
@require_http_methods(["GET", "HEAD"])
def car(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    return _car_page(request, actor, job_id)


@page
@require_http_methods(["GET", "HEAD"])
def car_state(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    """What the page asks every few seconds: has the judgement changed."""
    judging = judging_words(cars.judging_of(get_job_for(actor, job_id)))
    ticket = issue_clock_ticket(as_of=now())
    return JsonResponse({"state": judging["mark"], "words": judging["words"], "ticket": ticket})


@page
@require_POST
def keep_photo(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    shows = (str(request.POST.get("shows", "")),)
    return _keep(request, actor, job_id, form="photo", kind="photo", shows=shows)


@page
@require_POST
def keep_file(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    kind = str(request.POST.get("kind", ""))
    return _keep(request, actor, job_id, form="file", kind=kind, shows=())


@page
@require_POST
def sign_work(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    job = get_job_for(actor, job_id)
    entry = SignOffEntry(
        id=_form_id(request),
        role=str(request.POST.get("role", "")),
        pin=str(request.POST.get("pin", "")),
        statement_version="1",
    )
    try:
        sign(job=job, actor=actor, as_of=now(), entry=entry)
    except DomainError as error:
        return _car_page(request, actor, job_id, fault=error, form="sign")
    return _back(job_id, "Signed. The signature covers every item recorded so far.")


def _keep(
    request: HttpRequest, actor: Actor, job_id: UUID, *, form: str, kind: str, shows: tuple[str, ...]
) -> HttpResponse:
    job = get_job_for(actor, job_id)
    file = request.FILES.get("file")
    if file is None:
        return _back(job_id, "No file was chosen. Nothing was kept.")
    device = own_clock.named_device(request, actor)
    upload = Upload(
        id=_form_id(request),
        claimed_sha256=_sha256(file.chunks(1 << 20)),
        kind=kind,
        stage=str(request.POST.get("stage", "")),
        shows=shows,
        session=_session_id(request),
        instrument=str(request.POST.get("instrument", "")).strip().upper(),
        device=device,
        file_name=file.name or "",
    )
    file.seek(0)
    source = cast(BinaryIO, file.file)
    try:
        if device is not None:
            own_clock.compare(request, actor, device)
        evidence, created = file_evidence(job=job, actor=actor, as_of=now(), upload=upload, source=source)
    except DomainError as error:
        return _car_page(request, actor, job_id, fault=error, form=form)
    words = "kept" if created else "was already on record"
    answer = _back(job_id, f"Evidence {evidence.number} {words}. The record is being judged again.")
    return own_clock.remember(answer, device) if form == "photo" else answer


def _sha256(pieces: Iterable[bytes]) -> str:
    """A browser form sends no digest: the server's own stands in, so that reading it twice must agree."""
    digest = hashlib.sha256()
    for piece in pieces:
        digest.update(piece)
    return digest.hexdigest()


def _form_id(request: HttpRequest) -> UUID:
    """The id drawn when the page was made: sending the form twice is the same row."""
    try:
        return UUID(str(request.POST.get("id", "")))
    except ValueError:
        raise NotFound() from None


def _session_id(request: HttpRequest) -> UUID | None:
    text = str(request.POST.get("session", ""))
    if not text:
        return None
    try:
        return UUID(text)
    except ValueError:
        raise NotFound() from None


def _back(job_id: UUID, words: str) -> HttpResponse:
    return redirect(said_address(reverse("web:car", args=[job_id]), job_id, words))


def _car_page(
    request: HttpRequest, actor: Actor, job_id: UUID, fault: DomainError | None = None, form: str = ""
) -> HttpResponse:
    """The page of one car; ``form`` is the sheet that stays open because what it sent was refused."""
    job = get_job_for(actor, job_id)
    heading = cars.car_of(job)
    judging = judging_words(cars.judging_of(job))
    people = cars.people_by_id(actor.organisation_id)
    assessment = cars.current_assessment(job)
    shown = page_of(assessment, people, heading.tz, judging["state"])
    shown = with_device_names(shown, lambda: device_names(job))
    seen = cars.photographed(job)
    context: dict[str, Any] = {
        "car": heading,
        "page": shown,
        "judging": judging,
        "said": said(request, job_id),
        "fault": words_of(fault, shown.get("titles")) if fault else None,
        "sheet": form,
        "new_ids": {name: uuid4() for name in ("photo", "file", "sign")},
        "subjects": wording.subjects(asked=shown.get("photos_asked", ()), on_record=seen),
        "cameras": cars.cameras_at(job),
        "taken_with": own_clock.remembered(request),
        "stages": wording.STAGES,
        "usual_stage": cars.usual_stage(job),
        "kinds": wording.KINDS,
        "instruments": [item.tag for item in equipment_for(actor).exclude(state="retired").order_by("tag")],
        "sign_roles": [pair for pair in wording.SIGN_ROLES if actor.has_role(pair[0])],
        "home": home_box(
            request.GET.dict(),
            heading.tz,
            lambda given, at: home_answer(job=job, as_of=at, entered=given),
        ),
        "road_caution": " ".join(wording.ROAD_CAUTIONS),
        "sessions": [
            {"id": session.pk, "words": f"{session.procedure_id}, attempt {session.attempt}"}
            for session in cars.sessions_of(job)
        ],
    }
    return show(request, "bay/car.html", context, status=status_of(fault) if fault else 200)
