"""adhesive_ready and batch_in_date: every row of the verdict table, clocks, panes, odometers."""

from dataclasses import replace
from typing import Any

import pytest

from rules.checks.adhesive import adhesive_ready, ready_times
from rules.facts import (
    ClimateLog,
    Delivery,
    GlassSet,
    JobFacts,
    Moment,
    OperationDone,
    StateChange,
    SubletTrip,
)
from rules.verdict import Outcome
from tests.rules.builders import at, drive_log, ended, held, loose, moment
from tests.rules.measured import Z, context, numbers, said
from tests.rules.windshield_job import SERVER, odometer, windshield_job


def climate(
    temp: float = 17.2, rh: float = 44.0, start: str = "09:40", minutes: int = 400, **fields: Any
) -> ClimateLog:
    """A reading each 5 min, always the same."""
    first = at(start).timestamp()
    base = ClimateLog(
        **held("climate", start),
        clock=SERVER,
        samples=tuple((first + 60.0 * m, temp, rh) for m in range(0, minutes + 1, 5)),
        instrument="CL-006",
        u_temp=0.25,
        u_rh=1.5,
    )
    return replace(base, **fields)


def driven_at(when: str) -> StateChange:
    return StateChange(
        **held(f"road-{when}", when), kind="vehicle_moved", on_road=True, at=moment(when), by="x"
    )


def job(*, set_at: Moment | None = None, log: ClimateLog | None = None, **fields: Any) -> JobFacts:
    """Glass set at 09:40; nothing moved unless given."""
    glass = replace(windshield_job().glass_sets[0], set_at=set_at or moment("09:40"))
    base: dict[str, Any] = {
        "glass_sets": (glass,),
        "climate_logs": (log or climate(),),
        "drive_logs": (),
        "readings": (),
    }
    return replace(windshield_job(), **{**base, **fields})


def judged(facts: JobFacts, gate: str = "16:00") -> Outcome:
    return adhesive_ready(context("CP-BOND", "ready", facts, gate))


# ------------------------------------------------------------------ worked examples


def test_worked_example_driven_fifteen_minutes_after_ready() -> None:
    outcome = judged(job(state_changes=(driven_at("11:25"),)))
    assert said(outcome) == ("met", ())
    assert "11:10" in outcome.sentence
    found = numbers(outcome)
    assert (found["lowest_temp"], found["lowest_rh"]) == (17.2, 44.0)
    assert found["guarded_temp"] == pytest.approx(16.79, abs=5e-3)
    assert found["guarded_rh"] == pytest.approx(41.5, abs=5e-2)
    assert (found["minutes"], found["minutes_hopeful"]) == (90, 90)
    assert outcome.instruments == ("CL-006",)
    assert set(outcome.evidence) == {"glass", "climate", "road-11:25"}


def test_worked_example_where_the_reading_alone_would_have_said_met() -> None:
    outcome = judged(job(log=climate(15.2), state_changes=(driven_at("11:25"),)))
    assert said(outcome) == ("not_shown", ("undecided",))
    assert (numbers(outcome)["minutes"], numbers(outcome)["minutes_hopeful"]) == (180, 90)
    ready = ready_times(job(log=climate(15.2)), at("16:00"), Z)
    assert ready is not None
    assert (ready.ready_cautious, ready.ready_hopeful) == (at("12:40"), at("11:10"))


def test_the_finished_job_is_ready_at_ten_past_ten() -> None:
    # Humidity 52 becomes 49.5 after guarding and costs half an hour.
    assert said(adhesive_ready(context("CP-BOND", "ready"))) == ("met", ())
    ready = ready_times(windshield_job(), at("11:50"), Z)
    assert ready is not None
    assert (ready.ready_cautious, ready.minutes, ready.passed) == (at("10:10"), 90, True)


def test_the_cold_afternoon() -> None:
    facts = job(set_at=moment("14:20"), log=climate(12.4, 41.0, "14:20"))
    ready = ready_times(facts, at("14:30"), Z)
    assert ready is not None
    assert (ready.ready_cautious, ready.passed) == (at("17:20"), False)
    dry = job(set_at=moment("14:20"), log=climate(12.4, 28.0, "14:20"))
    dry_ready = ready_times(dry, at("14:30"), Z)
    assert dry_ready is not None
    assert dry_ready.ready_cautious == at("18:20")


# ------------------------------------------------------------------ the table of verdicts


