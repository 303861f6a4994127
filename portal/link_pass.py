"""Who gave a link's pass phrase may go on for an hour: a signed cookie that goes to this link alone."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.conf import settings
from django.core.signing import BadSignature, Signer
from django.http import HttpRequest, HttpResponse

from jobs.models import ShareLink


@dataclass(frozen=True, slots=True)
class Through:
    """A link that is open, and the token that stands in its address."""

    link: ShareLink
    token: str


COOKIE: Final = "wm_link"
HOLDS_FOR: Final = timedelta(hours=1)


def let_past(answer: HttpResponse, link: ShareLink, as_of: datetime, *, path: str) -> None:
    """Gives the cookie; only the pages below ``path`` get it back."""
    until = int((as_of + HOLDS_FOR).timestamp())
    answer.set_cookie(
        COOKIE,
        _signer(link).sign(str(until)),
        max_age=int(HOLDS_FOR.total_seconds()),
        path=path,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def is_past(request: HttpRequest, link: ShareLink, as_of: datetime) -> bool:
    """Whether the link asks for no pass phrase, or this browser gave it within the hour."""
    if not link.passphrase_hash:
        return True
    try:
        until = int(_signer(link).unsign(request.COOKIES.get(COOKIE, "")))
    except (BadSignature, ValueError):
        return False
    return as_of.timestamp() < until


def _signer(link: ShareLink) -> Signer:
    # The pass phrase's hash is part of the salt: another one, and what was given before is over.
    return Signer(salt=f"link/{link.pk}/{link.passphrase_hash}")
