"""voltage_log on the windshield job: worked stretches, gaps, clocks, cranks, several logs."""

from dataclasses import replace
from typing import Any

import pytest

from rules.checks.voltage import voltage_log
from rules.facts import KeyEvent, LogClock, VoltageLog
from rules.verdict import Outcome
from tests.rules.builders import at, moment
from tests.rules.builders import voltage_log as steady_log
from tests.rules.measured import context, numbers, said
from tests.rules.windshield_job import windshield_job

DIP = ((398, 13.2), (400, 13.1), (402, 11.8), (404, 11.7), (406, 11.9), (408, 12.6), (410, 13.0))
NEAR = ((600, 12.9), (602, 11.99), (604, 11.99), (606, 11.99), (608, 12.9))


def log(*changed: tuple[float, float], **fields: Any) -> VoltageLog:
    """13.2 V each 2 s from 10:29 to 10:53, with samples replaced at seconds after 10:30."""
    base = steady_log("volts", "10:29", "10:53", 13.2, ("session-1",))
    start = at("10:30").timestamp()
    samples = dict(base.samples)
    samples.update({start + second: volts for second, volts in changed})
    return replace(base, samples=tuple(sorted(samples.items())), **fields)


def judged(*logs: VoltageLog, **fields: Any) -> Outcome:
    facts = replace(windshield_job(), voltage_logs=logs, **fields.pop("facts", {}))
    return voltage_log(context("OV-FC-ROAD", "volts", facts, **fields))


def test_steady_supply() -> None:
    outcome = judged(log())
    assert said(outcome) == ("met", ())
    assert outcome.instruments == ("VL-009",)
    assert (numbers(outcome)["lowest_v"], numbers(outcome)["highest_v"]) == (13.2, 13.2)


def test_worked_dip_is_not_met() -> None:
    outcome = judged(log(*DIP))
    assert said(outcome) == ("not_met", ("outside_limit",))
    assert numbers(outcome)["below_s"] == pytest.approx(4.485, abs=1e-3)


def test_worked_near_miss_is_not_shown() -> None:
    outcome = judged(log(*NEAR))
    assert said(outcome) == ("not_shown", ("undecided",))
    assert numbers(outcome)["below_s"] == pytest.approx(4.152, abs=1e-3)


def test_common_practice_window_from_12_to_15_volts() -> None:
    # Common practice, no source: supply between 12 V and 15 V during the procedure.
    assert judged(log(*((float(s), 15.2) for s in range(100, 110, 2)))).reasons == ("outside_limit",)
    assert judged(log(*((float(s), 15.01) for s in range(100, 110, 2)))).reasons == ("undecided",)
    assert judged(log(*((float(s), 14.9) for s in range(100, 110, 2)))).reasons == ()


def test_a_short_spike_is_a_note() -> None:
    # 2 s each way: below 11.975 V for 1.9 s.
    outcome = judged(log((500, 11.0)), arguments={"ignore_shorter_than": 2.3})
    assert said(outcome) == ("met", ())
    assert any("Below 12.00 V" in note for note in outcome.notes)


def test_a_gap_could_hide_a_dip() -> None:
    whole = log()
    start = at("10:30").timestamp()
    thinned = replace(whole, samples=tuple(s for s in whole.samples if not 300 < s[0] - start < 310))
    assert said(judged(thinned)) == ("met", ())
    gapped = replace(whole, samples=tuple(s for s in whole.samples if not 300 < s[0] - start < 312))
    assert said(judged(gapped)) == ("not_shown", ("gap_could_hide",))
    assert numbers(judged(gapped))["gap_s"] == 12.0


def test_a_log_shorter_than_the_session_and_none() -> None:
    short = steady_log("volts", "10:31", "10:53", 13.2, ("session-1",))
    assert said(judged(short)) == ("not_shown", ("gap_could_hide",))
    assert said(judged()) == ("not_shown", ("missing",))
    assert said(judged(replace(log(), samples=()))) == ("not_shown", ("missing",))
    assert said(judged(replace(log(), sessions=("other",)))) == ("not_shown", ("missing",))


