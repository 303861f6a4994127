"""The only place that knows HTTP status codes: every error becomes RFC 9457 problem details here."""

import http
import json
import logging
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from django.core.exceptions import (
    BadRequest,
    PermissionDenied,
    RequestDataTooBig,
    SuspiciousOperation,
    TooManyFieldsSent,
    TooManyFilesSent,
)
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, UnreadablePostError
from django.http.multipartparser import MultiPartParserError
from rest_framework import exceptions as api_exceptions
from rest_framework.response import Response

from jobs import errors as record_errors
from portal.problem_codes import CODE_OF_FIELD_ERROR, STATUS_OF_CODE, TITLE_OF_CODE

log = logging.getLogger(__name__)

MEDIA_TYPE: Final = "application/problem+json"
REQUEST_ID_KEY: Final = "wm.request_id"
TYPE_BASE: Final = "/api/problems#"

# Most special first: an error takes the first class it is an instance of.
STATUS_OF_CLASS: Final[tuple[tuple[type[record_errors.DomainError], int], ...]] = (
    (record_errors.NotFound, 404),
    (record_errors.VersionConflict, 412),
    (record_errors.Conflict, 409),
    (record_errors.NotAllowed, 403),
    (record_errors.NotSignedIn, 401),
    (record_errors.Gone, 410),
    (record_errors.Unavailable, 503),
    (record_errors.Refused, 422),
)
CODE_OF_STATUS: Final = {
    400: "bad_request",
    401: "not_signed_in",
    403: "not_allowed",
    404: "not_found",
    405: "method_not_allowed",
    406: "not_acceptable",
    409: "conflict",
    413: "body_too_large",
    415: "media_type_not_supported",
    429: "too_many_requests",
    503: "unavailable",
}
_DJANGO_ERRORS: Final[tuple[tuple[type[Exception], str], ...]] = (
    (RequestDataTooBig, "body_too_large"),
    (TooManyFilesSent, "body_too_large"),
    (TooManyFieldsSent, "body_too_large"),
    (SuspiciousOperation, "bad_request"),
    (MultiPartParserError, "bad_request"),
    (BadRequest, "bad_request"),
    (UnreadablePostError, "body_cut_short"),
    (Http404, "not_found"),
    (PermissionDenied, "not_allowed"),
)
_RESERVED: Final = frozenset({"type", "title", "status", "code", "detail", "request_id", "errors"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One problem as it will be told.

    Attributes:
        code: stable; what programs act on.
        detail: a sentence for the person at the screen; empty where the title says it all.
        errors: which fields, each ``{field, code, detail}``.
        extra: further members, for example the list of open proofs.
    """

    status: int
    code: str
    detail: str = ""
    errors: tuple[Mapping[str, str], ...] = ()
    extra: Mapping[str, object] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)

    def body(self, request_id: str) -> dict[str, Any]:
        """The members of RFC 9457 section 3, and ours as extension members."""
        members: dict[str, Any] = {
            "type": f"{TYPE_BASE}{self.code}",
            "title": title_of(self.status, self.code),
            "status": self.status,
            "code": self.code,
        }
        if self.detail:
            members["detail"] = self.detail
        if self.errors:
            members["errors"] = [dict(entry) for entry in self.errors]
        members |= {name: value for name, value in self.extra.items() if name not in _RESERVED}
        return members | {"request_id": request_id}


class RequestProblem(Exception):  # noqa: N818 - it is the problem, told by the door itself
    """What concerns HTTP alone (headers, bodies, cursors), raised by the door itself; status by the code."""

    def __init__(self, code: str, detail: str = "", **extra: object) -> None:
        self.problem = Problem(status=STATUS_OF_CODE[code], code=code, detail=detail, extra=extra)
        super().__init__(f"{code}: {detail}")


def title_of(status: int, code: str) -> str:
    """Short text that is the same for every problem of this code."""
    return TITLE_OF_CODE.get(code) or http.HTTPStatus(status).phrase


def status_of(error: record_errors.DomainError) -> int:
    """The HTTP status of a domain error: by its code where the table names it, otherwise by its class."""
    named = STATUS_OF_CODE.get(error.code)
    if named is not None:
        return named
    return next((status for kind, status in STATUS_OF_CLASS if isinstance(error, kind)), 422)


def problem_from(error: Exception) -> Problem:
    """Any exception as a problem; what nobody foresaw is logged and told as ``server_error`` only."""
    if isinstance(error, RequestProblem):
        return error.problem
    if isinstance(error, record_errors.DomainError):
        return _of_domain(error)
    if isinstance(error, api_exceptions.ValidationError):
        return _of_validation(error)
    if isinstance(error, api_exceptions.APIException):
        return _of_framework(error)
    for kind, code in _DJANGO_ERRORS:
        if isinstance(error, kind):
            return Problem(status=STATUS_OF_CODE[code], code=code)
    log.error("unforeseen %s", type(error).__name__, exc_info=error)
    return problem_of_status(500)


def problem_of_status(status: int) -> Problem:
    """The problem of an answer of which only the status is known."""
    if status not in CODE_OF_STATUS:
        return Problem(status=status, code="server_error" if status >= 500 else "bad_request")
    return Problem(status=status, code=CODE_OF_STATUS[status])


def _of_domain(error: record_errors.DomainError) -> Problem:
    if isinstance(error, record_errors.NotFound):
        # Absent and foreign must not differ in a single byte.
        return Problem(status=404, code="not_found")
    status = status_of(error)
    named = error.extra.get("field")
    entries = ({"field": str(named), "code": error.code, "detail": error.message},) if named else ()
    headers = {"WWW-Authenticate": "Bearer"} if status == 401 else {}
    extra = {name: value for name, value in error.extra.items() if name != "field"}
    return Problem(
        status=status, code=error.code, detail=error.message, errors=entries, extra=extra, headers=headers
    )


def _of_framework(error: api_exceptions.APIException) -> Problem:
    code = str(error.default_code if isinstance(error.detail, dict) else error.get_codes())
    status = error.status_code
    known = code in STATUS_OF_CODE and STATUS_OF_CODE[code] == status
    headers: dict[str, str] = {}
    if status == 401:
        headers["WWW-Authenticate"] = str(getattr(error, "auth_header", "Bearer"))
    wait = getattr(error, "wait", None)
    if wait:
        headers["Retry-After"] = str(int(wait))
    detail = "" if status == 404 else str(error.detail)
    plain = problem_of_status(status)
    return Problem(status=status, code=code if known else plain.code, detail=detail, headers=headers)


def _of_validation(error: api_exceptions.ValidationError) -> Problem:
    entries = tuple(_field_errors(error.get_full_details(), ""))
    code = entries[0]["code"] if entries else "wrong_value"
    detail = " ".join(f"{entry['field']}: {entry['detail']}" for entry in entries[:3])
    return Problem(status=400, code=code, detail=detail, errors=entries)


def _field_errors(details: Any, path: str) -> Iterator[dict[str, str]]:
    if isinstance(details, list):
        for place, item in enumerate(details):
            is_leaf = isinstance(item, dict) and set(item) == {"message", "code"}
            yield from _field_errors(item, path if is_leaf else f"{path}[{place}]")
    elif set(details) == {"message", "code"} and isinstance(details["code"], str):
        code = CODE_OF_FIELD_ERROR.get(details["code"], details["code"])
        yield {"field": path or "body", "code": code, "detail": str(details["message"])}
    else:
        for name, inner in details.items():
            yield from _field_errors(inner, _joined(path, name))


def _joined(path: str, name: str | int) -> str:
    """``modules[0].codes``: entries of lists are counted, what concerns the whole keeps its path."""
    if isinstance(name, int):
        return f"{path}[{name}]"
    if name == "non_field_errors":
        return path
    return f"{path}.{name}" if path else name


def request_id_of(request: HttpRequest) -> str:
    return str(request.META.get(REQUEST_ID_KEY, ""))


def is_problem(response: HttpResponseBase) -> bool:
    return response.headers.get("Content-Type", "").startswith(MEDIA_TYPE)


def http_problem(
    request: HttpRequest, problem: Problem, *, headers: Mapping[str, str] | None = None
) -> HttpResponse:
    """A problem as a plain Django answer, for what never reached the API framework."""
    body = json.dumps(problem.body(request_id_of(request)), default=str, ensure_ascii=False)
    return HttpResponse(
        body, status=problem.status, content_type=MEDIA_TYPE, headers={**problem.headers, **(headers or {})}
    )


def problem_response(error: Exception, context: Mapping[str, Any]) -> Response:
    """The exception handler of the API framework."""
    problem = problem_from(error)
    request = context.get("request")
    request_id = request_id_of(request) if request is not None else ""
    return Response(
        problem.body(request_id),
        status=problem.status,
        headers=dict(problem.headers),
        content_type=MEDIA_TYPE,
    )
