"""Keyset paging of lists: a signed cursor, a clamped page size, and a Link header (RFC 8288)."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.core import signing
from django.db.models import Model, Q, QuerySet
from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import remove_query_param, replace_query_param

from portal.errors import RequestProblem

DEFAULT_PAGE_SIZE: Final = 50
LARGEST_PAGE_SIZE: Final = 200
_SALT: Final = "portal.paging"
_LONGEST_CURSOR: Final = 600
PAGING_PARAMETERS: Final = frozenset({"cursor", "page_size"})


class KeysetPagination(BasePagination):
    """Pages through rows in the order of ``ordering``, whose last column must be unique.

    The cursor holds the ordering values of the last row seen, signed: inserts in between neither repeat nor
    skip a row, and there is no total that could tell of other people's rows.
    """

    ordering: tuple[str, ...] = ("-id",)

    def __init__(self, ordering: tuple[str, ...] | None = None) -> None:
        if ordering is not None:
            self.ordering = ordering
        self._next_url: str | None = None
        self._first_url: str | None = None

    def paginate_queryset(  # type: ignore[override]
        self, queryset: QuerySet[Any], request: Request, view: Any = None
    ) -> list[Any]:
        size = page_size_of(request)
        rows: QuerySet[Any] = queryset.order_by(*self.ordering)
        cursor = request.query_params.get("cursor")
        if cursor is not None:
            rows = rows.filter(self._after(self._read(cursor)))
        found = list(rows[: size + 1])
        url = request.build_absolute_uri()
        if cursor is not None:
            self._first_url = remove_query_param(url, "cursor")
        if len(found) > size:
            self._next_url = replace_query_param(url, "cursor", self._write(found[size - 1]))
        return found[:size]

    def get_paginated_response(self, data: Any) -> Response:
        links = [
            f'<{url}>; rel="{relation}"'
            for url, relation in ((self._next_url, "next"), (self._first_url, "first"))
            if url
        ]
        headers = {"Link": ", ".join(links)} if links else {}
        return Response({"results": data, "next": self._next_url}, headers=headers)

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        return {
            "type": "object",
            "required": ["results", "next"],
            "properties": {
                "results": schema,
                "next": {"type": ["string", "null"], "format": "uri"},
            },
        }

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        return [
            {
                "name": "cursor",
                "in": "query",
                "required": False,
                "description": "From `next` or the Link header of the page before; nothing else is one.",
                "schema": {"type": "string", "maxLength": _LONGEST_CURSOR},
            },
            {
                "name": "page_size",
                "in": "query",
                "required": False,
                "description": f"Rows of a page; brought inside 1 to {LARGEST_PAGE_SIZE}.",
                "schema": {"type": "integer", "default": DEFAULT_PAGE_SIZE},
            },
        ]

    def _write(self, row: Model) -> str:
        values = [_plain(getattr(row, name.lstrip("-"))) for name in self.ordering]
        return signing.dumps([list(self.ordering), values], salt=_SALT, compress=False)

    def _read(self, cursor: str) -> Sequence[str | int]:
        if len(cursor) > _LONGEST_CURSOR:
            raise RequestProblem("bad_cursor", "Use the cursor of `next` unchanged.")
        try:
            ordering, values = signing.loads(cursor, salt=_SALT)
        except (signing.BadSignature, ValueError, TypeError):
            raise RequestProblem("bad_cursor", "Use the cursor of `next` unchanged.") from None
        if tuple(ordering) != self.ordering:
            raise RequestProblem("bad_cursor", "This cursor is of another list.")
        found: Sequence[str | int] = values
        return found

    def _after(self, values: Sequence[str | int]) -> Q:
        """Rows behind the one with these values: smaller where the order is downward, larger where upward."""
        condition = Q()
        equal = Q()
        for name, value in zip(self.ordering, values, strict=True):
            column = name.lstrip("-")
            side = "lt" if name.startswith("-") else "gt"
            condition |= equal & Q(**{f"{column}__{side}": value})
            equal &= Q(**{column: value})
        return condition


def page_size_of(request: Request) -> int:
    """The asked page size, brought inside 1 to LARGEST_PAGE_SIZE; what is no whole number is refused."""
    text = request.query_params.get("page_size", str(DEFAULT_PAGE_SIZE))
    digits = text.removeprefix("-")
    if not (digits.isascii() and digits.isdigit()) or len(digits) > 18:
        raise RequestProblem("bad_parameter", "page_size is a whole number.", parameter="page_size")
    return max(1, min(int(text), LARGEST_PAGE_SIZE))


def _plain(value: object) -> str | int:
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, UUID):
        return str(value)
    return value if isinstance(value, str | int) else str(value)
