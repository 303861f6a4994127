"""The clock of the device that shows the page, compared with the server's: its photos' times then count."""

import contextlib
from typing import Final
from uuid import UUID, uuid4

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from jobs.access import Actor, get_device_for
from jobs.errors import Refused
from jobs.services.devices import ClockEntry, observe_clock
from portal.clock import now

_COOKIE: Final = "taken_with"
_YEAR_S: Final = 365 * 86_400


def named_device(request: HttpRequest, actor: Actor) -> UUID | None:
    """The enrolled device that took the picture, as the form says; None for another camera.

    Raises:
        NotFound: no such device, or of another place.
    """
    text = str(request.POST.get("device", ""))
    return get_device_for(actor, text).pk if text else None


def compare(request: HttpRequest, actor: Actor, device: UUID) -> None:
    """Keeps the exchange that the page's script made with the server; without script there is none.

    An exchange that is too old or bent is left out: the photo's time is then known as well as before.
    """
    entry = ClockEntry(
        id=uuid4(),
        ticket=str(request.POST.get("clock_ticket", "")),
        device_sent_at=str(request.POST.get("clock_sent", "")),
        device_received_at=str(request.POST.get("clock_received", "")),
    )
    if entry.ticket:
        with contextlib.suppress(Refused):
            observe_clock(device=get_device_for(actor, device), actor=actor, as_of=now(), entry=entry)


def remember(answer: HttpResponse, device: UUID | None) -> HttpResponse:
    """Nobody is asked twice which device they hold."""
    answer.set_cookie(
        _COOKIE,
        "" if device is None else str(device),
        max_age=_YEAR_S,
        samesite="Lax",
        httponly=True,
        secure=settings.SESSION_COOKIE_SECURE,
    )
    return answer


def remembered(request: HttpRequest) -> UUID | None:
    """The device named last in this browser."""
    try:
        return UUID(request.COOKIES.get(_COOKIE, ""))
    except ValueError:
        return None
