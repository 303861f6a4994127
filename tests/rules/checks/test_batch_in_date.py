"""batch_in_date by the local day of setting, and how minutes are printed."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from rules.checks.adhesive import batch_in_date, clock_minute, ready_times
from rules.facts import Batch, Moment
from tests.rules.builders import EASTMARCH, at, loose, moment
from tests.rules.checks.test_adhesive import climate, job
from tests.rules.measured import Z, context, said
from tests.rules.windshield_job import windshield_job

# ------------------------------------------------------------------ batches


def batches(
    adhesive: Batch | None, primer: Batch | None, set_at: Moment | None = None
) -> tuple[str, tuple[str, ...]]:
    glass = replace(windshield_job().glass_sets[0], adhesive=adhesive, primer=primer)
    if set_at is not None:
        glass = replace(glass, set_at=set_at)
    return said(batch_in_date(context("CP-BOND", "batch", replace(windshield_job(), glass_sets=(glass,)))))


GOOD = Batch(product="Tarvek U-60", batch="7731", expires_on=date(2026, 5, 5))


def test_batch_by_the_local_day_of_setting() -> None:
    assert batches(GOOD, GOOD) == ("met", ())
    expired = replace(GOOD, expires_on=date(2026, 5, 4))
    assert batches(GOOD, expired) == ("not_met", ("adhesive_expired",))
    assert batches(expired, GOOD) == ("not_met", ("adhesive_expired",))
    late_evening = moment("2026-05-05 23:30")
    assert EASTMARCH.local_date(late_evening.low) == date(2026, 5, 5)
    assert late_evening.low.date() == date(2026, 5, 6)
    assert batches(GOOD, GOOD, late_evening) == ("met", ())


def test_batch_not_recorded_or_set_around_midnight() -> None:
    assert batches(None, GOOD) == ("not_shown", ("missing",))
    assert batches(GOOD, replace(GOOD, expires_on=None)) == ("not_shown", ("missing",))
    assert batches(GOOD, replace(GOOD, batch=" ")) == ("not_shown", ("missing",))
    around = loose("2026-05-05 23:59", 600)
    assert batches(GOOD, GOOD, around) == ("not_shown", ("undecided",))
    none = replace(windshield_job(), glass_sets=())
    assert said(batch_in_date(context("CP-BOND", "batch", none))) == ("not_shown", ("missing",))


@pytest.mark.parametrize("seconds", [0, 1, 59])
def test_the_printed_minute_is_never_early(seconds: int) -> None:
    set_at = moment(f"09:40:{seconds:02d}")
    ready = ready_times(job(set_at=set_at, log=climate(start="09:35")), at("10:00"), Z)
    assert ready is not None
    assert ready.ready_cautious is not None
    printed = "11:10" if seconds == 0 else "11:11"
    assert f"not before {printed}" in ready.sentence
    shown = datetime.combine(date(2026, 5, 5), datetime.strptime(printed, "%H:%M").time())  # noqa: DTZ007
    assert shown >= EASTMARCH.local(ready.ready_cautious)
    assert shown - EASTMARCH.local(ready.ready_cautious) < timedelta(minutes=1)


@pytest.mark.parametrize(
    ("at_second", "shown"),
    [
        ("10:10:00.000", "10:10"),
        ("10:10:00.020", "10:10"),
        ("10:10:00.499", "10:10"),
        ("10:10:00.500", "10:11"),
        ("10:10:01.000", "10:11"),
        ("10:10:59.999", "10:11"),
    ],
)
def test_a_begun_minute_counts_in_full_but_the_width_of_a_clock_comparison_does_not(at_second, shown):
    instant = datetime.fromisoformat(f"2026-05-05T{at_second}-05:00").astimezone(UTC)
    assert clock_minute(EASTMARCH, instant) == f"{shown} on 2026-05-05"
