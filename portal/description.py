"""The API's description: OpenAPI text, the page to read it on, and the list of problem codes; open to all."""

from typing import Final

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseBase
from django.views.decorators.http import require_safe
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from portal.errors import title_of
from portal.problem_codes import STATUS_OF_CODE

# Its own page: the one of the library writes style into the page, which our content policy forbids.
schema = SpectacularAPIView.as_view()
docs = SpectacularSwaggerSplitView.as_view(template_name="api/docs.html", url_name="schema")

PROBLEM_TABLE: Final = [
    {"code": code, "status": status, "title": title_of(status, code)}
    for code, status in sorted(STATUS_OF_CODE.items())
]


@require_safe
def problems(request: HttpRequest) -> HttpResponseBase:
    """What ``type`` of a problem points at; codes that are not listed go with 422, 409 or 403."""
    response: HttpResponse = JsonResponse({"problems": PROBLEM_TABLE})
    return response
