"""The pages of samples: how many packets to look at, which ones the draw gives, all of them in one file."""

import json
from typing import Any
from uuid import UUID, uuid4

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from jobs.access import (
    Actor,
    get_archive_for,
    get_sample_for,
    grants_for,
    locations_for,
    samples_for,
    scope_of,
)
from jobs.errors import DomainError, NotFound
from jobs.selectors import samples
from jobs.services.sample_archive import request_archive, sample_sheet
from jobs.services.sampling import SampleEntry, draw_sample, open_sample, read_confidence
from portal.clock import now
from portal.downloads import attachment_of
from portal.errors import status_of
from portal.ranges import copy_answer, kept_archive
from portal.web.doors import page, show, words_of
from rules.science.sampling import LARGEST_LOT, chance_of_seeing, needed

MOST_SHOWN = 100


@page
@require_http_methods(["GET", "HEAD"])
def sample_list(request: HttpRequest, actor: Actor) -> HttpResponse:
    return _list_page(request, actor)


@page
@require_POST
def open_one(request: HttpRequest, actor: Actor) -> HttpResponse:
    """Commits a seed and freezes the population; the page of the new sample follows."""
    try:
        entry = SampleEntry(
            id=_id(request.POST.get("id")),
            from_on=str(request.POST.get("from_on", "")),
            to_on=str(request.POST.get("to_on", "")),
            locations=tuple(request.POST.getlist("locations")),
            one_in=str(request.POST.get("one_in", "20")),
            confidence=str(request.POST.get("confidence", "0.95")),
            for_person=str(request.POST.get("for_person", "")).strip(),
        )
        of = _id(request.POST["of"]) if actor.is_outsider and "of" in request.POST else None
        made = open_sample(actor=actor, as_of=now(), entry=entry, of=of)
    except DomainError as error:
        return _list_page(request, actor, fault=error)
    return redirect("web:sample", made.pk)


@page
@require_http_methods(["GET", "HEAD"])
def sample(request: HttpRequest, actor: Actor, sample_id: UUID) -> HttpResponse:
    return _sample_page(request, actor, sample_id)


@page
@require_POST
def draw(request: HttpRequest, actor: Actor, sample_id: UUID) -> HttpResponse:
    """Draws with the word that was typed."""
    row = get_sample_for(actor, sample_id)
    try:
        with scope_of(row):
            draw_sample(sample=row, actor=actor, as_of=now(), word=str(request.POST.get("word", "")))
    except DomainError as error:
        return _sample_page(request, actor, sample_id, fault=error)
    return redirect("web:sample", sample_id)


@page
@require_http_methods(["GET", "HEAD"])
def sheet(request: HttpRequest, actor: Actor, sample_id: UUID) -> HttpResponse:
    """Everything with which anybody can draw the sample again, as a file."""
    row = get_sample_for(actor, sample_id)
    with scope_of(row):
        data = sample_sheet(row)
    return attachment_of(data, media_type="application/json", file_name=f"sample-{str(row.pk)[:8]}.json")


@page
@require_POST
def pack(request: HttpRequest, actor: Actor, sample_id: UUID) -> HttpResponse:
    """Asks for all packets of the sample as one ZIP."""
    row = get_sample_for(actor, sample_id)
    try:
        request_archive(sample=row, actor=actor, as_of=now(), archive_id=_id(request.POST.get("id")))
    except DomainError as error:
        if isinstance(error, NotFound):
            raise
        return _sample_page(request, actor, sample_id, fault=error)
    return redirect(reverse("web:sample", args=[sample_id]) + "#archive")


@page
@require_http_methods(["GET", "HEAD"])
def archive(request: HttpRequest, actor: Actor, archive_id: UUID) -> HttpResponseBase:
    """The ZIP, in one go or in parts."""
    return copy_answer(request, kept_archive(get_archive_for(actor, archive_id), as_of=now()))


def _id(value: Any) -> UUID:
    try:
        return UUID(str(value))
    except ValueError:
        raise NotFound() from None


def _list_page(request: HttpRequest, actor: Actor, fault: DomainError | None = None) -> HttpResponse:
    rows = [samples.shown(row) for row in samples_for(actor)[:MOST_SHOWN]]
    givers = {}
    if actor.is_outsider:
        givers = {grant.organisation_id: grant.organisation.name for grant in grants_for(actor, as_of=now())}
    context = {
        "samples": rows,
        "plan": _plan(request),
        "fault": words_of(fault) if fault else None,
        "new_id": uuid4(),
        "givers": sorted(givers.items(), key=lambda item: item[1]),
        "locations": [] if actor.is_outsider else [(row.code, row.name) for row in locations_for(actor)],
        "is_outsider": actor.is_outsider,
        "may_open": bool(givers) or not actor.is_outsider,
        "tz": actor.organisation.default_tz,
        "posted": request.POST,
    }
    return show(request, "audit/samples.html", context, status=status_of(fault) if fault else 200)


def _plan(request: HttpRequest) -> dict[str, Any]:
    """The little calculator: how many of how many, and how sure one is then."""
    lot = _whole(request.GET.get("lot"), 400)
    one_in = _whole(request.GET.get("one_in"), 20)
    confidence = str(request.GET.get("confidence", "0.95"))
    try:
        wanted = read_confidence(confidence)
    except DomainError:
        confidence, wanted = "0.95", read_confidence("0.95")
    bad = max(lot // one_in, 1)
    size = needed(lot, bad, wanted)
    fewer = [count for count in (size // 4, size // 2, (3 * size) // 4) if count]
    steps = sorted({*fewer, size, min(2 * size, lot)})
    return {
        "lot": lot,
        "one_in": one_in,
        "confidence": confidence,
        "size": size,
        "sentence": samples.sentence(lot, one_in, confidence, size),
        "steps": [(count, f"{100 * chance_of_seeing(lot, bad, count):.1f} %") for count in steps],
    }


def _whole(text: Any, otherwise: int) -> int:
    given = str(text or "")
    if given.isascii() and given.isdigit() and len(given) <= 6 and 1 <= int(given) <= LARGEST_LOT:
        return int(given)
    return otherwise


def _sample_page(
    request: HttpRequest, actor: Actor, sample_id: UUID, fault: DomainError | None = None
) -> HttpResponse:
    row = get_sample_for(actor, sample_id)
    told = samples.shown(row)
    with scope_of(row):
        drawn = samples.drawn_packets(row)
        packed = samples.archive_of(row, actor.person.pk)
        done = samples.archive_progress(packed) if packed is not None else 0
        sheet_words = json.loads(sample_sheet(row))
    mine = row.for_person_id == actor.person.pk or (row.for_person_id is None and not actor.is_outsider)
    context = {
        "sample": told,
        "sentence": samples.sentence(told.lot, told.one_in, told.confidence, told.size),
        "chance": f"{100 * told.chance:.1f} %",
        "drawn": drawn,
        "archive": packed,
        "is_kept": packed is not None and packed.until is not None and packed.until > now(),
        "done": done,
        "new_id": uuid4(),
        "may_draw": mine,
        "opens_reader": actor.is_outsider,
        "population": sheet_words["population"],
        "fault": words_of(fault) if fault else None,
    }
    return show(request, "audit/sample.html", context, status=status_of(fault) if fault else 200)
