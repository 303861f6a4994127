"""The band about adhesive never names a time before the one that was computed."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from portal.web.shaping import band
from rules.assess import assess
from tests.rules.builders import at
from tests.rules.packs_on_file import packs_on_file
from tests.rules.windshield_job import windshield_job


@pytest.mark.parametrize(
    ("second", "microsecond", "shown"),
    [
        (0, 0, "10:10"),
        (0, 20_000, "10:10"),
        (0, 499_999, "10:10"),
        (0, 500_000, "10:11"),
        (1, 0, "10:11"),
        (40, 0, "10:11"),
        (59, 999_999, "10:11"),
    ],
)
def test_a_begun_minute_counts_in_full(second: int, microsecond: int, shown: str) -> None:
    judged = assess(packs_on_file(), windshield_job(), as_of=at("11:50"))
    assert judged.ready is not None
    exact = datetime(2026, 5, 5, 15, 10, second, microsecond, tzinfo=UTC)
    ready = replace(judged.ready, ready_cautious=exact, passed=False)
    told = band(replace(judged, ready=ready), "America/Chicago")
    assert told is not None
    assert told.headline == f"Do not drive before {shown}"
