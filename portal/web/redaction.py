"""The page on which a manager redacts a sealed packet: choose, draw, look at what follows, ask."""

from collections.abc import Mapping
from itertools import groupby
from typing import Any, Final
from uuid import UUID, uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from jobs.access import Actor, get_packet_for
from jobs.errors import DomainError, NotFound, Refused
from jobs.services.painting import PictureChoice, Region
from jobs.services.redaction import (
    Choices,
    FieldChoice,
    LeftChoice,
    RedactionEntry,
    choices_of,
    picture_of,
    plan_of,
    request_redaction,
)
from portal.clock import now
from portal.errors import status_of
from portal.web.doors import page, said_address, show, words_of
from rules.seal.redaction_check import KINDS

# What a field most likely is, so that a person need not choose where there is nothing to choose.
LIKELY: Final = {
    "order/customer_name": "customer_name",
    "order/customer_contact": "contact",
    "order/plate": "plate",
    "facts/vehicle/vin": "plate",
}
PERCENT: Final = 100.0


@page
@require_http_methods(["GET", "HEAD", "POST"])
def redact(request: HttpRequest, actor: Actor, packet_id: UUID) -> HttpResponse:
    packet = get_packet_for(actor, packet_id, as_of=now())
    choices = choices_of(packet=packet, actor=actor)
    context: dict[str, Any] = {"packet": packet, "kinds": KINDS.items(), "job": packet.job, "new_id": uuid4()}
    if request.method != "POST":
        return show(request, "desk/redaction.html", {**context, **_form({}, choices)})
    sent = request.POST
    fault: DomainError | None = None
    try:
        entry = _entry(sent, choices)
        if sent.get("step") == "seal":
            made = request_redaction(packet=packet, actor=actor, as_of=now(), entry=entry)
            where = reverse("web:gate", args=[packet.job_id])
            return redirect(said_address(where, packet.job_id, f"Packet {made.serial} is being built."))
        plan = plan_of(packet=packet, actor=actor, entry=entry)
        context |= {"plan": plan, "hits": plan.hits, "new_id": entry.id}
    except DomainError as error:
        if isinstance(error, NotFound):
            raise
        fault = error
        context |= {"hits": error.extra.get("hits", ()), "new_id": sent.get("id", "")}
    context |= {"fault": words_of(fault) if fault else None, **_form(sent, choices)}
    return show(request, "desk/redaction.html", context, status=status_of(fault) if fault else 200)


@page
@require_http_methods(["GET", "HEAD"])
def picture(request: HttpRequest, actor: Actor, packet_id: UUID, number: int) -> HttpResponse:
    """One picture of the packet, upright and without metadata, to draw on."""
    packet = get_packet_for(actor, packet_id, as_of=now())
    answer = HttpResponse(picture_of(packet=packet, actor=actor, number=number), content_type="image/jpeg")
    answer.headers["X-Content-Type-Options"] = "nosniff"
    return answer


def _form(sent: Mapping[str, Any], choices: Choices) -> dict[str, Any]:
    """Rows in their groups, filled in as they were sent."""
    chosen = set(sent.getlist("field")) if hasattr(sent, "getlist") else set()
    rows = [
        {
            "path": entry.path,
            "group": entry.group,
            "where": entry.where,
            "shown": entry.shown,
            "chosen": entry.path in chosen,
            "kind": sent.get(f"kind {entry.path}") or LIKELY.get(entry.path, _likely(entry.path)),
            "why": sent.get(f"why {entry.path}", ""),
        }
        for entry in choices.entries
    ]
    pictures = [
        {
            "number": file.number,
            "name": file.name,
            "regions": sent.get(f"regions {file.number}", ""),
            "kind": sent.get(f"kind {file.name}") or "face",
            "why": sent.get(f"why {file.name}", ""),
        }
        for file in choices.pictures
    ]
    groups = [(name, list(found)) for name, found in groupby(rows, key=lambda row: str(row["group"]))]
    return {"groups": groups, "pictures": pictures, "why": sent.get("why", "")}


def _likely(path: str) -> str:
    return "person_name" if path.startswith("facts/people/") else "other"


def _entry(sent: Any, choices: Choices) -> RedactionEntry:
    """The form as the service takes it. A row without a reason of its own has the common one."""
    common = str(sent.get("why", ""))
    known = {entry.path for entry in choices.entries} | {
        path.removeprefix("leave ") for path in sent if path.startswith("leave ")
    }
    fields = tuple(
        FieldChoice(
            path=path,
            kind=str(sent.get(f"kind {path}") or LIKELY.get(path, _likely(path))),
            why=str(sent.get(f"why {path}") or common),
        )
        for path in dict.fromkeys(sent.getlist("field"))
        if path in known
    )
    pictures = tuple(
        PictureChoice(
            file=file.name,
            kind=str(sent.get(f"kind {file.name}", "face")),
            why=str(sent.get(f"why {file.name}") or common),
            regions=_regions(str(sent.get(f"regions {file.number}", ""))),
        )
        for file in choices.pictures
        if str(sent.get(f"regions {file.number}", "")).strip()
    )
    left = tuple(
        LeftChoice(path=name.removeprefix("leave "), why=str(sent.get(name)))
        for name in sent
        if name.startswith("leave ") and str(sent.get(name)).strip()
    )
    return RedactionEntry(id=_form_id(sent), fields=fields, pictures=pictures, left=left)


def _regions(text: str) -> tuple[Region, ...]:
    """One region a line: left, top, width and height in percent of the picture."""
    found = []
    for line in text.splitlines():
        parts = line.replace(",", " ").split()
        if not parts:
            continue
        try:
            x, y, width, height = (float(part) / PERCENT for part in parts)
        except ValueError:
            raise Refused(
                "bad_region",
                "A region is four numbers: left, top, width and height in percent.",
                field="regions",
            ) from None
        found.append(Region(x=x, y=y, width=width, height=height))
    return tuple(found)


def _form_id(sent: Any) -> UUID:
    try:
        return UUID(str(sent.get("id", "")))
    except ValueError:
        raise NotFound() from None
