"""Whether an instrument was in date on the local day of its use."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from rules.facts import BeforeUseCheck, CalibrationPoint, Certificate, Equipment, EquipmentEvent, Moment
from rules.science.instruments import Use, due_on, status_of
from tests.rules.builders import certificate, held

CHICAGO = ZoneInfo("America/Chicago")
TAPE_POINTS = ((1000.0, 0.2), (7000.0, 0.4))


def tape_certificate(day: date = date(2025, 8, 31), **changes: Any) -> Certificate:
    return replace(certificate("TM-015", "mm", TAPE_POINTS, day), **changes)


def tape(*certificates: Certificate, **changes: Any) -> Equipment:
    base = Equipment(
        tag="TM-015",
        cls="tape",
        unit="mm",
        needs_certificate=True,
        interval_months=6,
        interval_uses=None,
        in_service_from=date(2024, 1, 8),
        state="in_service",
        certificates=certificates or (tape_certificate(),),
    )
    return replace(base, **changes)


def use(local: datetime, values: tuple[tuple[float, str], ...] = ((3200.0, "mm"),), **changes: Any) -> Use:
    at = local.replace(tzinfo=CHICAGO).astimezone(UTC)
    midnight = local.replace(hour=0, minute=0, second=0, tzinfo=CHICAGO).astimezone(UTC)
    base = Use(
        at=Moment.exact(at), days=(local.date(), local.date()), day_began_at=midnight, values=values, number=1
    )
    return replace(base, **changes)


def codes(equipment: Equipment, at: Use) -> list[tuple[str, str]]:
    return [(fault.reason.code, fault.reason.verdict) for fault in status_of(equipment, at).faults]


NOON = datetime(2026, 1, 15, 12, 0)  # noqa: DTZ001 - local wall time, made aware by use()


def test_worked_example_by_the_local_day() -> None:
    # Calibrated 31 Aug 2025, six months: 28 Feb 2026, 22:40 in Chicago is already 1 March in UTC.
    last_evening = use(datetime(2026, 2, 28, 22, 40))  # noqa: DTZ001
    assert last_evening.at.low.date() == date(2026, 3, 1)
    assert due_on(tape_certificate(), 6) == date(2026, 2, 28)
    assert codes(tape(), last_evening) == []
    next_day = status_of(tape(), use(datetime(2026, 3, 1, 8, 15)))  # noqa: DTZ001
    assert [fault.reason.code for fault in next_day.faults] == ["instrument_overdue"]
    assert "overdue by 1 day" in next_day.faults[0].text


def test_a_day_that_is_not_known_is_not_shown() -> None:
    night = use(datetime(2026, 2, 28, 23, 59))  # noqa: DTZ001
    open_day = replace(night, days=(date(2026, 2, 28), date(2026, 3, 1)))
    assert codes(tape(), open_day) == [("undecided", "not_shown")]


def test_certificates_that_do_not_cover_the_day() -> None:
    later = tape_certificate(date(2026, 2, 1))
    no_certificate = [("instrument_no_certificate", "not_shown")]
    assert codes(tape(later), use(NOON)) == no_certificate
    assert "no certificate on file covers that day" in status_of(tape(later), use(NOON)).faults[0].text
    assert codes(tape(tape_certificate(confirmed=False)), use(NOON)) == no_certificate
    ended = replace(tape_certificate(), ended_at=datetime(2026, 1, 1, tzinfo=UTC), ended_how="set_aside")
    assert codes(tape(ended), use(NOON)) == [("instrument_no_certificate", "not_shown")]
    assert codes(tape(interval_months=None), use(NOON)) == []


def test_of_two_the_latest_not_after_the_use_governs() -> None:
    old, new = tape_certificate(date(2025, 2, 1)), replace(tape_certificate(date(2025, 9, 1)), id="new")
    found = status_of(tape(old, new), use(NOON))
    assert found.certificate == new
    assert found.due_on == date(2026, 3, 1)


def test_calibrated_on_the_day_of_use() -> None:
    today = tape_certificate(date(2026, 1, 15))
    assert codes(tape(today), use(NOON)) == [("instrument_no_certificate", "not_shown")]
    at = use(NOON).at.low
    before = replace(today, calibrated_at=at - timedelta(hours=1))
    after = replace(today, calibrated_at=at + timedelta(hours=1))
    assert codes(tape(before), use(NOON)) == []
    assert codes(tape(after), use(NOON)) == [("instrument_no_certificate", "not_shown")]
    assert codes(tape(tape_certificate(), today), use(NOON)) == []


@pytest.mark.parametrize(("number", "overdue"), [(50, False), (51, True), (None, False)])
def test_limit_of_uses(number: int | None, overdue: bool) -> None:
    found = codes(tape(interval_uses=50), use(NOON, number=number))
    assert found == ([("instrument_overdue", "not_met")] if overdue else [])


@pytest.mark.parametrize(
    ("value", "outside"), [(1000.0, False), (7000.0, False), (999.999, True), (7000.001, True)]
)
def test_points_must_bracket_the_reading(value: float, outside: bool) -> None:
    found = codes(tape(), use(NOON, ((value, "mm"),)))
    assert found == ([("instrument_range", "not_shown")] if outside else [])
    stated = tape(tape_certificate(mpe_statement="class II, 0 to 8 m"))
    assert codes(stated, use(NOON, ((value, "mm"),))) == []


def test_points_in_another_unit_and_no_points_bracket_nothing() -> None:
    assert codes(tape(), use(NOON, ((3.0, "deg"),))) == [("instrument_range", "not_shown")]
    assert codes(tape(tape_certificate(points=())), use(NOON)) == [("instrument_range", "not_shown")]


def test_range_is_of_what_the_instrument_shows() -> None:
    point = CalibrationPoint(nominal=3000.0, indication=3002.7, error=2.7, expanded_u=0.2, k=2.0, unit="mm")
    narrow = tape(tape_certificate(points=(replace(point, nominal=1000.0, indication=1000.9), point)))
    assert codes(narrow, use(NOON, ((3002.0, "mm"),))) == []
    assert codes(narrow, use(NOON, ((1000.5, "mm"),))) == [("instrument_range", "not_shown")]


# ------------------------------------------------------------------ events and state


def event(kind: str, hours: float, half_hours: float = 0.0) -> EquipmentEvent:
    """An event so many hours before (negative) or after the use at noon."""
    at = use(NOON).at.low + timedelta(hours=hours)
    half = timedelta(hours=half_hours)
    moment = Moment(low=at - half, high=at + half, reading=at, clock="device:desk")
    return EquipmentEvent(**held(f"event-{kind}-{hours}", at), kind=kind, at=moment)


def check(hours: float, passed: bool = True) -> BeforeUseCheck:
    at = use(NOON).at.low + timedelta(hours=hours)
    return BeforeUseCheck(**held(f"check-{hours}", at), at=Moment.exact(at), passed=passed)


SUSPENDED = [("instrument_suspended", "not_met")]
OPEN = [("undecided", "not_shown")]


@pytest.mark.parametrize("kind", ["dropped", "repaired", "quarantine", "lost"])
def test_suspending_events(kind: str) -> None:
    assert codes(tape(events=(event(kind, -24),)), use(NOON)) == SUSPENDED
    assert codes(tape(events=(event(kind, +24),)), use(NOON)) == []
    assert codes(tape(events=(event(kind, 0, 2),)), use(NOON)) == OPEN


@pytest.mark.parametrize("kind", ["lent_out", "returned", "adjusted", "software_updated", "clear", "found"])
def test_events_that_suspend_nothing(kind: str) -> None:
    assert codes(tape(events=(event(kind, -24),)), use(NOON)) == []


def test_what_ends_a_suspension() -> None:
    assert codes(tape(events=(event("quarantine", -48), event("clear", -24))), use(NOON)) == []
    assert codes(tape(events=(event("lost", -48), event("found", -24))), use(NOON)) == []
    assert codes(tape(events=(event("lost", -48), event("clear", -24))), use(NOON)) == SUSPENDED
    assert codes(tape(events=(event("dropped", -48), event("clear", -24))), use(NOON)) == SUSPENDED
    assert codes(tape(events=(event("quarantine", -48), event("clear", +1))), use(NOON)) == SUSPENDED


def test_a_later_calibration_ends_the_suspension_of_a_drop() -> None:
    dropped = event("dropped", -24 * 10)
    again = replace(tape_certificate(date(2026, 1, 10)), id="again")
    assert codes(tape(tape_certificate(), again, events=(dropped,)), use(NOON)) == []
    same_day = replace(tape_certificate(date(2026, 1, 5)), id="same-day")
    found = codes(tape(tape_certificate(), same_day, events=(dropped,)), use(NOON))
    assert found == OPEN
    timed = replace(same_day, calibrated_at=dropped.at.high + timedelta(hours=2))
    assert codes(tape(tape_certificate(), timed, events=(dropped,)), use(NOON)) == []


def test_a_drop_is_lifted_by_a_passed_check_and_a_written_decision_where_the_class_allows() -> None:
    events = (event("dropped", -48), event("clear", -3))
    checks = (check(-2),)
    assert codes(tape(events=events, before_use_checks=checks, needs_check_before_use=True), use(NOON)) == []
    assert codes(tape(events=events, before_use_checks=checks), use(NOON)) == SUSPENDED
    undecided = tape(events=events[:1], before_use_checks=checks, needs_check_before_use=True)
    assert codes(undecided, use(NOON)) == SUSPENDED


def test_check_before_use() -> None:
    def found(*checks: BeforeUseCheck) -> list[tuple[str, str]]:
        return codes(tape(needs_check_before_use=True, before_use_checks=checks), use(NOON))

    assert found() == [("missing", "not_shown")]
    assert found(check(-1)) == []
    assert found(check(-1, passed=False)) == SUSPENDED
    assert found(check(-2), check(-1, passed=False)) == SUSPENDED
    assert found(check(-2, passed=False), check(-1)) == []
    assert found(check(+1)) == [("missing", "not_shown")]
    assert found(check(-12)) == []
    assert found(check(-12.1)) == [("missing", "not_shown")]


@pytest.mark.parametrize("state", ["quarantined", "retired"])
def test_state(state: str) -> None:
    at = use(NOON).at.low
    assert codes(tape(state=state), use(NOON)) == SUSPENDED
    assert codes(tape(state=state, state_since=at - timedelta(days=1)), use(NOON)) == SUSPENDED
    assert codes(tape(state=state, state_since=at + timedelta(seconds=1)), use(NOON)) == []


def test_before_its_first_day_in_service() -> None:
    assert codes(tape(in_service_from=date(2026, 1, 15)), use(NOON)) == []
    assert codes(tape(in_service_from=date(2026, 1, 16)), use(NOON)) == [
        ("instrument_no_certificate", "not_shown")
    ]


def test_an_instrument_without_certificate_is_only_judged_by_its_state() -> None:
    board = tape(needs_certificate=False, certificates=(), interval_months=None)
    assert codes(replace(board, certificates=()), use(NOON)) == []
    assert codes(replace(board, events=(event("dropped", -1),)), use(NOON)) == SUSPENDED
