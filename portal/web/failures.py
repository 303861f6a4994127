"""Pages for what no view answers: an unknown address, a form without its token, a fault of ours."""

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string

from portal.errors import request_id_of
from portal.web.doors import problem


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """The same words as for a thing that is not the caller's to see."""
    return problem(request, 404, "Nothing is here", "No such page, or it is not yours to see.")


def not_understood(request: HttpRequest, exception: Exception) -> HttpResponse:
    return problem(request, 400, "Not understood", "The request could not be read. Nothing was kept.")


def not_allowed(request: HttpRequest, exception: Exception) -> HttpResponse:
    return problem(request, 403, "Not yours to do", "Your role does not allow this. Nothing was kept.")


def form_not_taken(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form that carries no valid token: sent from elsewhere, or from a page older than the sign-in."""
    detail = (
        "The page is older than your sign-in. Nothing was kept. Open the page again and send it once more."
    )
    return problem(request, 403, "Not taken", detail)


def server_error(request: HttpRequest) -> HttpResponse:
    """Rendered without the request: whatever failed may also be what a page reads."""
    context = {
        "title": "A fault of the portal",
        "detail": "The step was not carried out; what was on record before is kept. Try again, or tell the "
        "operator the request number.",
        "request_id": request_id_of(request),
        "look": "auto",
    }
    return HttpResponse(render_to_string("problem.html", context), status=500)
