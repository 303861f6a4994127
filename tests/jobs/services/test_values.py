"""Single values: forms, limits, codes."""

from datetime import UTC, date, datetime

import pytest

from jobs.errors import Refused
from jobs.services import values


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-05-05T10:30:00-05:00", datetime(2026, 5, 5, 15, 30, tzinfo=UTC)),
        ("2026-05-05T10:30:00Z", datetime(2026, 5, 5, 10, 30, tzinfo=UTC)),
        ("2026-05-05t10:30:00.25z", datetime(2026, 5, 5, 10, 30, 0, 250000, tzinfo=UTC)),
        ("2026-05-05 10:30:00.123456789Z", datetime(2026, 5, 5, 10, 30, 0, 123456, tzinfo=UTC)),
    ],
)
def test_instants_of_rfc_3339(text: str, expected: datetime) -> None:
    assert values.read_instant(text, "at") == expected


@pytest.mark.parametrize(
    "text",
    [
        "", "2026-05-05", "2026-05-05T10:30:00", "2026-05-05T10:30Z", "2026-13-05T10:30:00Z",
        "2026-02-29T10:30:00Z", "2026-05-05T24:00:00Z", "2026-05-05T10:30:60Z", "0001-01-01T00:00:00+14:00",
        "9999-12-31T23:59:59-14:00", "1979-12-31T23:59:59Z", "2026-05-05T10:30:00+25:00", "１２", "now",
    ],
)  # fmt: skip
def test_what_is_no_instant(text: str) -> None:
    with pytest.raises(Refused) as refusal:
        values.read_instant(text, "at")
    assert (refusal.value.code, refusal.value.extra["field"]) == ("bad_instant", "at")


@pytest.mark.parametrize(
    ("text", "value", "resolution"),
    [("35", 35.0, 1.0), ("35.0", 35.0, 0.1), ("-0.120", -0.12, 0.001), ("+4", 4.0, 1.0)],
)
def test_numbers_keep_the_size_of_their_last_digit(text: str, value: float, resolution: float) -> None:
    assert values.read_number(text, "value") == (value, resolution)


@pytest.mark.parametrize("text", ["", "NaN", "inf", "1e5", "1,5", "0x10", "--1", ".5", "5.", "1_000", "٣"])
def test_what_is_no_number(text: str) -> None:
    with pytest.raises(Refused) as refusal:
        values.read_number(text, "value")
    assert refusal.value.code == "bad_number"


def test_days() -> None:
    assert values.read_day("2026-02-28", "expires_on") == date(2026, 2, 28)
    for text in ("2026-02-29", "20260228", "28.02.2026", ""):
        with pytest.raises(Refused) as refusal:
            values.read_day(text, "expires_on")
        assert refusal.value.code == "bad_date"


@pytest.mark.parametrize(
    ("text", "code"), [("ab", "text_length"), ("a" * 11, "text_length"), ("abc\x07d", "text_signs")]
)
def test_text_has_limits(text: str, code: str) -> None:
    with pytest.raises(Refused) as refusal:
        values.read_text(text, "reason", shortest=3, longest=10)
    assert refusal.value.code == code


def test_text_at_its_limits_is_taken_without_outer_blanks() -> None:
    assert values.read_text("  abc ", "reason", shortest=3, longest=10) == "abc"
    assert values.read_text("a" * 10, "reason", shortest=3, longest=10) == "a" * 10
