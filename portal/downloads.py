"""Stored bytes as an answer: an attachment, in pieces, with headers that keep browsers from running it."""

import base64
import hashlib
import re
from typing import Final
from urllib.parse import quote

from django.http import HttpResponse, StreamingHttpResponse

from jobs import storage
from jobs.errors import Gone

_PLAIN: Final = re.compile(r"[^A-Za-z0-9._ -]")
_LONGEST_NAME: Final = 120


def attachment(*, sha256: str, size_bytes: int, media_type: str, file_name: str) -> StreamingHttpResponse:
    """The stored file with this hash.

    Args:
        media_type: as the server found it by content, never as the sender said.
        file_name: shown to the person; cleaned, never used as a path.

    Raises:
        Gone: ``stored_bytes_missing``.
    """
    if not storage.exists(sha256):
        raise Gone("stored_bytes_missing", "The file is no longer in the store.")
    headers = headers_of(sha256=sha256, size_bytes=size_bytes, file_name=file_name)
    return StreamingHttpResponse(storage.pieces(sha256), content_type=media_type, headers=headers)


def attachment_of(data: bytes, *, media_type: str, file_name: str) -> HttpResponse:
    """These bytes as an attachment, with the same headers."""
    sha256 = hashlib.sha256(data).hexdigest()
    headers = headers_of(sha256=sha256, size_bytes=len(data), file_name=file_name)
    return HttpResponse(data, content_type=media_type, headers=headers)


def headers_of(*, sha256: str, size_bytes: int, file_name: str) -> dict[str, str]:
    """What every download says of itself; browsers keep it, show it to nobody and do not run it."""
    digest = base64.b64encode(bytes.fromhex(sha256)).decode("ascii")
    return {
        "Content-Length": str(size_bytes),
        "Content-Disposition": content_disposition(file_name),
        "Repr-Digest": f"sha-256=:{digest}:",
        "ETag": f'"{sha256}"',
        "Content-Security-Policy": "sandbox; default-src 'none'",
        "X-Content-Type-Options": "nosniff",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Cache-Control": "private, no-store",
    }


def content_disposition(file_name: str) -> str:
    """RFC 6266: a plain ASCII name for all, and the whole name in UTF-8 for those who can."""
    name = _without_tricks(file_name)
    plain = _PLAIN.sub("_", name.encode("ascii", "replace").decode("ascii"))
    return f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name, safe='')}"


def _without_tricks(file_name: str) -> str:
    """Without control and direction characters and without folders; never empty, never hidden."""
    last = re.split(r"[/\\]", file_name)[-1]
    kept = "".join(character for character in last if character.isprintable())
    return kept.lstrip(". ").strip()[:_LONGEST_NAME] or "file"
