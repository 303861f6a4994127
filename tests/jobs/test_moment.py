"""The one reader of the clock, and time that stands still for a rehearsal."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from jobs.moment import machine_now, now, standing_at

MORNING = datetime(2026, 5, 5, 7, 40, tzinfo=ZoneInfo("America/Chicago"))


def test_time_stands_inside_and_runs_outside() -> None:
    before = now()
    with standing_at(MORNING):
        assert now() == now() == MORNING
        assert now().tzinfo is UTC
        with standing_at(MORNING.replace(hour=9)):
            assert now().hour == 14
        assert now() == MORNING
        assert machine_now() >= before
    assert now() >= before
