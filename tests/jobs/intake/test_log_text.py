"""Numbers and times of logs: one spelling each, checked against datetime and at every limit."""

from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.errors import Refused
from jobs.intake.log_text import (
    EARLIEST_T,
    LATEST_T,
    check_instant,
    check_order,
    check_range,
    is_slow,
    read_instant,
    read_number,
)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0", 0.0),
        ("-5", -5.0),
        ("+5", 5.0),
        ("13.25", 13.25),
        ("1.2e-05", 1.2e-05),
        ("1E3", 1000.0),
        ("007", 7.0),
    ],
)
def test_numbers_read(text: str, value: float) -> None:
    assert read_number(text) == value


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        " 5",
        "5 ",
        "1,234",
        "12,5",
        "1.234,5",
        "1.234.5",
        "1e400",
        "-1e999",
        "0x1F",
        "--5",
        "+-5",
        "5.",
        ".5",
        "1_000",
        "٣٫٥",
        "٥",
        "１２",
        "nan",
        "NaN",
        "inf",
        "-Infinity",
        "1e",
        "1e5.5",
        "5\n",
        "=5",
        "5-",
        "½",
    ],
)
def test_everything_else_is_no_number(text: str) -> None:
    assert read_number(text) is None


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-05-05T15:34:00Z", "2026-05-05T15:34:00+00:00"),
        ("2026-05-05T10:34:00-05:00", "2026-05-05T15:34:00+00:00"),
        ("2026-05-05t10:34:00.250-05:00", "2026-05-05T15:34:00.250000+00:00"),
        ("2026-05-05 15:34:00z", "2026-05-05T15:34:00+00:00"),
        ("2024-02-29T23:59:59.999999+14:00", "2024-02-29T09:59:59.999999+00:00"),
        ("2026-01-01T00:00:00-00:00", "2026-01-01T00:00:00+00:00"),
    ],
)
def test_instants_read(text: str, utc: str) -> None:
    found = read_instant(text)
    assert found is not None
    assert found.isoformat() == utc


@pytest.mark.parametrize(
    "text",
    [
        "2026-05-05T15:34:00",
        "2026-05-05",
        "2026-05-05T15:34Z",
        "2026-13-01T00:00:00Z",
        "2025-02-29T00:00:00Z",
        "2026-05-05T24:00:00Z",
        "2026-05-05T23:59:60Z",
        "2026-05-05T15:34:00+24:00",
        "2026-05-05T15:34:00+05:60",
        "0000-01-01T00:00:00Z",
        "0001-01-01T00:00:00+14:00",
        "9999-12-31T23:59:59-14:00",
        "20260505T153400Z",
        "2026-W19-2T15:34:00Z",
        "2026-05-05T15:34:00,5Z",
        "2026-05-05T15:34:00 Z",
        "２０２６-05-05T15:34:00Z",
        "",
    ],
)
def test_no_instants(text: str) -> None:
    assert read_instant(text) is None


# The first zone drawn reads the whole list of zones from disk, which a busy machine takes seconds for.
@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1), timezones=st.timezones()))  # noqa: DTZ001
def test_agrees_with_datetime(instant: datetime) -> None:
    """Outside check: what datetime writes as ISO 8601 with an offset of whole minutes, we read back."""
    offset = instant.utcoffset()
    if offset is None or offset.total_seconds() % 60:
        return
    assert read_instant(instant.isoformat()) == instant.astimezone(UTC)


@pytest.mark.parametrize(
    ("t", "accepted"),
    [(EARLIEST_T - 0.001, False), (EARLIEST_T, True), (LATEST_T - 0.001, True), (LATEST_T, False)],
)
def test_century(t: float, accepted: bool) -> None:
    if accepted:
        assert check_instant(t, "Row", 2) == t
    else:
        with pytest.raises(Refused) as refusal:
            check_instant(t, "Row", 2)
        assert refusal.value.code == "log_out_of_range"


@pytest.mark.parametrize(
    ("value", "accepted"),
    [
        (-90.0001, False),
        (-90.0, True),
        (90.0, True),
        (90.0001, False),
        (float("nan"), False),
        (float("inf"), False),
    ],
)
def test_range(value: float, accepted: bool) -> None:
    if accepted:
        assert check_range(value, -90.0, 90.0, "lat", 3) == value
    else:
        with pytest.raises(Refused) as refusal:
            check_range(value, -90.0, 90.0, "lat", 3)
        assert refusal.value.code == "log_out_of_range"
        assert refusal.value.extra == {"row": 3, "column": "lat"}


@pytest.mark.parametrize(
    ("times", "row"),
    [([1.0, 2.0, 2.0], 4), ([1.0, 0.5], 3), ([1.0, 2.0, 3.0, 2.5], 5)],
)
def test_times_must_rise(times: list[float], row: int) -> None:
    with pytest.raises(Refused) as refusal:
        check_order(times, list(range(2, 2 + len(times))), "Row")
    assert refusal.value.code == "log_time_order"
    assert refusal.value.extra["row"] == row


def test_rising_times_pass() -> None:
    check_order([1.0, 1.000001, 2.0], [2, 3, 4], "Row")


@pytest.mark.parametrize(
    ("step", "slow"),
    [(2.0, False), (2.001, True)],
)
def test_slow_sampling_is_the_middle_step(step: float, slow: bool) -> None:
    assert is_slow([0.0, step, 2 * step], 2.0) is slow
    assert not is_slow([0.0], 2.0)
