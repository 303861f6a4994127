"""The technician's pages: the cars at hand, and one car with what is required, missing and still possible."""

import hashlib
from typing import Any
from uuid import UUID, uuid4

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods, require_POST

from jobs.access import Actor, get_job_for, locations_for
from jobs.errors import DomainError, NotFound
from jobs.selectors import cars
from jobs.services.decision import SignOffEntry, sign
from jobs.services.evidence_intake import Upload
from jobs.services.filing import file_evidence
from portal.clock import now
from portal.web import wording
from portal.web.doors import page, show, words_of
from portal.web.job_page import judging_words, page_of, state_mark


@page
@require_http_methods(["GET", "HEAD"])
def car_list(request: HttpRequest, actor: Actor) -> HttpResponse:
    places = ", ".join(location.name for location in locations_for(actor)) or "no location"
    return show(request, "bay/cars.html", {"cars": cars.list_cars(actor), "places": places})


@page
@require_http_methods(["GET", "HEAD"])
def car(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    return _car_page(request, actor, job_id)


@page
@require_http_methods(["GET", "HEAD"])
def car_state(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    """What the page asks every few seconds: has the judgement changed."""
    job = get_job_for(actor, job_id)
    return JsonResponse({"state": state_mark(job), "words": judging_words(job)})


@page
@require_POST
def keep_photo(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    shows = (str(request.POST.get("shows", "")),)
    return _keep(request, actor, job_id, kind="photo", shows=shows)


@page
@require_POST
def keep_file(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    return _keep(request, actor, job_id, kind=str(request.POST.get("kind", "")), shows=())


@page
@require_POST
def sign_work(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    job = get_job_for(actor, job_id)
    try:
        entry = SignOffEntry(
            id=_form_id(request),
            role=str(request.POST.get("role", "")),
            pin=str(request.POST.get("pin", "")),
            statement_version="1",
        )
        sign(job=job, actor=actor, as_of=now(), entry=entry)
    except DomainError as error:
        return _car_page(request, actor, job_id, fault=error)
    return _back(job_id, "Signed. The signature covers every item recorded so far.")


def _keep(
    request: HttpRequest, actor: Actor, job_id: UUID, *, kind: str, shows: tuple[str, ...]
) -> HttpResponse:
    job = get_job_for(actor, job_id)
    file = request.FILES.get("file")
    if file is None:
        return _back(job_id, "No file was chosen. Nothing was kept.")
    session = str(request.POST.get("session", ""))
    try:
        upload = Upload(
            id=_form_id(request),
            claimed_sha256=_sha256(file),
            kind=kind,
            stage=str(request.POST.get("stage", "")),
            shows=shows,
            session=UUID(session) if session else None,
            instrument=str(request.POST.get("instrument", "")).strip().upper(),
            file_name=file.name or "",
        )
        evidence, created = file_evidence(job=job, actor=actor, as_of=now(), upload=upload, source=file.file)
    except DomainError as error:
        return _car_page(request, actor, job_id, fault=error)
    words = "kept" if created else "was already on record"
    return _back(job_id, f"Evidence {evidence.number} {words}. The record is being judged again.")


def _sha256(file: UploadedFile) -> str:
    """A browser form sends no digest: the server's own stands in, so that reading it twice must agree."""
    digest = hashlib.sha256()
    for piece in file.chunks(1 << 20):
        digest.update(piece)
    file.seek(0)
    return digest.hexdigest()


def _form_id(request: HttpRequest) -> UUID:
    """The id drawn when the page was made: sending the form twice is the same row."""
    try:
        return UUID(str(request.POST.get("id", "")))
    except ValueError:
        raise NotFound() from None


def _back(job_id: UUID, said: str) -> HttpResponse:
    return redirect(f"{reverse('car', args=[job_id])}?{urlencode({'said': said})}")


def _car_page(
    request: HttpRequest, actor: Actor, job_id: UUID, fault: DomainError | None = None
) -> HttpResponse:
    job = get_job_for(actor, job_id)
    heading = cars.car_of(job)
    assessment = cars.current_assessment(job)
    context: dict[str, Any] = {
        "car": heading,
        "page": page_of(assessment, cars.people_by_id(actor.organisation_id), heading.tz),
        "judging": judging_words(job),
        "state_mark": state_mark(job),
        "said": request.GET.get("said", "")[:300],
        "fault": words_of(fault) if fault else None,
        "new_ids": {name: uuid4() for name in ("photo", "file", "sign")},
        "subjects": wording.SUBJECTS,
        "stages": wording.STAGES,
        "kinds": wording.KINDS,
        "sign_roles": [pair for pair in wording.SIGN_ROLES if actor.has_role(pair[0])]
        or wording.SIGN_ROLES[:1],
        "sessions": [
            {"id": session.pk, "words": f"{session.procedure_id}, attempt {session.attempt}"}
            for session in cars.sessions_of(job)
        ],
    }
    return show(request, "bay/car.html", context, status=422 if fault else 200)
