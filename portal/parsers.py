"""How request bodies are read: strict JSON with a size cap, and raw evidence bytes in pieces under a cap."""

import base64
import binascii
import re
from collections.abc import Mapping
from typing import IO, Any, BinaryIO, Final, cast

from django.conf import settings
from django.http import HttpRequest
from rest_framework.parsers import BaseParser

from jobs.intake.strict_json import parse_strict
from portal.errors import RequestProblem

PIECE_BYTES: Final = 1 << 20
# RFC 9651 byte sequence inside the dictionary of RFC 9530: sha-256=:<base64>:
_SHA_256: Final = re.compile(r"(?:^|,)[ \t]*sha-256=:([A-Za-z0-9+/]*={0,2}):[ \t]*(?:;[^,]*)?(?=,|$)")
_LONGEST_DIGEST_HEADER: Final = 1000


class StrictJsonParser(BaseParser):
    """``application/json`` without duplicate keys, NaN, deep nesting or odd characters; the top is an object.

    An empty body is an empty object, so that a step without fields needs none.
    """

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        data = stream.read(settings.MAX_BODY_BYTES + 1)
        if len(data) > settings.MAX_BODY_BYTES:
            raise too_large(settings.MAX_BODY_BYTES)
        if not data:
            return {}
        value = parse_strict(data, max_bytes=settings.MAX_BODY_BYTES)
        if not isinstance(value, dict):
            raise RequestProblem("wrong_type", "The body must be a JSON object.")
        return value


def too_large(limit_bytes: int) -> RequestProblem:
    return RequestProblem(
        "body_too_large", f"The body may have at most {limit_bytes} bytes.", max_bytes=limit_bytes
    )


def stated_sha256(header: str | None) -> str:
    """The SHA-256 (64 hex digits) that a ``Repr-Digest`` header states (RFC 9530).

    Raises:
        RequestProblem: ``digest_missing`` without the header or sha-256 in it, ``digest_bad`` where it cannot
            be read.
    """
    if not header:
        raise RequestProblem("digest_missing", "Send Repr-Digest: sha-256=:<base64 of the SHA-256>:")
    if len(header) > _LONGEST_DIGEST_HEADER:
        raise RequestProblem("digest_bad", "The Repr-Digest header is too long.")
    found = _SHA_256.findall(header)
    if not found:
        missing = "sha-256" not in header
        raise RequestProblem("digest_missing" if missing else "digest_bad", "sha-256=:<base64>: is expected.")
    try:
        digests = {base64.b64decode(text, validate=True) for text in found}
    except (binascii.Error, ValueError):
        raise RequestProblem("digest_bad", "The digest is not base64.") from None
    digest = digests.pop()
    if digests or len(digest) != 32:
        raise RequestProblem("digest_bad", "One SHA-256 of 32 bytes is expected.")
    return digest.hex()


class BodyStream:
    """The raw body of a request, read in pieces, never more than ``limit_bytes`` of it.

    Offers ``read(size)`` as files do. More than the limit, or less than Content-Length says, is refused while
    reading, so that what was read so far is thrown away by whoever keeps it.
    """

    def __init__(self, request: HttpRequest, limit_bytes: int) -> None:
        self._request = request
        self._limit_bytes = limit_bytes
        self._taken_bytes = 0
        self._stated_bytes = _content_length(request)
        if self._stated_bytes > limit_bytes:
            raise too_large(limit_bytes)

    def read(self, size: int = -1) -> bytes:
        """At most ``size`` bytes and never more than 1 MiB at once; empty at the end."""
        wanted = PIECE_BYTES if size < 0 else min(size, PIECE_BYTES)
        piece = self._request.read(wanted)
        self._taken_bytes += len(piece)
        if self._taken_bytes > self._limit_bytes:
            raise too_large(self._limit_bytes)
        if not piece and wanted and self._taken_bytes < self._stated_bytes:
            raise RequestProblem("body_cut_short", "The body ended before its Content-Length.")
        return piece


def body_stream(request: HttpRequest, limit_bytes: int) -> BinaryIO:
    """The raw body as a file to read from."""
    return cast(BinaryIO, BodyStream(request, limit_bytes))


def _content_length(request: HttpRequest) -> int:
    text = request.META.get("CONTENT_LENGTH") or "0"
    if not (text.isascii() and text.isdigit()) or len(text) > 18:
        raise RequestProblem("bad_request", "Content-Length is not a number of bytes.")
    return int(text)