@pytest.mark.parametrize(
    ("moved", "expected"),
    [
        ("11:10", ("met", ())),
        ("11:09:59", ("not_met", ("adhesive_early",))),
        ("09:40", ("not_met", ("adhesive_early",))),
        ("09:39:59", ("met", ())),
    ],
)
def test_movement_against_ready_and_setting(moved: str, expected: tuple[str, tuple[str, ...]]) -> None:
    assert said(judged(job(state_changes=(driven_at(moved),)))) == expected


@pytest.mark.parametrize(
    ("moved", "expected"),
    [
        ("12:40", ("met", ())),
        ("12:39:59", ("not_shown", ("undecided",))),
        ("11:10", ("not_shown", ("undecided",))),
        ("11:09:59", ("not_met", ("adhesive_early",))),
    ],
)
def test_movement_between_hopeful_and_cautious(moved: str, expected: tuple[str, tuple[str, ...]]) -> None:
    assert said(judged(job(log=climate(15.2), state_changes=(driven_at(moved),)))) == expected


@pytest.mark.parametrize(("gate", "reasons"), [("11:10", ()), ("11:09:59", ("missing",))])
def test_a_car_that_has_not_moved(gate: str, reasons: tuple[str, ...]) -> None:
    outcome = judged(job(), gate)
    assert outcome.reasons == reasons
    assert "11:10" in outcome.sentence
    if reasons:
        assert outcome.settle == "car_here"
        assert "eady not before 11:10" in outcome.sentence


def test_while_the_car_stands_readings_so_far_give_not_before() -> None:
    outcome = judged(job(log=climate(minutes=30)), "10:12")
    assert said(outcome) == ("not_shown", ("missing",))
    assert "11:10" in outcome.sentence


@pytest.mark.parametrize(
    ("temp", "rh", "moved", "expected"),
    [
        (4.0, 44.0, None, ("not_shown", ("adhesive_no_value",))),
        (4.0, 44.0, "15:00", ("not_met", ("adhesive_no_value",))),
        (4.0, 44.0, "09:30", ("not_shown", ("adhesive_no_value",))),
        (5.2, 44.0, None, ("not_shown", ("adhesive_no_value",))),
        (5.2, 44.0, "12:30", ("not_met", ("adhesive_early",))),
        (5.2, 44.0, "15:00", ("not_shown", ("adhesive_no_value",))),
        (20.0, 15.0, "15:00", ("not_met", ("adhesive_no_value",))),
        (41.0, 44.0, None, ("not_shown", ("adhesive_no_value",))),
    ],
)
def test_no_value_in_the_table(
    temp: float, rh: float, moved: str | None, expected: tuple[str, tuple[str, ...]]
) -> None:
    moves = () if moved is None else (driven_at(moved),)
    assert said(judged(job(log=climate(temp, rh), state_changes=moves))) == expected


def test_the_log_must_cover_the_time() -> None:
    moved = (driven_at("11:25"),)
    assert said(judged(job(log=climate(minutes=70), state_changes=moved))) == ("not_shown", ("missing",))
    assert said(judged(job(log=climate(minutes=75), state_changes=moved))) == ("met", ())
    assert said(judged(job(log=climate(start="09:56"), state_changes=moved))) == ("not_shown", ("missing",))
    assert said(judged(job(log=climate(start="09:55"), state_changes=moved))) == ("met", ())
    assert said(judged(job(log=climate(start="12:00"), state_changes=moved))) == ("not_shown", ("missing",))


def test_an_early_drive_stays_early_with_little_climate() -> None:
    assert judged(job(log=climate(minutes=20), state_changes=(driven_at("10:05"),))).reasons == (
        "adhesive_early",
    )


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"climate_logs": ()}, "missing"),
        ({"adhesive_sheets": ()}, "missing"),
        ({"glass_sets": ()}, "missing"),
        ({"climate_logs": (climate(instrument=None),)}, "uncertainty_unknown"),
        ({"climate_logs": (climate(u_rh=None),)}, "uncertainty_unknown"),
        ({"climate_logs": (climate(samples=((5.0, 20.0, 50.0), (4.0, 20.0, 50.0))),)}, "time_order"),
        ({"climate_logs": (ended(climate(), "10:00"),)}, "missing"),
    ],
)
def test_what_nothing_can_be_computed_from(changes: dict[str, Any], reason: str) -> None:
    assert said(judged(replace(job(), **changes))) == ("not_shown", (reason,))


