"""The manager's page on the heads of the log: what was handed outside, to whom, and a kept head compared."""

import re
from typing import Any, Final

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from jobs.access import Actor
from jobs.errors import DomainError, Refused
from jobs.selectors.heads import Comparison, compare, daily_heads, last_failure, not_delivered
from jobs.services.due import local_day
from jobs.services.head_mail import set_own_address
from jobs.services.heads import receivers_of
from portal.clock import now
from portal.errors import status_of
from portal.web.doors import page, said, said_address, show, words_of
from rules.canonical import sha256_hex

_ROOT: Final = re.compile(r"[0-9a-f]{64}")
_SIZE: Final = re.compile(r"[1-9][0-9]{0,14}", re.ASCII)


@page
@require_http_methods(["GET", "HEAD"])
def head_list(request: HttpRequest, actor: Actor) -> HttpResponse:
    try:
        compared = _compared(request, actor)
    except Refused as fault:
        return _show(request, actor, fault=fault)
    return _show(request, actor, compared=compared)


@page
@require_POST
def set_address(request: HttpRequest, actor: Actor) -> HttpResponse:
    try:
        kept = set_own_address(actor=actor, address=str(request.POST.get("address", "")), as_of=now())
    except DomainError as error:
        return _show(request, actor, fault=error)
    words = f"Heads are sent to {kept} from now on." if kept else "No head is sent to you any more."
    return redirect(said_address(reverse("web:heads"), actor.organisation_id, words))


def _compared(request: HttpRequest, actor: Actor) -> Comparison | None:
    """What comparing the kept head gave that the form names; None where it names none."""
    entries, root = request.GET.get("entries", "").strip(), request.GET.get("root", "")
    if not entries and not root:
        return None
    # As it stands in a mail: groups of four, over several lines.
    root = "".join(root.split()).lower()
    if not _SIZE.fullmatch(entries):
        raise Refused("bad_number", "Entries is a whole number from 1 on.", field="entries")
    if not _ROOT.fullmatch(root):
        raise Refused("bad_root", "A root has 64 digits 0 to 9 and a to f.", field="root")
    return compare(actor.organisation, size=int(entries), root=root)


def _show(
    request: HttpRequest,
    actor: Actor,
    *,
    compared: Comparison | None = None,
    fault: DomainError | None = None,
) -> HttpResponse:
    at = now()
    today = local_day(actor.organisation, at)
    heads = daily_heads(actor.organisation_id)
    newest = heads[0] if heads else None
    people = receivers_of(actor.organisation, today)
    missed = set(not_delivered(actor.organisation, newest)) if newest else set()
    has_today = newest is not None and newest.day == today
    context: dict[str, Any] = {
        "organisation": actor.organisation.name,
        "organisation_id": actor.organisation_id,
        "heads": [
            {
                "day": head.day,
                "size": head.size,
                "root": head.root,
                "signature": sha256_hex(bytes(head.signature)) if head.signature else "",
                "is_demo": head.is_demo,
                "before": head.previous,
            }
            for head in heads
        ],
        "has_today": has_today,
        "failure": "" if has_today else last_failure(actor.organisation, today),
        "people": [
            {"name": one.name, "has_address": bool(one.email), "missed": one.pk in missed} for one in people
        ],
        "mail_is_set": settings.WM_MAIL_IS_SET,
        "address": actor.person.email,
        "may_receive": any(one.pk == actor.person.pk for one in people),
        "compared": compared,
        "entered": {"entries": request.GET.get("entries", ""), "root": request.GET.get("root", "")},
        "said": said(request, actor.organisation_id),
        "fault": words_of(fault) if fault else None,
    }
    return show(request, "desk/heads.html", context, status=status_of(fault) if fault else 200)
