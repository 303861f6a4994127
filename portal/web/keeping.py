"""The manager's pages of keeping: retention and holds, and what a job gave out, got added, and lost."""

from typing import Any
from uuid import UUID, uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from jobs.access import Actor, get_job_for
from jobs.errors import DomainError, NotFound, Refused
from jobs.selectors import cars
from jobs.selectors.deletions import deletions_of_job
from jobs.selectors.deletions import words_of as deletion_words
from jobs.selectors.holds import holds_for, holds_over, jobs_shown
from jobs.services.addition_reading import addition_file, listed
from jobs.services.holds import HoldEntry, HoldQuery, ask_to_lift, get_hold_for, lift_hold, place_hold
from jobs.services.producing import form_of, production_export, production_log
from jobs.services.retention_plan import plan_retention
from jobs.services.retention_policy import RULE_ROLES, rules_of, set_rule
from portal.clock import now
from portal.downloads import attachment_of
from portal.errors import status_of
from portal.web.doors import page, said, said_address, show, words_of

# More lines than this are counted, not listed (project default).
MOST_LISTED = 100


@page
@require_http_methods(["GET", "HEAD"])
def keeping(request: HttpRequest, actor: Actor) -> HttpResponse:
    return _show(request, actor)


@page
@require_POST
def new_hold(request: HttpRequest, actor: Actor) -> HttpResponse:
    try:
        hold = place_hold(actor=actor, as_of=now(), entry=_hold_entry(request))
    except DomainError as error:
        return _show(request, actor, fault=error)
    return _back(actor, f"The hold is placed. It covers {len(jobs_shown(actor, hold))} of your jobs now.")


def _hold_entry(request: HttpRequest) -> HoldEntry:
    form = request.POST
    named = HoldQuery(
        vin=form.get("vin", "").strip(),
        claim_number=form.get("claim_number", "").strip(),
        locations=tuple(form.get("locations", "").upper().replace(",", " ").split()),
        opened_from=form.get("opened_from", ""),
        opened_to=form.get("opened_to", ""),
    )
    return HoldEntry(
        id=_uuid(form.get("id", "")),
        matter=form.get("matter", ""),
        jobs=tuple(_uuid(text) for text in form.getlist("job") if text),
        query=named if named != HoldQuery() else None,
    )


