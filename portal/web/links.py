"""The pages behind a link: what is shared first, a button that takes it, the reader; no sign-in, no cookie.

GET counts nothing, so that mail scanners and previews do no harm. An unknown link, one that ran out and one
that was taken back are answered by the same page after the same work.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, Final, ParamSpec
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST

from jobs.access import scope_of
from jobs.errors import DomainError, NotAllowed, NotFound
from jobs.link_access import copy_through, grant_through, grants_through, link_of
from jobs.selectors import granted
from jobs.services.bundle import bundle_for_link
from jobs.services.copying import copy_for_link
from jobs.services.link_guard import TooManyTriesError, let_knock, note_miss
from jobs.services.passphrases import check_passphrase
from portal.addresses import caller_of, client_ip
from portal.clock import now
from portal.errors import problem_from
from portal.link_pass import Through, is_past, let_past
from portal.ranges import copy_answer, kept_download
from portal.web import reader
from portal.web.doors import show

P = ParamSpec("P")
LinkView = Callable[Concatenate[HttpRequest, Through, P], HttpResponseBase]

POLICY: Final = (
    "default-src 'none'; style-src 'self'; img-src 'self'; font-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
HEADERS: Final = {
    "Referrer-Policy": "no-referrer",
    "X-Robots-Tag": "noindex, nofollow, noarchive",
    "Cache-Control": "private, no-store",
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def _through_link(view: LinkView[...]) -> Callable[..., HttpResponseBase]:
    """Wraps a view that takes what the link in the address opens now.

    Exempt from the form token: what a forged form would need to know is the link itself, and no cookie of a
    sign-in is looked at here.
    """

    @csrf_exempt
    @wraps(view)
    def door(request: HttpRequest, *, token: str, **named: Any) -> HttpResponseBase:
        at, ip = now(), client_ip(request)
        try:
            let_knock(ip=ip, as_of=at)
            link = link_of(token, as_of=at)
            with scope_of(link):
                answer = view(request, Through(link=link, token=token), **named)
        except NotFound:
            note_miss(ip=ip, as_of=at)
            answer = _nothing_here(request)
        except DomainError as error:
            answer = _refusal(request, error)
        for name, value in HEADERS.items():
            # A download is even more closed in than a page.
            answer.headers.setdefault(name, value)
        return answer

    return door


def _nothing_here(request: HttpRequest) -> HttpResponse:
    context = {
        "title": "Nothing is here",
        "detail": "There is no such link, or it is not open any more. Ask whoever gave it to you.",
    }
    return _page(request, "audit/link_problem.html", context, status=404)


def _refusal(request: HttpRequest, error: DomainError) -> HttpResponse:
    known = problem_from(error)
    title = "Wait a little" if isinstance(error, TooManyTriesError) else "Not given"
    answer = _page(
        request, "audit/link_problem.html", {"title": title, "detail": error.message}, status=known.status
    )
    if known.status == 429:
        answer.headers["Retry-After"] = "60"
    return answer


def _page(request: HttpRequest, template: str, context: dict[str, Any], status: int = 200) -> HttpResponse:
    # Without the menu and the way back: both would carry the address of the link into other requests.
    bare = {"looks": (), "sections": (), "here": "/", "bare": True}
    return show(request, template, {**context, **bare}, status=status)


def _past_passphrase(view: LinkView[P]) -> LinkView[P]:
    """Shows the page that asks for the pass phrase, and nothing of what is shared, until it was given."""

    @wraps(view)
    def door(
        request: HttpRequest, through: Through, /, *args: P.args, **kwargs: P.kwargs
    ) -> HttpResponseBase:
        if not is_past(request, through.link, now()):
            return _ask(request, through)
        return view(request, through, *args, **kwargs)

    return door


def _ask(request: HttpRequest, through: Through, error: NotAllowed | None = None) -> HttpResponse:
    context: dict[str, Any] = {
        "token": through.token,
        "fault": error.message if error else "",
        "code": error and error.code,
    }
    if error is not None and "tries_left" in error.extra:
        context["tries_left"] = error.extra["tries_left"]
    return _page(request, "audit/link_passphrase.html", context, status=403 if error else 200)


@_through_link
@require_http_methods(["GET", "HEAD"])
@_past_passphrase
def landing(request: HttpRequest, through: Through) -> HttpResponseBase:
    """What is shared, whose it is, its hash, until when and what for, and how to check it."""
    grants = list(grants_through(through.link, as_of=now()))
    context = {
        "link": through.link,
        "token": through.token,
        "packets": [granted.shared(grant) for grant in grants],
    }
    return _page(request, "audit/link.html", context)


@_through_link
@require_POST
def passphrase(request: HttpRequest, through: Through) -> HttpResponseBase:
    """Takes the pass phrase; what it opens stays open for an hour in this browser."""
    at = now()
    if not through.link.passphrase_hash:
        raise NotFound()
    try:
        check_passphrase(link=through.link, as_of=at, phrase=str(request.POST.get("passphrase", "")))
    except NotAllowed as error:
        return _ask(request, through, error)
    answer = redirect(reverse("web:link", args=[through.token]))
    answer.status_code = 303
    let_past(answer, through.link, at, path=reverse("web:link", args=[through.token]))
    return answer


@_through_link
@require_POST
@_past_passphrase
def take(request: HttpRequest, through: Through, packet_id: UUID) -> HttpResponseBase:
    """Makes and counts the copy, and leads to it: fetching it, in one go or in several, counts no more."""
    grant = grant_through(through.link, packet_id, as_of=now())
    download = copy_for_link(grant=grant, as_of=now(), caller=caller_of(request))
    answer = redirect(reverse("web:link-copy", args=[through.token, download.copy]))
    answer.status_code = 303
    return answer


@_through_link
@require_POST
@_past_passphrase
def bundle(request: HttpRequest, through: Through, packet_id: UUID) -> HttpResponseBase:
    """The same for the packet with its parts, the originals and the checkers."""
    grant = grant_through(through.link, packet_id, as_of=now())
    download = bundle_for_link(grant=grant, as_of=now(), caller=caller_of(request))
    answer = redirect(reverse("web:link-copy", args=[through.token, download.copy]))
    answer.status_code = 303
    return answer


@_through_link
@require_http_methods(["GET", "HEAD"])
def copy(request: HttpRequest, through: Through, copy_id: UUID) -> HttpResponseBase:
    """The copy that was made; its random address is given only past the pass phrase."""
    download = copy_through(through.link, copy_id, as_of=now())
    return copy_answer(request, kept_download(request, download))


@_through_link
@require_http_methods(["GET", "HEAD"])
@_past_passphrase
def packet(request: HttpRequest, through: Through, packet_id: UUID) -> HttpResponseBase:
    """The reader: the statement of record with its claims, as the sealed file says them."""
    grant = grant_through(through.link, packet_id, as_of=now())
    places = reader.places_of_link(through.token, packet_id)
    context = reader.reader_of(grant, places, as_of=now())
    return _page(request, "audit/packet.html", context)


@_through_link
@require_http_methods(["GET", "HEAD"])
@_past_passphrase
def times(request: HttpRequest, through: Through, packet_id: UUID) -> HttpResponseBase:
    """The time line as sealed, where the grant opens it."""
    grant = grant_through(through.link, packet_id, as_of=now())
    context = reader.times_of(grant)
    context["back"] = reverse("web:link-packet", args=[through.token, packet_id])
    return _page(request, "times/line.html", context)


@_through_link
@require_http_methods(["GET", "HEAD"])
@_past_passphrase
def picture(request: HttpRequest, through: Through, packet_id: UUID, number: int) -> HttpResponseBase:
    """One photo of the packet as its pages show it."""
    grant = grant_through(through.link, packet_id, as_of=now())
    return reader.picture_of(grant, number)
