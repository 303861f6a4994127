"""What every request goes through: a request id, and problem details where no view answers."""

import re
import uuid
from collections.abc import Callable
from typing import Final

from django.http import HttpRequest, HttpResponseBase

from portal import errors

REQUEST_ID_HEADER: Final = "X-Request-ID"
API_PREFIX: Final = "/api/"
_OF_THE_PAGE: Final = frozenset({"Content-Type", "Content-Length", "Content-Language"})
_GOOD_ID: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")

GetResponse = Callable[[HttpRequest], HttpResponseBase]


class RequestIdMiddleware:
    """Takes the caller's request id if it is harmless, otherwise makes one; the answer carries it."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        offered = request.headers.get(REQUEST_ID_HEADER, "")
        # Only plain characters: the id is written into logs and answers.
        request_id = offered if _GOOD_ID.fullmatch(offered) else uuid.uuid4().hex
        request.META[errors.REQUEST_ID_KEY] = request_id
        response = self.get_response(request)
        response.headers[REQUEST_ID_HEADER] = request_id
        return response


class ApiProblemMiddleware:
    """Under /api/ every error is problem details, also those answered before or beside the API framework.

    Django turns what inner layers raise (unknown route, suspicious request, bad host, crash) into an HTML
    page before it arrives here; the page is dropped and the status kept.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if not request.path_info.startswith(API_PREFIX):
            return self.get_response(request)
        response = self.get_response(request)
        if response.status_code >= 400 and not errors.is_problem(response):
            problem = errors.problem_of_status(response.status_code)
            # What inner layers put on the page (content policy, Allow …) belongs to the problem as well.
            kept = {name: value for name, value in response.headers.items() if name not in _OF_THE_PAGE}
            response = errors.http_problem(request, problem, headers=kept)
        if "Cache-Control" not in response.headers:
            response.headers["Cache-Control"] = "private, no-store"
        return response

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponseBase | None:
        """Answers what a view raised outside the API framework, so that the kind of error is not lost."""
        if not request.path_info.startswith(API_PREFIX):
            return None
        return errors.http_problem(request, errors.problem_from(exception))
