"""The base of every API view: the caller's tenant scope, idempotency keys, unknown parameters refused."""

import re
from collections.abc import Iterable
from contextlib import ExitStack
from datetime import datetime
from typing import Any, ClassVar

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from rest_framework.negotiation import BaseContentNegotiation, DefaultContentNegotiation
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer
from rest_framework.views import APIView

from jobs.access import Actor
from jobs.models.tenancy import scope
from portal import idempotency
from portal.authentication import actor_of
from portal.clock import now
from portal.errors import RequestProblem
from portal.paging import PAGING_PARAMETERS, KeysetPagination

_REFUSED = re.compile(r";[ \t]*q=0(?:\.0{0,3})?[ \t]*$")


class HonestAccept(DefaultContentNegotiation):
    """A media range with ``q=0`` is one the caller does not accept (RFC 9110 section 12.4.2)."""

    def get_accept_list(self, request: Request) -> list[str]:
        ranges = request.headers.get("Accept", "*/*").split(",")
        return [text.strip() for text in ranges if not _REFUSED.search(text)] or ["none/none"]


class AnyAccept(BaseContentNegotiation):
    """For downloads: the bytes have the type they have, whatever the caller would rather see."""

    def select_parser(self, request: Request, parsers: Iterable[BaseParser]) -> BaseParser:
        return next(iter(parsers))

    def select_renderer(
        self, request: Request, renderers: Iterable[BaseRenderer], format_suffix: str | None = None
    ) -> tuple[BaseRenderer, str]:
        first = next(iter(renderers))
        return first, first.media_type or ""


class Resource(APIView):
    """One route. Subclasses parse, ask ``jobs.access``, call one service or selector, and shape the answer.

    Attributes:
        parameters: query parameters that GET understands; any other is refused.
        ordering: the order of the list, for views that page.
        needs_if_match: methods that change what two callers may edit at once.
        route_name: its name in the permission table, set where the routes are listed.
    """

    http_method_names = ["get", "head", "post", "put", "patch"]  # noqa: RUF012 - as the framework declares it
    content_negotiation_class: type[BaseContentNegotiation] = HonestAccept
    route_name: str = ""
    parameters: ClassVar[frozenset[str]] = frozenset()
    ordering: ClassVar[tuple[str, ...]] = ()
    needs_if_match: ClassVar[frozenset[str]] = frozenset()

    _claim: idempotency.Claim | None = None
    _scopes: ExitStack

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        with ExitStack() as scopes:
            self._scopes = scopes
            return super().dispatch(request, *args, **kwargs)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        self._scopes.enter_context(scope(self.actor.organisation_id))
        self._check_parameters(request)
        if request.method == "POST":
            self._claim = idempotency.begin(request._request, self.actor, as_of=self.as_of)

    def handle_exception(self, exc: Exception) -> Response:
        if isinstance(exc, idempotency.Replay):
            return exc.answer.response()  # type: ignore[return-value]  # any HttpResponse ends the dispatch
        return super().handle_exception(exc)

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        final = super().finalize_response(request, response, *args, **kwargs)
        if self._claim is not None and isinstance(final, HttpResponse):
            if isinstance(final, Response):
                final.render()
            idempotency.finish(self._claim, final, as_of=self.as_of)
            self._claim = None
        return final

    @property
    def actor(self) -> Actor:
        return actor_of(self.request)

    @property
    def as_of(self) -> datetime:
        """The server's now, read once for each request."""
        if not hasattr(self, "_as_of"):
            self._as_of = now()
        return self._as_of

    def parse(self, serializer_class: type[Serializer[Any]]) -> dict[str, Any]:
        """The checked fields of the body, with only those that were sent or have a default."""
        serializer = serializer_class(data=self.request.data)
        serializer.is_valid(raise_exception=True)
        fields: dict[str, Any] = serializer.validated_data
        return fields

    def page(self, rows: Any, shape: type[Serializer[Any]]) -> Response:
        """One page of ``rows`` (a queryset of a selector) in ``ordering``."""
        pagination = KeysetPagination(self.ordering)
        found = pagination.paginate_queryset(rows, self.request, self)
        return pagination.get_paginated_response(shape(found, many=True).data)

    def _check_parameters(self, request: Request) -> None:
        known = self.parameters | (PAGING_PARAMETERS if self.ordering else frozenset())
        for name in request.query_params:
            if name not in known:
                raise RequestProblem("unknown_parameter", f"{name[:80]!r} is not a parameter here.")
