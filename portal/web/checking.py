"""The public page that checks a packet or a bundle: no sign-in, nothing kept, the result in plain words."""

import re
from pathlib import Path
from typing import Any, Final

from django.core.files.uploadedfile import TemporaryUploadedFile
from django.core.files.uploadhandler import TemporaryFileUploadHandler
from django.http import HttpRequest, HttpResponse
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from jobs.errors import DomainError, Refused
from jobs.services.public_check import MOST_BYTES, check_publicly
from portal.addresses import client_ip
from portal.clock import now
from portal.errors import problem_from
from portal.web.doors import show
from rules.seal.report import Line, Verification

WORDS: Final = {"agrees": "agrees", "differs": "differs", "not_checked": "not checked"}
# The form's own fields and marks around the file.
FORM_BYTES: Final = 10_000
HEADERS: Final = {
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "private, no-store",
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; img-src 'self'; font-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
}
TEMPLATE: Final = "audit/verify.html"


@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def verify(request: HttpRequest) -> HttpResponse:
    """Asks for a file, or says line by line what was found in the one that was sent.

    Exempt from the form token: nobody is signed in here, and nothing is changed or kept.
    """
    answer = _checked(request) if request.method == "POST" else _page(request, {})
    for name, value in HEADERS.items():
        answer.headers[name] = value
    return answer


def _page(request: HttpRequest, context: dict[str, Any], status: int = 200) -> HttpResponse:
    bare = {"looks": (), "sections": (), "here": "/", "bare": True, "most_mb": MOST_BYTES // 1_000_000}
    return show(request, TEMPLATE, {**bare, **context}, status=status)


def _checked(request: HttpRequest) -> HttpResponse:
    try:
        found = _found(request)
    except DomainError as error:
        status = problem_from(error).status
        answer = _page(request, {"fault": error.message}, status=status)
        if status in (429, 503):
            answer.headers["Retry-After"] = "60"
        return answer
    return _page(request, _context(found))


def _found(request: HttpRequest) -> Verification:
    if int(request.headers.get("Content-Length") or 0) > MOST_BYTES + FORM_BYTES:
        raise Refused("too_large", f"The file has more than {MOST_BYTES // 1_000_000} MB.")
    # Always a temporary file, which Django removes with the request: the child reads it by its descriptor.
    request.upload_handlers = [TemporaryFileUploadHandler(request)]
    upload = request.FILES.get("file")
    if not isinstance(upload, TemporaryUploadedFile):
        raise Refused("missing_field", "Choose a file first.")
    try:
        return check_publicly(
            file=Path(upload.temporary_file_path()),
            key=_key(request.POST.get("key", "")),
            ip=client_ip(request),
            as_of=now(),
        )
    finally:
        upload.close()


def _key(text: str) -> str:
    plain = re.sub(r"[\s:]", "", text).lower()
    if plain and re.fullmatch(r"[0-9a-f]{64}", plain) is None:
        raise Refused("bad_fingerprint", "A fingerprint has 64 hex digits.")
    return plain


def _context(found: Verification) -> dict[str, Any]:
    return {
        "found": found,
        "kind": "bundle" if found.form == "bundle" else "packet file",
        "serial": _shown(found.serial),
        "lines": [_line(line) for line in found.lines],
        "open_points": [line.what for line in found.lines if line.result == "not_checked"],
    }


def _line(line: Line) -> dict[str, Any]:
    return {
        "what": line.what,
        "result": line.result,
        "word": WORDS[line.result],
        "text": _shown(line.text),
        "places": [_shown(place) for place in line.at_fault[:50]],
        "more": max(0, len(line.at_fault) - 50),
    }


def _shown(text: str) -> str:
    """Text from a stranger's file, without signs that change how the rest is shown."""
    return "".join(one if one.isprintable() else "\ufffd" for one in text)
