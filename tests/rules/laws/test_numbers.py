"""Units, uncertainty and clocks: what may change in a number or a time without changing a verdict."""

from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from datetime import timedelta
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from rules.facts import JobFacts, LogClock, Moment, Reading
from rules.quantities import UNITS, difference_to_program_unit, odometer_km, to_program_unit
from tests.rules.laws.jobs import FINISHED, verdicts
from tests.rules.weakening import judged, short_of_met

# One failing example is enough; a whole job is too slow to be made smaller many times over.
QUICK = settings(max_examples=12, deadline=None, derandomize=True, phases=(Phase.explicit, Phase.generate))
JOBS = st.sampled_from(sorted(FINISHED))


def with_readings(facts: JobFacts, change: Callable[[Reading], Reading]) -> JobFacts:
    """Readings changed one by one; their hashes stay, so that the signatures stay fresh."""
    return replace(facts, readings=tuple(change(item) for item in facts.readings))


# ------------------------------------------------------------------ units


def _typed_in(reading: Reading, unit: str, step: Fraction) -> Reading:
    """The reading as the intake takes it when the same value is typed in another unit, so many places."""
    known = UNITS[unit]
    value = float(round(Fraction(repr(reading.value)) / known.factor - known.shift, 9))
    kept, program = to_program_unit(value, unit)
    assert program == reading.unit
    width, _ = difference_to_program_unit(float(step), unit)
    # The budget already holds the step of the display; a finer step typed adds nothing.
    resolution = None if reading.resolution is None else max(reading.resolution, width)
    return replace(reading, value=kept, typed_value=str(value), typed_unit=unit, resolution=resolution)


@QUICK
@given(name=JOBS, data=st.data())
def test_the_unit_a_value_was_typed_in_changes_no_verdict(name: str, data: st.DataObject) -> None:
    def change(reading: Reading) -> Reading:
        if reading.quantity == "odometer":
            miles = float(round(Fraction(repr(reading.value)) / Fraction("1.609344"), 9))
            return replace(reading, value=odometer_km(miles, "mi"), typed_value=str(miles), typed_unit="mi")
        names = sorted(unit for unit, known in UNITS.items() if known.program == reading.unit)
        return _typed_in(reading, data.draw(st.sampled_from(names)), Fraction(1, 10**9))

    facts = FINISHED[name]()
    changed = with_readings(facts, change)
    # Six decimals of the program's unit: nothing may be lost on the way there and back.
    assert [item.value for item in changed.readings] == [item.value for item in facts.readings]
    result = judged(changed)
    assert (verdicts(result), result.disposition) == (verdicts(judged(facts)), "release")


@pytest.mark.parametrize(
    ("typed", "unit", "kept"),
    [(35.0, "psi", 241.316505), (2.41, "bar", 241.0), (126.5, "in", 3213.1), (50.0, "degF", 10.0)],
)
def test_conversions_by_hand(typed: float, unit: str, kept: float) -> None:
    # 1 psi = 6.894757 kPa and 1 in = 25.4 mm: NIST SP 811 (2008), appendix B.8.
    assert to_program_unit(typed, unit)[0] == kept


# ------------------------------------------------------------------ uncertainty


def _moved(reading: Reading, by: float) -> Reading:
    return replace(reading, value=reading.value + by)


@QUICK
@given(
    name=JOBS,
    picks=st.lists(st.integers(0, 200), min_size=1, max_size=6),
    offset=st.floats(-20, 20),
    factor=st.floats(1.0, 400.0),
)
def test_more_uncertainty_never_makes_a_proof_met(
    name: str, picks: list[int], offset: float, factor: float
) -> None:
    facts = FINISHED[name]()
    chosen = {facts.readings[pick % len(facts.readings)].id for pick in picks}
    # Where nothing is moved everything is met; a moved value leaves some proofs open or not met.
    moved = with_readings(facts, lambda item: _moved(item, offset) if item.id in chosen else item)
    vague = with_readings(
        moved,
        lambda item: replace(item, u=max(item.u or 0.0, 0.01) * factor) if item.id in chosen else item,
    )
    before, after = judged(moved), judged(vague)
    was, now = short_of_met(before), verdicts(after)
    # Whether readings agree is measured in their uncertainties: a vaguer one no longer disagrees, and weighs
    # less in the position. It is the one way from open to met.
    agreed = [key for key, (_, reasons) in was.items() if reasons == ("readings_disagree",)]
    opened = [key for key, (verdict, _) in was.items() if verdict == "not_shown" and key not in agreed]
    assert [key for key in opened if now[key] == "met"] == []
    assert after.disposition == "hold" or before.disposition == "release" or agreed


