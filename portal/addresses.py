"""From where a request came, as far as it can be known: proxies are believed as many as were set up."""

from ipaddress import ip_address

from django.http import HttpRequest

from jobs.services.downloads import Caller
from portal import env
from portal.errors import request_id_of


def client_ip(request: HttpRequest, proxies: int = env.TRUSTED_PROXIES) -> str:
    """The address of the client; empty where there is none, for example behind a Unix socket.

    With ``proxies`` trusted ones in front, each of which adds the address it saw at the end of
    ``X-Forwarded-For``, the last but so many is the client's; what stands before it anybody can write.
    """
    if proxies > 0:
        seen = [part.strip() for part in request.headers.get("X-Forwarded-For", "").split(",")]
        text = seen[-proxies] if len(seen) >= proxies else ""
    else:
        text = str(request.META.get("REMOTE_ADDR", ""))
    try:
        return str(ip_address(text))
    except ValueError:
        return ""


def caller_of(request: HttpRequest) -> Caller:
    """What is noted of the caller beside a download."""
    return Caller(
        ip=client_ip(request),
        user_agent=request.headers.get("User-Agent", ""),
        request_id=request_id_of(request),
    )