def test_an_unrecorded_adhesive_and_an_operation_without_its_setting() -> None:
    glass = replace(job().glass_sets[0], adhesive=None)
    assert said(judged(job(glass_sets=(glass,)))) == ("not_shown", ("missing",))
    rear = OperationDone(
        **held("operation-rear", "09:00"), operation="glass.rear.replaced", by="mondry", done=moment("09:00")
    )
    facts = job(operations=(*windshield_job().operations, rear))
    assert said(judged(facts)) == ("not_shown", ("missing",))


# ------------------------------------------------------------------ what is a movement


def trip(how: str, out: str | None) -> SubletTrip:
    return SubletTrip(
        **held("trip", "12:00"),
        procedure_ids=("OV-FC-STILL",),
        to_org="Sallowfield Mobile Aiming",
        carried_how=how,  # type: ignore[arg-type]
        out_at=None if out is None else moment(out),
        back_at=moment("12:00"),
    )


def test_every_kind_of_movement_counts() -> None:
    early = [
        job(drive_logs=(drive_log("d", "10:20", "to 50 20; hold 60; to 0 20", ()),)),
        job(sublet_trips=(trip("driven", "10:20"),)),
        job(state_changes=(driven_at("10:20"),)),
        job(delivery=Delivery(**held("delivery", "10:20"), at=moment("10:20"))),
    ]
    assert [said(judged(facts)) for facts in early] == [("not_met", ("adhesive_early",))] * 4


def test_a_trailer_and_pushing_do_not_count() -> None:
    pushed = replace(driven_at("10:20"), on_road=False)
    assert said(judged(job(sublet_trips=(trip("trailer", "10:20"),), state_changes=(pushed,)))) == ("met", ())


def test_a_driven_trip_without_its_time() -> None:
    assert said(judged(job(sublet_trips=(trip("driven", None),)))) == ("not_shown", ("undecided",))


def test_movements_after_the_gate_are_left_out() -> None:
    facts = job(state_changes=(driven_at("15:00"),))
    assert said(judged(facts, "11:05")) == ("not_shown", ("missing",))
    assert said(judged(facts, "14:00")) == ("met", ())


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        ("09:50", "12:00", ("not_shown", ("undecided",))),
        ("11:10", "12:00", ("met", ())),
        ("11:09", "12:00", ("not_shown", ("undecided",))),
        ("09:45", "11:09", ("not_met", ("adhesive_early",))),
        ("08:00", "09:30", ("met", ())),
        ("08:00", "11:00", ("not_shown", ("undecided",))),
    ],
)
def test_an_unexplained_odometer_change_is_a_movement_at_an_unknown_moment(
    first: str, second: str, expected: tuple[str, tuple[str, ...]]
) -> None:
    readings = (odometer("a", 100.0, first), odometer("b", 103.0, second))
    assert said(judged(job(readings=readings))) == expected


def test_an_odometer_change_that_a_drive_explains() -> None:
    drive = drive_log("d", "11:20", "to 72 20; hold 130; to 0 20", ())  # 3 km
    readings = (odometer("a", 100.0, "09:50"), odometer("b", 103.0, "12:00"))
    assert said(judged(job(drive_logs=(drive,), readings=readings))) == ("met", ())
    too_far = (odometer("a", 100.0, "09:50"), odometer("b", 105.0, "12:00"))
    assert said(judged(job(drive_logs=(drive,), readings=too_far))) == ("not_shown", ("undecided",))


# ------------------------------------------------------------------ clocks


def test_setting_and_movement_on_one_unknown_clock_are_compared_by_readings() -> None:
    def by(text: str) -> Moment:
        return loose(text, 86_400)

    moved = replace(driven_at("11:25"), at=by("11:25"))
    tablet_log = climate(
        clock=replace(SERVER, clock="device:tablet", offset_low_s=-86_400.0, offset_high_s=86_400.0)
    )
    facts = job(set_at=by("09:40"), log=tablet_log, state_changes=(moved,))
    assert said(judged(facts, "2026-05-07 16:00")) == ("met", ())
    early = replace(facts, state_changes=(replace(moved, at=by("11:09")),))
    assert said(judged(early, "2026-05-07 16:00")) == ("not_met", ("adhesive_early",))


def test_clocks_that_leave_it_open() -> None:
    moved = replace(driven_at("11:25"), at=loose("11:12", 300))
    assert said(judged(job(state_changes=(moved,)))) == ("not_shown", ("undecided",))
    before = replace(driven_at("11:25"), at=loose("11:04", 300))
    assert said(judged(job(state_changes=(before,)))) == ("not_met", ("adhesive_early",))