def test_enough_uncertainty_opens_every_proof_that_measures() -> None:
    # Told so that the law above cannot hold by nothing ever changing.
    facts = FINISHED["static"]()
    vague = with_readings(facts, lambda item: replace(item, u=500.0, u_common=0.0))
    now = verdicts(judged(vague))
    for proof in ("tyres", "height", "thrust", "target", "light"):
        assert now["OV-FC-STILL", proof] == "not_shown", proof


def test_an_unknown_uncertainty_is_no_small_one() -> None:
    facts = FINISHED["static"]()
    for reading in facts.readings:
        if reading.vehicle_shown or reading.quantity == "odometer":
            continue
        result = judged(with_readings(facts, lambda item, own=reading: _unknown_u(item, own)))
        assert result.disposition == "hold", reading.id


def _unknown_u(item: Reading, own: Reading) -> Reading:
    return replace(item, u=None, u_common=None) if item.id == own.id else item


# ------------------------------------------------------------------ clocks

TABLET = "device:tablet"
SPREAD = timedelta(seconds=1)


def _on_tablet(value: Any, ahead: timedelta, shifted: timedelta) -> Any:
    """Every time of the record by one tablet, known to a second either way; ``shifted`` moves them all."""
    if isinstance(value, Moment):
        at = value.reading + shifted
        return Moment(low=at - SPREAD, high=at + SPREAD, reading=at + ahead, clock=TABLET)
    if isinstance(value, LogClock):
        return value
    if isinstance(value, tuple):
        return tuple(_on_tablet(item, ahead, shifted) for item in value)
    if not is_dataclass(value) or isinstance(value, type):
        return value
    return replace(
        value,
        **{field.name: _on_tablet(getattr(value, field.name), ahead, shifted) for field in fields(value)},
    )


BY_TABLET = ("readings", "lamp_records", "statements", "function_checks", "target_identities", "sessions")


def _all_by_tablet(facts: JobFacts, ahead: timedelta, shifted: timedelta) -> JobFacts:
    return replace(facts, **{name: _on_tablet(getattr(facts, name), ahead, shifted) for name in BY_TABLET})


@pytest.mark.parametrize("hours", [-7000, -3, -0.25, 0.25, 5, 9000])
@pytest.mark.parametrize("name", FINISHED)
def test_what_a_clock_shows_is_nothing_once_its_offset_is_known(name: str, hours: float) -> None:
    facts = FINISHED[name]()
    right, wrong = (_all_by_tablet(facts, timedelta(hours=ahead), timedelta(0)) for ahead in (0.0, hours))
    before, after = judged(right), judged(wrong)
    assert verdicts(after) == verdicts(before)
    assert len(after.contradictions) == len(before.contradictions) == 0


# Proofs that rest on the tablet alone: its own order of events, not when they were by the true time.
OF_TABLET = (("OV-FC-STILL", "board"), ("OV-FC-STILL", "target"), ("OV-FC-STILL", "learned"),
             ("OV-FC-STILL", "after"), ("OV-FC-STILL", "unmoved"), ("OV-FC-STILL", "height"))  # fmt: skip


@pytest.mark.parametrize("minutes", [-4, -1, 1, 4])
def test_a_tablet_that_is_wrong_all_day_keeps_its_own_order(minutes: int) -> None:
    facts = FINISHED["static"]()
    # All it says happened so much earlier or later by the true time; what others recorded stays.
    moved = _all_by_tablet(facts, timedelta(0), timedelta(minutes=minutes))
    before = verdicts(judged(_all_by_tablet(facts, timedelta(0), timedelta(0))))
    after = verdicts(judged(replace(moved, **_received_late(moved))))
    assert {key: after[key] for key in OF_TABLET} == {key: before[key] for key in OF_TABLET}
    assert {before[key] for key in OF_TABLET} == {"met"}


def _received_late(facts: JobFacts) -> dict[str, Any]:
    """Handed in after all of it had happened, so that no receipt lies before its event."""
    late = max(item.received_at for item in facts.scans) + timedelta(minutes=10)
    return {
        name: tuple(replace(item, received_at=late) for item in getattr(facts, name)) for name in BY_TABLET
    }
