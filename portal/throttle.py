"""How often one address may ask what is open to everybody: so many a minute, counted by each process."""

import hashlib
from collections.abc import Callable
from datetime import datetime
from functools import wraps
from typing import Concatenate, Final, ParamSpec

from django.core.cache import cache
from django.http import HttpRequest, HttpResponse

from portal.addresses import client_ip
from portal.clock import now
from portal.errors import Problem, http_problem

# Project default, no source: enough to fetch a year of heads one by one.
PER_MINUTE: Final = 120
MINUTE_S: Final = 60

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]


def throttled(view: View[P]) -> View[P]:
    """Answers 429 with ``Retry-After`` to an address that has asked too often this minute."""

    @wraps(view)
    def door(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        at = now()
        if _count(client_ip(request), at) > PER_MINUTE:
            left = MINUTE_S - at.second
            problem = Problem(status=429, code="too_many_requests", headers={"Retry-After": str(left)})
            return http_problem(request, problem, headers={"Cache-Control": "no-store"})
        return view(request, *args, **kwargs)

    return door


def _count(address: str, at: datetime) -> int:
    """How often this address has asked this minute; kept for two minutes, and never in the clear."""
    minute = f"{at:%Y-%m-%dT%H:%M}"
    key = "asked/" + hashlib.sha256(f"{minute}/{address}".encode()).hexdigest()
    cache.add(key, 0, timeout=2 * MINUTE_S)
    try:
        return int(cache.incr(key))
    except ValueError:
        # It was dropped in between, because the cache is full: counted anew.
        return 1