def test_set_some_time_in_the_morning_counts_from_the_latest() -> None:
    morning = replace(moment("09:40"), low=at("07:00"))
    log = climate(start="06:55", minutes=600)
    assert said(judged(job(set_at=morning, log=log, state_changes=(driven_at("11:10"),)))) == ("met", ())
    between = judged(job(set_at=morning, log=log, state_changes=(driven_at("10:00"),)))
    assert said(between) == ("not_shown", ("undecided",))
    # Ready by the latest setting at 11:10: a log that ends at 09:00 would only reach ready by the earliest.
    short = climate(start="06:55", minutes=125)
    moved_later = job(set_at=morning, log=short, state_changes=(driven_at("11:10"),))
    assert said(judged(moved_later)) == ("not_shown", ("missing",))


def test_over_midnight() -> None:
    facts = job(set_at=moment("23:30"), log=climate(start="23:30"))
    outcome = judged(facts, "2026-05-06 00:30")
    assert said(outcome) == ("not_shown", ("missing",))
    assert "01:00 on 2026-05-06" in outcome.sentence
    assert said(judged(facts, "2026-05-06 01:00")) == ("met", ())


# ------------------------------------------------------------------ several settings and panes


def second_pane(operation: str, set_at: str, op_id: str = "operation-2") -> tuple[OperationDone, GlassSet]:
    done = OperationDone(**held(op_id, set_at), operation=operation, by="mondry", done=moment(set_at))
    glass = replace(
        windshield_job().glass_sets[0], id=f"glass-{op_id}", operation_id=op_id, set_at=moment(set_at)
    )
    return done, glass


def with_second(operation: str, set_at: str, **fields: Any) -> JobFacts:
    done, glass = second_pane(operation, set_at)
    base = job()
    return replace(
        base,
        operations=(*base.operations, done),
        glass_sets=(*base.glass_sets, glass),
        climate_logs=(climate(minutes=800),),
        **fields,
    )


def test_of_several_panes_the_latest_rules() -> None:
    facts = with_second("glass.rear.replaced", "12:00", state_changes=(driven_at("11:25"),))
    # The drive lies before the rear glass was set: it only has to wait for the windshield.
    assert said(judged(facts, "13:00")) == ("not_shown", ("missing",))
    assert said(judged(facts, "13:30")) == ("met", ())
    early = replace(facts, state_changes=(driven_at("10:30"),))
    assert said(judged(early, "13:30")) == ("not_met", ("adhesive_early",))
    ready = ready_times(facts, at("13:00"), Z)
    assert ready is not None
    assert ready.ready_cautious == at("13:30")


def test_the_last_setting_of_a_pane_governs_and_an_early_drive_before_it_stays_printed() -> None:
    facts = with_second("glass.windshield.refitted", "13:00", state_changes=(driven_at("10:00"),))
    outcome = judged(facts, "16:00")
    assert said(outcome) == ("met", ())
    assert any("was ready; it was set again" in note for note in outcome.notes)
    assert said(judged(facts, "14:00")) == ("not_shown", ("missing",))


def test_two_quarter_panes_each_stand_for_themselves() -> None:
    facts = with_second("glass.quarter.replaced", "13:00", state_changes=(driven_at("12:00"),))
    left, glass = second_pane("glass.quarter.replaced", "11:00", "operation-3")
    both = replace(facts, operations=(*facts.operations, left), glass_sets=(*facts.glass_sets, glass))
    assert said(judged(facts, "16:00")) == ("met", ())
    assert said(judged(both, "16:00")) == ("not_met", ("adhesive_early",))


def test_glass_set_away_from_the_shop_and_driven_back() -> None:
    away = replace(trip("driven", "09:00"), back_at=moment("11:00"))
    assert said(judged(job(sublet_trips=(away,)))) == ("not_shown", ("undecided",))
    before = replace(trip("driven", "08:00"), back_at=moment("09:30"))
    assert said(judged(job(sublet_trips=(before,)))) == ("met", ())
    after = replace(trip("driven", "11:10"), back_at=moment("12:00"))
    assert said(judged(job(sublet_trips=(after,)))) == ("met", ())


def test_no_bonded_glass_no_ready_time() -> None:
    assert ready_times(replace(windshield_job(), glass_sets=()), at("12:00"), Z) is None
