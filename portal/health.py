"""Is the process alive, and is it ready to work: for the machines that start and watch it."""

import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Final

from django.conf import settings
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponseNotAllowed, JsonResponse
from django.http.response import HttpResponseBase


def livez(request: HttpRequest) -> HttpResponseBase:
    """200 as long as the process answers; asks nothing that could be down for other reasons."""
    return _answer(request, {"process": True})


def readyz(request: HttpRequest) -> HttpResponseBase:
    """200 where the database answers, its migrations are applied and the store is writable; else 503."""
    return _answer(request, {name: _holds(check) for name, check in CHECKS.items()})


def _answer(request: HttpRequest, checks: dict[str, bool]) -> HttpResponseBase:
    if request.method not in ("GET", "HEAD"):
        return HttpResponseNotAllowed(["GET", "HEAD"])
    ready = all(checks.values())
    return JsonResponse(
        {"ready": ready, "checks": checks},
        status=200 if ready else 503,
        headers={"Cache-Control": "no-store"},
    )


def _holds(check: Callable[[], bool]) -> bool:
    # What went wrong is for the log of that part; outside only which part it is.
    try:
        return check()
    except Exception:
        return False


def _database() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        return bool(cursor.fetchone() == (1,))


def _migrations() -> bool:
    executor = MigrationExecutor(connection)
    return not executor.migration_plan(executor.loader.graph.leaf_nodes())


def _store() -> bool:
    root = Path(settings.EVIDENCE_ROOT)
    root.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=root, prefix="ready-")
    os.close(handle)
    Path(name).unlink()
    return True


CHECKS: Final[dict[str, Callable[[], bool]]] = {
    "database": _database,
    "migrations": _migrations,
    "store": _store,
}
