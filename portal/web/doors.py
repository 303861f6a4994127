"""The way into a page: who is signed in, the permission table, the organisation's scope, errors as pages."""

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, Concatenate, ParamSpec
from uuid import UUID

from django.conf import settings
from django.core.signing import BadSignature, Signer
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.http import urlencode

from jobs.access import Actor, scope_of
from jobs.errors import DomainError, NotFound, NotSignedIn
from portal.authentication import actor_of_session
from portal.clock import now
from portal.errors import problem_from, request_id_of
from portal.permissions import PERMISSIONS, check
from portal.web import wording
from rules.explain import readable

LOOKS = ("auto", "light", "dark", "sunlight")
# Route, its name in the bar, and the routes below it.
_SECTIONS = (
    (
        "web:board",
        "Board",
        ("web:board", "web:gate", "web:gate-release", "web:gate-delivery", "web:gate-packet"),
    ),
    ("web:cars", "Cars", ("web:cars", "web:car", "web:car-photo", "web:car-file", "web:car-sign")),
    (
        "web:keeping",
        "Retention and holds",
        ("web:keeping", "web:hold-new", "web:hold-lift-request", "web:hold-lifting", "web:retention-rule"),
    ),
    ("web:heads", "Heads of the log", ("web:heads", "web:heads-address")),
    ("web:packets", "Packets", ("web:packets", "web:packet")),
    ("web:samples", "Samples", ("web:samples", "web:sample")),
)
P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, Actor, P], HttpResponseBase]


def page(view: View[P]) -> Callable[Concatenate[HttpRequest, P], HttpResponseBase]:
    """Wraps a view that takes the actor: sign-in, permission by route and method, scope, error pages."""

    @wraps(view)
    def door(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
        answer: HttpResponseBase
        try:
            actor = actor_of_session(request)
        except NotSignedIn:
            return redirect(f"{settings.LOGIN_URL}?{urlencode({'next': _way_back(request)})}")
        try:
            route = request.resolver_match.view_name if request.resolver_match else ""
            method = "GET" if request.method == "HEAD" else str(request.method)
            check(actor, PERMISSIONS.get(route, {}).get(method))
            with scope_of(actor):
                answer = view(request, actor, *args, **kwargs)
        except DomainError as error:
            answer = error_page(request, error)
        answer.headers.setdefault("Cache-Control", "private, no-store")
        return answer

    return door


def _way_back(request: HttpRequest) -> str:
    """Where to go after signing in: a form that was sent cannot be sent again by an address."""
    return request.get_full_path() if request.method in ("GET", "HEAD") else "/"


def show(request: HttpRequest, template: str, context: dict[str, Any], status: int = 200) -> HttpResponse:
    """Renders a page with what every page needs."""
    return render(request, template, {**furniture(request), **context}, status=status)


def furniture(request: HttpRequest) -> dict[str, Any]:
    """Look, clock, the sections this person may open, and the demonstration note."""
    look = request.COOKIES.get("look", "auto")
    at = now()
    demo = f"{at.day} {at:%b %Y, %H:%M} UTC" if settings.WM_DEMO_CLOCK_FILE else ""
    return {
        "look": look if look in LOOKS else "auto",
        "looks": LOOKS,
        "now": at,
        "demo_clock": demo,
        "sections": _sections(request),
        "here": request.path if request.method in ("GET", "HEAD") else "/",
        "record_only": wording.RECORD_ONLY,
    }


def _sections(request: HttpRequest) -> list[dict[str, Any]]:
    roles = set(getattr(getattr(request, "user", None), "roles", ()))
    route = request.resolver_match.view_name if request.resolver_match else ""
    return [
        {"route": name, "title": title, "current": route == name, "inside": route in below}
        for name, title, below in _SECTIONS
        if roles & PERMISSIONS[name]["GET"].roles
    ]


def error_page(request: HttpRequest, error: DomainError) -> HttpResponse:
    """A refusal as a page; absent and not yours to see are the same words."""
    known = problem_from(error)
    if isinstance(error, NotFound):
        return problem(request, known.status, "Nothing is here", "No such page, or it is not yours to see.")
    title = {403: "Not yours to do", 410: "No longer open to you"}.get(known.status, "Not taken")
    return problem(request, known.status, title, error.message)


def problem(request: HttpRequest, status: int, title: str, detail: str) -> HttpResponse:
    """An error as a page: what happened, and nothing about why a stranger's thing is not shown."""
    context = {"title": title, "detail": detail, "request_id": request_id_of(request)}
    return show(request, "problem.html", context, status=status)


def words_of(error: DomainError, titles: Mapping[tuple[str, str], str] | None = None) -> dict[str, Any]:
    """A refusal in the form the pages show it; ``items`` are what stands in the way where there is something.

    Args:
        titles: names of proofs by procedure and proof id.
    """
    lines = []
    for item in (*_listed(error, "open"), *_listed(error, "cannot_tell")):
        procedure, proof = str(item.get("procedure_id", "")), str(item.get("proof_id", ""))
        name = (titles or {}).get((procedure, proof), f"{procedure} {proof}".strip())
        lines.append(f"{name}: {readable(str(item.get('change') or item.get('sentence', '')))}")
    return {"title": "Not taken", "detail": error.message, "items": lines, "code": error.code}


def _listed(error: DomainError, name: str) -> list[dict[str, Any]]:
    items = error.extra.get(name, [])
    return [item for item in items if isinstance(item, dict)] if isinstance(items, list | tuple) else []


def said_address(address: str, job_id: UUID, words: str) -> str:
    """The address with a note for the next page; signed, so that no link can put words there."""
    return f"{address}?{urlencode({'said': _signer(job_id).sign(words)})}"


def said(request: HttpRequest, job_id: UUID) -> str:
    """The note that the step before left for this page; empty where nobody signed it."""
    try:
        return _signer(job_id).unsign(request.GET.get("said", ""))
    except BadSignature:
        return ""


def _signer(job_id: UUID) -> Signer:
    return Signer(salt=f"said/{job_id}")
