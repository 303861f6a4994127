"""Times as authors write them, and clocks that are off."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from jobs.rehearsal.times import read_span, read_when

DAY = date(2026, 5, 5)
EASTMARCH = ZoneInfo("America/Chicago")


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("10:30", "2026-05-05T15:30:00"),
        ("10:30:05.250", "2026-05-05T15:30:05.250"),
        ("+1 08:10", "2026-05-06T13:10:00"),
        ("-1 08:10", "2026-05-04T13:10:00"),
        ("2026-01-20 10:30", "2026-01-20T16:30:00"),
        ("2026-05-05T10:30:00+02:00", "2026-05-05T08:30:00"),
        ("2026-05-05 10:30:00Z", "2026-05-05T10:30:00"),
    ],
)
def test_a_time_of_the_jobs_day_and_place(text: str, instant: str) -> None:
    when = read_when(text)
    assert when is not None
    assert when.on(DAY, EASTMARCH).astimezone(UTC) == datetime.fromisoformat(instant).replace(tzinfo=UTC)


@pytest.mark.parametrize(
    "text", ["", "soon", "24:00", "10:60", "1030", "2026-13-01 10:00", "2026-02-30 10:00", "10:30 +1", "٣:٠٠"]
)
def test_what_is_no_time(text: str) -> None:
    assert read_when(text) is None


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("0.24 s", 0.24), ("-55 min", -3300), ("2 h", 7200), ("100ms", 0.1), ("-1 d", -86400)],
)
def test_a_length_of_time(text: str, seconds: float) -> None:
    assert read_span(text) == timedelta(seconds=seconds)


@pytest.mark.parametrize("text", ["", "5", "5 weeks", "s", "1e3 s"])
def test_what_is_no_length_of_time(text: str) -> None:
    assert read_span(text) is None
