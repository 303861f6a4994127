"""Month arithmetic against python-dateutil and its vectors."""

import json
from datetime import date
from pathlib import Path

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from rules.science.months import add_months

ROWS = json.loads((Path(__file__).parents[2] / "reference" / "month_arithmetic.json").read_text())["rows"]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['start']}{row['months']:+d}")
def test_clip_to_the_end_of_the_month(row: dict[str, str | int]) -> None:
    assert add_months(date.fromisoformat(str(row["start"])), int(row["months"])) == date.fromisoformat(
        str(row["clip"])
    )


@given(st.dates(date(1950, 1, 1), date(2150, 12, 31)), st.integers(-240, 240))
def test_agrees_with_dateutil(start: date, months: int) -> None:
    assert add_months(start, months) == start + relativedelta(months=months)


@pytest.mark.parametrize(
    ("start", "months", "due"),
    [
        (date(2025, 8, 31), 6, date(2026, 2, 28)),
        (date(2027, 8, 31), 6, date(2028, 2, 29)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
    ],
)
def test_worked_due_dates(start: date, months: int, due: date) -> None:
    assert add_months(start, months) == due