def test_a_dip_and_a_gap_are_both_told() -> None:
    dipped = log(*DIP)
    start = at("10:30").timestamp()
    both = replace(dipped, samples=tuple(s for s in dipped.samples if s[0] - start < 900))
    assert said(judged(both)) == ("not_met", ("outside_limit", "gap_could_hide"))


def test_without_logger_and_with_time_that_runs_back() -> None:
    assert said(judged(replace(log(), instrument=None))) == ("not_shown", ("uncertainty_unknown",))
    assert said(judged(replace(log(), u=None))) == ("not_shown", ("uncertainty_unknown",))
    backwards = replace(log(), samples=(*log().samples, log().samples[0]))
    assert said(judged(backwards)) == ("not_shown", ("time_order",))


def test_outside_the_session_nothing_is_judged() -> None:
    assert said(judged(log((-50, 9.0), (-48, 9.0), (-46, 9.0), (1330, 9.0), (1340, 9.0)))) == ("met", ())


# ------------------------------------------------------------------ cranks

CRANK = tuple((float(s), 9.5) for s in range(100, 110, 2))


def cranked(start: float, end: float) -> VoltageLog:
    zero = at("10:30").timestamp()
    return log(*CRANK, events=((zero + start, "crank_start"), (zero + end, "crank_end")))


def test_one_declared_crank_of_fifteen_seconds() -> None:
    assert said(judged(cranked(97.0, 112.0))) == ("met", ())
    assert said(judged(cranked(97.0, 112.001))) == ("not_met", ("outside_limit",))
    assert said(judged(log(*CRANK))) == ("not_met", ("outside_limit",))
    assert said(judged(cranked(97.0, 112.0), arguments={"crank_windows": 0})) == (
        "not_met",
        ("outside_limit",),
    )


# ------------------------------------------------------------------ clocks

LOGGER = LogClock(clock="device:VL-009", offset_low_s=-86_400.0, offset_high_s=86_400.0)


def test_a_logger_whose_clock_nobody_knows_shows_nothing() -> None:
    outcome = judged(replace(log(*DIP), clock=LOGGER))
    assert outcome.verdict == "not_shown"
    assert "outside_limit" not in outcome.reasons


def test_the_key_on_step_aligns_the_logger() -> None:
    key_on = at("10:28").timestamp()
    shift = 3600.0
    base = steady_log("volts", "10:27", "10:53", 13.2, ("session-1",))
    ahead = replace(
        base,
        clock=LOGGER,
        samples=tuple((t + shift, volts) for t, volts in base.samples),
        events=((key_on + shift, "key_on"),),
    )
    assert said(judged(ahead)) == ("met", ())
    denied = replace(ahead, clock=replace(LOGGER, offset_low_s=-10.0, offset_high_s=10.0))
    assert said(judged(denied)) == ("not_shown", ("conflict",))
    session = windshield_job().sessions[0]
    twice = replace(session, key_events=(*session.key_events, KeyEvent(at=moment("10:55"), state="on")))
    assert judged(ahead, facts={"sessions": (twice,)}).verdict == "not_shown"


def test_an_open_edge_is_not_held_against_the_car_nor_for_it() -> None:
    # The dip lies within the minute in which the session may have begun.
    unsure = replace(
        windshield_job().sessions[0],
        started=replace(moment("10:30"), low=at("10:29:30"), high=at("10:37:00")),
    )
    outcome = judged(log(*DIP), facts={"sessions": (unsure,)})
    assert said(outcome) == ("not_shown", ("undecided",))


# ------------------------------------------------------------------ several logs


def test_one_whole_log_is_enough_and_a_dip_in_any_counts() -> None:
    part = steady_log("second", "10:40", "10:45", 13.2, ("session-1",))
    assert said(judged(log(), part)) == ("met", ())
    assert said(judged(part, log(*DIP))) == ("not_met", ("outside_limit",))
    assert said(judged(part)) == ("not_shown", ("gap_could_hide",))
