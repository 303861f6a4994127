"""Heads of a log and proofs about it for anybody: no sign-in, no content, only hashes; to be cached."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, Final, ParamSpec
from uuid import UUID, uuid5

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import reverse
from django.utils.feedgenerator import Atom1Feed
from django.views.decorators.http import require_safe

from jobs.errors import DomainError, Refused
from jobs.selectors import published_log
from jobs.selectors.published_log import PublishedHead
from portal import errors
from portal.throttle import throttled

ATOM: Final = "application/atom+xml; charset=utf-8"
# A new head is seen within five minutes; a proof between two sizes never changes (project defaults).
LIST_AGE: Final = "public, max-age=300"
PROOF_AGE: Final = "public, max-age=31536000, immutable"
# Whoever checks a packet in a page of his own may read this: nothing here depends on who asks.
OPEN_TO_ALL: Final = {"Access-Control-Allow-Origin": "*", "Cross-Origin-Resource-Policy": "cross-origin"}
LONGEST_NUMBER: Final = 15

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]


def public(view: View[P]) -> View[P]:
    """GET and HEAD, so many a minute, errors as problem details."""

    @require_safe
    @throttled
    @wraps(view)
    def door(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        try:
            answer = view(request, *args, **kwargs)
        except DomainError as error:
            problem = errors.problem_from(error)
            answer = errors.http_problem(request, problem, headers={"Cache-Control": "no-store"})
        for name, value in OPEN_TO_ALL.items():
            answer.headers[name] = value
        return answer

    return door


@public
def heads(request: HttpRequest, organisation_id: UUID) -> HttpResponse:
    """The last daily heads as JSON, the newest first."""
    rows = published_log.published_heads(organisation_id)
    told = published_log.heads_told(organisation_id, rows)
    size = rows[0].head.size
    told["consistency"] = f"{reverse('heads-consistency', args=[organisation_id])}?first=1&second={size}"
    told["inclusion"] = f"{reverse('heads-inclusion', args=[organisation_id, 1])}?size={size}"
    return _cached(request, JsonResponse(told), f"{rows[0].id}-{len(rows)}", LIST_AGE)


@public
def atom(request: HttpRequest, organisation_id: UUID) -> HttpResponse:
    """The same heads as an Atom feed (RFC 4287), for readers that keep what they have seen."""
    rows = published_log.published_heads(organisation_id)
    own = request.build_absolute_uri(reverse("heads-atom", args=[organisation_id]))
    listed = request.build_absolute_uri(reverse("heads", args=[organisation_id]))
    feed = Atom1Feed(
        title="Heads of a log",
        link=listed,
        description="",
        feed_url=own,
        feed_guid=f"urn:uuid:{organisation_id}",
        author_name="Witness Mark",
    )
    for row in rows:
        feed.add_item(**_item(row, listed))
    answer = HttpResponse(feed.writeString("utf-8"), content_type=ATOM)
    return _cached(request, answer, f"{rows[0].id}-{len(rows)}-atom", LIST_AGE)


@public
def consistency(request: HttpRequest, organisation_id: UUID) -> HttpResponse:
    """The proof that the log of ``first`` entries is the beginning of the log of ``second``."""
    told = published_log.consistency(organisation_id, _number(request, "first"), _number(request, "second"))
    return _cached(request, JsonResponse(told), f"{told['second_root']}-{told['first']}", PROOF_AGE)


@public
def inclusion(request: HttpRequest, organisation_id: UUID, n: int) -> HttpResponse:
    """The path from entry ``n`` to the root of the log of ``size`` entries."""
    told = published_log.inclusion(organisation_id, n, _number(request, "size"))
    return _cached(request, JsonResponse(told), f"{told['root']}-{n}", PROOF_AGE)


def _item(published: PublishedHead, listed: str) -> dict[str, Any]:
    head = published.head
    root = " ".join(head.root[at : at + 4] for at in range(0, 64, 4))
    signature = published.signature_sha256 or "none"
    return {
        "title": f"{head.size} entries on {published.day}",
        "link": f"{listed}#{head.size}",
        "description": f"Entries {head.size}. Root {root}. Signature (SHA-256) {signature}. Time {head.at}.",
        "unique_id": uuid5(UUID(head.organisation), f"{head.size} {head.root} {head.at}").urn,
        "pubdate": head.instant,
        "updateddate": head.instant,
    }


def _number(request: HttpRequest, name: str) -> int:
    text = request.GET.get(name, "")
    if not (text.isascii() and text.isdigit() and len(text) <= LONGEST_NUMBER):
        raise Refused("bad_number", f"{name} is a whole number.", field=name)
    return int(text)


def _cached(request: HttpRequest, answer: HttpResponse, tag: str, age: str) -> HttpResponse:
    """The answer with its tag, or 304 where the caller has it (RFC 9110 section 13.1.2)."""
    etag = f'"{tag}"'
    known = [one.strip().removeprefix("W/") for one in request.headers.get("If-None-Match", "").split(",")]
    if etag in known:
        answer = HttpResponse(status=304)
        del answer.headers["Content-Type"]
    answer.headers["ETag"], answer.headers["Cache-Control"] = etag, age
    return answer
