"""thrust_angle: limits with guard, printouts, freshness across work on the axle, readings that do not do."""

from dataclasses import replace

import pytest

from rules.checks.thrust import thrust_angle, thrust_for
from rules.facts import OperationDone, Reading, StateChange
from rules.verdict import Outcome
from tests.rules.builders import ended, held, moment, reading
from tests.rules.measured import numbers, said
from tests.rules.target_set import STILL, context, job, toe


def outcome(*readings: Reading, **fields: object) -> Outcome:
    return thrust_angle(context(job(readings, **fields), STILL, "thrust"))


def printed(value: float, when: str = "09:00") -> Reading:
    return reading("printed", "thrust_printed", "", value, "deg", when, instrument="AR-002")


def change(kind: str, when: str) -> StateChange:
    return StateChange(**held(f"{kind}-{when}", when), kind=kind, at=moment(when), by="itolvaar")


@pytest.mark.parametrize(
    ("left", "verdict"),
    # tau = -left/2, u 0.00707, guard 0.01163: accepted to 0.13837, rejected beyond 0.16163.
    [
        (0.0, "met"),
        (0.2767, "met"),
        (0.2768, "not_shown"),
        (0.3, "not_shown"),
        (0.3232, "not_shown"),
        (0.3233, "not_met"),
        (-0.2767, "met"),
        (-0.2768, "not_shown"),
        (-0.3233, "not_met"),
    ],
)
def test_limits_with_guard(left: float, verdict: str) -> None:
    found = outcome(*toe(left, 0.0))
    assert found.verdict == verdict
    assert numbers(found)["thrust_angle"] == pytest.approx(-left / 2, abs=1e-6)


def test_the_worked_line_is_told_with_its_side() -> None:
    found = outcome(*toe())
    assert said(found) == ("met", ())
    assert "0.075 deg to the right" in found.sentence
    assert found.instruments == ("AR-002",)
    assert set(found.evidence) == {"toe-left", "toe-right"}
    line = thrust_for(context(job(toe()))).line
    assert line is not None
    assert (line.angle_deg, round(line.u_deg, 4)) == (pytest.approx(-0.075), 0.0071)


# ------------------------------------------------------------------ what does not do


def test_one_wheel_is_missing() -> None:
    left, right = toe()
    assert said(outcome(left)) == ("not_shown", ("missing",))
    assert said(outcome(right)) == ("not_shown", ("missing",))
    assert said(outcome()) == ("not_shown", ("missing",))


def test_total_toe_alone_gives_no_line() -> None:
    total = reading("total", "rear_toe_total", "", 0.25, "deg", "09:00", u=0.014, instrument="AR-002")
    found = outcome(total)
    assert said(found) == ("not_shown", ("missing",))
    assert "does not say which way the car travels" in found.sentence


def test_without_rack_or_budget() -> None:
    assert said(outcome(*toe(instrument=None))) == ("not_shown", ("uncertainty_unknown",))
    found = outcome(*toe(u=None))
    assert said(found) == ("not_shown", ("uncertainty_unknown",))
    assert numbers(found)["thrust_angle"] == pytest.approx(-0.075)


def test_set_aside_readings_do_not_count() -> None:
    left, right = toe()
    assert said(outcome(ended(left, "09:30"), right)) == ("not_shown", ("missing",))


# ------------------------------------------------------------------ the printout


@pytest.mark.parametrize(
    ("value", "reasons"),
    [
        (0.075, ()),
        (-0.075, ()),
        (0.095, ()),
        (0.0951, ("conflict",)),
        (-0.055, ()),
        (-0.0549, ("conflict",)),
        (0.0, ("conflict",)),
    ],
)
def test_the_printout_must_have_the_same_size(value: float, reasons: tuple[str, ...]) -> None:
    found = outcome(*toe(), printed(value))
    assert found.reasons == reasons
    assert "printed" in found.evidence
    assert (thrust_for(context(job((*toe(), printed(value))))).line is None) is bool(reasons)


def test_a_printout_just_too_far_off_does_not_print_as_near_enough() -> None:
    found = outcome(*toe(), printed(0.0954))
    assert "differ by 0.0204 deg" in found.sentence


def test_a_printout_from_before_the_adjustment_does_not_count() -> None:
    changes = (change("alignment_change", "08:45"),)
    found = outcome(*toe(), printed(0.4, "08:30"), state_changes=changes)
    assert said(found) == ("met", ())


# ------------------------------------------------------------------ freshness


@pytest.mark.parametrize(
    ("when", "reasons"),
    [("08:00", ()), ("07:59", ("evidence_stale",)), ("10:40", ()), ("10:41", ("evidence_stale",))],
)
def test_of_this_visit_and_before_the_session(when: str, reasons: tuple[str, ...]) -> None:
    assert outcome(*toe(when=when)).reasons == reasons


@pytest.mark.parametrize("kind", ["suspension_work", "alignment_change"])
@pytest.mark.parametrize(
    ("when", "reasons"),
    # Read at 09:00, session 10:40 to 10:52; the geometry must stay as it was read, afterwards too.
    [("08:59", ()), ("09:30", ("evidence_stale",)), ("11:30", ("evidence_stale",))],
)
def test_work_on_the_axle_spoils_the_reading(kind: str, when: str, reasons: tuple[str, ...]) -> None:
    assert outcome(*toe(), state_changes=(change(kind, when),)).reasons == reasons


def test_work_spoils_it_even_where_the_text_forgets_to_say_so() -> None:
    facts = job(toe(), state_changes=(change("alignment_change", "09:30"),))
    found = thrust_angle(context(facts, STILL, "thrust", proof={"broken_by": ()}))
    assert said(found) == ("not_shown", ("evidence_stale",))


def test_an_operation_that_adjusts_toe_is_such_work() -> None:
    done = OperationDone(
        **held("op", "09:30"), operation="alignment.rear_toe_adjusted", by="itolvaar", done=moment("09:30")
    )
    assert outcome(*toe(), operations=(done,)).reasons == ("evidence_stale",)
    assert outcome(*toe(when="09:45"), operations=(done,)).reasons == ()


def test_the_last_reading_counts() -> None:
    early = tuple(replace(item, id=f"{item.id}-early") for item in toe(0.9, 0.0, "08:30"))
    assert said(outcome(*early, *toe())) == ("met", ())
    late = tuple(replace(item, id=f"{item.id}-late") for item in toe(0.9, 0.0, "10:00"))
    assert said(outcome(*toe(), *late)) == ("not_met", ("outside_limit",))


def test_a_procedure_without_a_thrust_proof_takes_toe_of_the_same_day() -> None:
    own = context(job(toe()))
    procedure = replace(
        own.procedure, proofs=tuple(item for item in own.procedure.proofs if item.id != "thrust")
    )
    bare = replace(own, current=replace(own.current, procedure=procedure))
    assert thrust_for(bare).line is not None
    yesterday = job(toe(when="2026-05-04 17:00"))
    stale = thrust_for(replace(bare, facts=yesterday))
    assert [item.reason.code for item in stale.faults] == ["evidence_stale", "evidence_stale"]
    moved = replace(bare, facts=job(toe(), state_changes=(change("suspension_work", "11:00"),)))
    assert thrust_for(moved).line is None


def test_two_values_of_one_wheel_for_one_time_contradict_each_other() -> None:
    left, right = toe()
    assert said(outcome(left, right, replace(left, id="other", value=0.21))) == ("not_shown", ("conflict",))