def _uuid(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        raise NotFound() from None


@page
@require_POST
def ask_lift(request: HttpRequest, actor: Actor, hold_id: UUID) -> HttpResponse:
    hold = get_hold_for(actor, hold_id)
    try:
        ask_to_lift(hold=hold, actor=actor, as_of=now(), reason=request.POST.get("reason", ""))
    except DomainError as error:
        return _show(request, actor, fault=error)
    return _back(actor, "Asked. The hold stands until a second person agrees.")


@page
@require_POST
def lift(request: HttpRequest, actor: Actor, hold_id: UUID) -> HttpResponse:
    hold = get_hold_for(actor, hold_id)
    try:
        lift_hold(hold=hold, actor=actor, as_of=now())
    except DomainError as error:
        return _show(request, actor, fault=error)
    return _back(actor, "The hold is lifted. Retention goes on as if it had never been.")


@page
@require_POST
def new_rule(request: HttpRequest, actor: Actor) -> HttpResponse:
    form = request.POST
    try:
        set_rule(
            actor=actor, as_of=now(), kind=form.get("kind", ""), amount=_amount(form.get("amount", "")),
            reason=form.get("reason", ""),
        )  # fmt: skip
    except DomainError as error:
        return _show(request, actor, fault=error)
    return _back(actor, "The rule holds from now on. What was set before stays to be read.")


def _amount(text: str) -> int | None:
    """A whole number; nothing typed means for ever."""
    plain = text.strip()
    if not plain:
        return None
    if not plain.isascii() or not plain.isdigit() or len(plain) > 4:
        raise Refused("bad_number", "The period is a whole number, or empty for ever.", field="amount")
    return int(plain)


def _back(actor: Actor, words: str) -> HttpResponse:
    return redirect(said_address(reverse("web:keeping"), actor.organisation_id, words))


def _show(request: HttpRequest, actor: Actor, fault: DomainError | None = None) -> HttpResponse:
    sees_all = actor.location_ids is None
    plan = plan_retention(organisation=actor.organisation, as_of=now()) if sees_all else None
    context: dict[str, Any] = {
        "organisation": actor.organisation.name,
        "tz": actor.organisation.default_tz,
        "said": said(request, actor.organisation_id),
        "fault": words_of(fault) if fault else None,
        "rules": list(rules_of(actor.organisation).values()),
        "may_set": sees_all and actor.has_role(*RULE_ROLES),
        "sees_all": sees_all,
        "plan": plan,
        "due": plan.items[:MOST_LISTED] if plan else (),
        "kept": plan.kept[:MOST_LISTED] if plan else (),
        "holds": [_hold(actor, hold) for hold in holds_for(actor)],
        "new_id": uuid4(),
    }
    return show(request, "desk/keeping.html", context, status=status_of(fault) if fault else 200)


def _hold(actor: Actor, hold: Any) -> dict[str, Any]:
    return {
        "row": hold,
        "query": [(name.replace("_", " "), _plain(value)) for name, value in hold.query.items()],
        "jobs": jobs_shown(actor, hold, most=20),
        "may_agree": hold.lift_asked_by_id is not None and hold.lift_asked_by_id != actor.person.pk,
    }


def _plain(value: Any) -> str:
    return ", ".join(value) if isinstance(value, list) else str(value)


# ------------------------------------------------------------------ one job


@page
@require_http_methods(["GET", "HEAD"])
def of_job(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    """What of a job was handed to whom, added to its packets, held, and deleted."""
    job = get_job_for(actor, job_id)
    sealed = [packet for packet in cars.packets_of(job) if packet.state == "sealed"]
    context = {
        "car": cars.car_of(job),
        "lines": production_log(job=job, as_of=now()),
        "packets": [{"packet": packet, "additions": listed(packet)} for packet in sealed],
        "holds": holds_over([job.pk], actor.organisation),
        "deleted": [{"row": row, "words": deletion_words(row)} for row in deletions_of_job(job)],
    }
    return show(request, "desk/kept_job.html", context)


@page
@require_POST
def production_csv(request: HttpRequest, actor: Actor, job_id: UUID) -> HttpResponse:
    job = get_job_for(actor, job_id)
    data = production_export(job=job, actor=actor, as_of=now())
    return attachment_of(
        data, media_type="text/csv; charset=utf-8", file_name=f"{job.number}-production-log.csv"
    )


@page
@require_http_methods(["GET", "HEAD"])
def custodian(request: HttpRequest, actor: Actor, job_id: UUID, serial: int) -> HttpResponse:
    """What the record states of one of the job's packets, to print and to fill in by hand."""
    job = get_job_for(actor, job_id)
    form = form_of(packet=_packet_of(job, serial), actor=actor, as_of=now())
    blanks = [name.replace("_", " ").capitalize() for name in form["to_be_filled_in"]]
    return show(request, "desk/custodian.html", {"car": cars.car_of(job), "form": form, "blanks": blanks})


def _packet_of(job: Any, serial: int) -> Any:
    """A packet of the job by its number."""
    packet = next((one for one in cars.packets_of(job) if one.number == serial), None)
    if packet is None:
        raise NotFound()
    return packet


@page
@require_http_methods(["GET"])
def addition_pages(
    request: HttpRequest, actor: Actor, job_id: UUID, serial: int, number: int
) -> HttpResponse:
    """The pages of one addition to one of the job's packets, by the packet's number."""
    job = get_job_for(actor, job_id)
    name, data = addition_file(packet=_packet_of(job, serial), number=number, form="pdf", as_of=now())
    return attachment_of(data, media_type="application/pdf", file_name=name)
