"""The way into a page: who is signed in, the permission table, the organisation's scope, errors as pages."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import urlencode

from jobs.access import Actor, scope
from jobs.errors import DomainError, NotAllowed, NotFound, NotSignedIn
from portal.authentication import actor_of_session
from portal.clock import now
from portal.permissions import PERMISSIONS, check

LOOKS = ("auto", "light", "dark", "sunlight")
P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, Actor, P], HttpResponse]


def page(view: View[P]) -> Callable[Concatenate[HttpRequest, P], HttpResponse]:
    """Wraps a view that takes the actor: sign-in, permission by route and method, scope, error pages."""

    @wraps(view)
    def door(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        try:
            actor = actor_of_session(request)
        except NotSignedIn:
            return redirect(f"{settings.LOGIN_URL}?{urlencode({'next': request.get_full_path()})}")
        try:
            route = request.resolver_match.view_name if request.resolver_match else ""
            method = "GET" if request.method == "HEAD" else str(request.method)
            check(actor, PERMISSIONS.get(route, {}).get(method))
            with scope(actor.organisation_id):
                answer = view(request, actor, *args, **kwargs)
        except NotFound:
            return problem(request, 404, "Nothing is here", "No such page, or it is not yours to see.")
        except NotAllowed as error:
            return problem(request, 403, "Not yours to do", error.message)
        answer.headers.setdefault("Cache-Control", "private, no-store")
        return answer

    return door


def show(request: HttpRequest, template: str, context: dict[str, Any], status: int = 200) -> HttpResponse:
    """Renders a page with what every page needs."""
    return render(request, template, {**furniture(request), **context}, status=status)


def furniture(request: HttpRequest) -> dict[str, Any]:
    """Look, clock and demonstration note."""
    look = request.COOKIES.get("look", "auto")
    demo = f"{now():%d %b %Y, %H:%M} UTC" if settings.WM_DEMO_CLOCK_FILE else ""
    return {"look": look if look in LOOKS else "auto", "looks": LOOKS, "now": now(), "demo_clock": demo}


def problem(request: HttpRequest, status: int, title: str, detail: str) -> HttpResponse:
    """An error as a page: what happened, and nothing about why a stranger's thing is not shown."""
    context = {"title": title, "detail": detail, "request_id": getattr(request, "request_id", "")}
    return show(request, "problem.html", context, status=status)


def words_of(error: DomainError) -> dict[str, Any]:
    """A refusal in the form the pages show it."""
    items = error.extra.get("open", error.extra.get("lines", []))
    lines = [_item_words(item) for item in items] if isinstance(items, list | tuple) else []
    return {"title": "Not taken", "detail": error.message, "items": lines, "code": error.code}


def _item_words(item: object) -> str:
    if isinstance(item, dict):
        return f"{item.get('procedure_id', '')}, {item.get('proof_id', '')}: {item.get('sentence', '')}"
    return str(item)
