"""The only place that reads the clock. A demonstration may shift it by the seconds written in a file."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime, timedelta
from pathlib import Path

from django.conf import settings

_standing: ContextVar[datetime | None] = ContextVar("instant_at_which_time_stands", default=None)


@contextmanager
def standing_at(instant: datetime) -> Iterator[None]:
    """Inside, ``now()`` gives this instant: for a rehearsal, which plays a day in a database of its own."""
    token = _standing.set(instant.astimezone(UTC))
    try:
        yield
    finally:
        _standing.reset(token)


def now() -> datetime:
    """The present instant (UTC), shifted in demo and test mode by ``WM_DEMO_CLOCK_FILE`` if that is set."""
    standing = _standing.get()
    if standing is not None:
        return standing
    instant = machine_now()
    if settings.WM_DEMO_CLOCK_FILE:
        instant += timedelta(seconds=_shift_seconds(Path(settings.WM_DEMO_CLOCK_FILE)))
    return instant


def machine_now() -> datetime:
    """The machine's own present instant (UTC), never shifted: for leases, retries and signs of life only."""
    return datetime.now(tz=UTC)


def _shift_seconds(path: Path) -> float:
    try:
        return float(path.read_text(encoding="ascii"))
    except FileNotFoundError:
        return 0.0
