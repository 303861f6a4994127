"""Events on a log's time axis, and intervals joined and cut."""

from datetime import UTC, datetime, timedelta

from rules.facts import LogClock, Moment
from rules.science.log_time import bounds_in_log, join, without

READING = datetime(2026, 5, 5, 15, 0, tzinfo=UTC)


def device(name: str, half_s: float, resolution_s: float = 0.0) -> Moment:
    half = timedelta(seconds=half_s)
    return Moment(
        low=READING - half, high=READING + half, reading=READING, clock=name, resolution_s=resolution_s
    )


def test_another_clock_adds_its_offset() -> None:
    clock = LogClock(clock="satellite", offset_low_s=-1.0, offset_high_s=1.0)
    found = bounds_in_log(device("device:tablet", 0.5), clock)
    assert found == (READING.timestamp() - 1.5, READING.timestamp() + 1.5)


def test_the_same_device_clock_reads_what_it_reads() -> None:
    clock = LogClock(clock="device:tablet", offset_low_s=-86_400.0, offset_high_s=86_400.0)
    assert bounds_in_log(device("device:tablet", 86_400.0, 60.0), clock) == (
        READING.timestamp(),
        READING.timestamp() + 60.0,
    )


def test_server_moments_are_brackets_even_on_a_server_clock() -> None:
    clock = LogClock(clock="server", offset_low_s=0.0, offset_high_s=0.0)
    assert bounds_in_log(device("server", 30.0), clock) == (
        READING.timestamp() - 30,
        READING.timestamp() + 30,
    )


def test_join_and_cut() -> None:
    assert join([(5, 6), (1, 2), (2, 3)]) == ((1, 3), (5, 6))
    assert without((0, 10), ((1, 3), (5, 6), (9, 12))) == ((0, 1), (3, 5), (6, 9))
    assert without((0, 10), ((-1, 11),)) == ()
    assert without((0, 10), ()) == ((0, 10),)
