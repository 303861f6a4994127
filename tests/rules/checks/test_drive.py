"""drive_log and odometer_agrees on the windshield job: worked drives, clocks, gaps, copies, odometers."""

from dataclasses import replace
from datetime import timedelta

import pytest

from rules.checks.drive import drive_log, key_off_times
from rules.checks.movements import track_length
from rules.checks.odometer import odometer_agrees
from rules.facts import DriveLog, JobFacts, KeyEvent, LogClock, Reading, Reuse
from rules.quantities import parse_limit
from tests.drive_notation import fixes
from tests.rules.builders import at, loose, moment
from tests.rules.builders import drive_log as make_log
from tests.rules.measured import context, numbers, said
from tests.rules.windshield_job import odometer, windshield_job

DRIVE_A = (
    "to 45 25; hold 110; to 78 22; hold 240; to 0 25; hold 40; to 78 30; hold 185; turn 70 10; "
    "hold 150; to 0 26"
)
DRIVE_B = "to 45 25; hold 110; to 78 22; hold 240; lost 55; hold 190; turn 70 10; hold 150; to 0 26"
# A quarter of an hour's worth of counting time with the key off in the middle.
DRIVE_KEY_OFF = "to 40 22; hold 60; to 80 25; hold 400; to 0 27; hold 60; to 80 45; hold 420; to 0 27"
SATELLITE = LogClock(clock="satellite", offset_low_s=-1.0, offset_high_s=1.0)


def log(spec: str, start: str = "10:34", **fields: object) -> DriveLog:
    made = make_log("drive-1", start, "hold 1", ("session-1",))
    return replace(made, fixes=fixes(spec, at(start)), clock=SATELLITE, **fields)  # type: ignore[arg-type]


def job(*logs: DriveLog, **fields: object) -> JobFacts:
    return replace(windshield_job(), drive_logs=logs, **fields)  # type: ignore[arg-type]


def driven(spec: str) -> JobFacts:
    """The job with that drive and an odometer that fits it: time without fixes at its ends is no gap."""
    made = log(spec)
    km = track_length(made.fixes, 3.0)[0]
    return _with_odometers(job(made), odometer("odometer_after_drive", 21007.0 + int(km), "10:53"))


def judged(facts: JobFacts, **fields: object) -> tuple[str, tuple[str, ...]]:
    return said(drive_log(context("OV-FC-ROAD", "drive", facts, **fields)))


def test_the_finished_job_counts_719_seconds() -> None:
    outcome = drive_log(context("OV-FC-ROAD", "drive"))
    assert said(outcome) == ("met", ())
    found = numbers(outcome)
    assert (found["counted_s"], found["longest_s"]) == (719.0, 341.0)
    assert (found["run_1_s"], found["run_2_s"], found["run_3_s"]) == (341.0, 233.0, 145.0)
    assert found["track_km"] == pytest.approx(18.92, abs=5e-3)
    assert outcome.evidence == ("drive-1",)


def test_short_by_four_seconds() -> None:
    outcome = drive_log(context("OV-FC-ROAD", "drive", driven(DRIVE_A)))
    assert said(outcome) == ("not_met", ("too_short",))
    assert "Not met by 4 seconds: 596 s counted, 600 s needed." in outcome.sentence


def test_a_gap_could_hide_the_missing_seconds() -> None:
    outcome = drive_log(context("OV-FC-ROAD", "drive", driven(DRIVE_B)))
    assert said(outcome) == ("not_shown", ("gap_could_hide",))
    assert (numbers(outcome)["counted_s"], numbers(outcome)["high_s"]) == (592.0, 647.0)


def test_key_off_on_the_way_prints_both_halves() -> None:
    start = at("10:34")
    session = replace(
        windshield_job().sessions[0],
        ended=moment("10:53"),
        key_events=(
            KeyEvent(at=moment("10:28"), state="on"),
            KeyEvent(at=_exact(start + timedelta(seconds=554)), state="off"),
            KeyEvent(at=_exact(start + timedelta(seconds=569)), state="on"),
        ),
    )
    outcome = drive_log(context("OV-FC-ROAD", "drive", job(log(DRIVE_KEY_OFF), sessions=(session,))))
    assert numbers(outcome)["counted_s"] == 847.0
    assert "414 s counted before the key was off, 433 s after." in outcome.notes


def _exact(when):  # type: ignore[no-untyped-def]
    return replace(moment("10:00"), low=when, high=when, reading=when)


@pytest.mark.parametrize(
    ("hold", "verdict"), [(590, ("met", ())), (589, ("not_met", ("too_short",)))], ids=["600 s", "599 s"]
)
def test_the_total_at_its_limit(hold: int, verdict: tuple[str, tuple[str, ...]]) -> None:
    # Within each ramp of 30 s to 80 km/h, 5 s lie at 65 km/h or more.
    spec = f"to 80 30; hold {hold}; to 0 30"
    assert judged(driven(spec)) == verdict


@pytest.mark.parametrize(
    ("longest", "verdict"),
    [("at least 341 s", "met"), ("at least 342 s", "not_met"), ("more than 341 s", "not_met")],
)
def test_the_longest_stretch_at_its_limit(longest: str, verdict: str) -> None:
    arguments = {"longest_stretch": parse_limit(longest)}
    assert judged(windshield_job(), arguments=arguments)[0] == verdict


def test_a_typical_time_is_no_bar_once_the_device_reported_completion() -> None:
    typical = {"time_is": "indicative"}
    outcome = drive_log(context("OV-FC-ROAD", "drive", job(log(DRIVE_A)), arguments=typical))
    assert said(outcome) == ("met", ())
    assert any("typical" in note for note in outcome.notes)
    failed = replace(windshield_job().sessions[0], result="failed")
    assert judged(replace(driven(DRIVE_A), sessions=(failed,)), arguments=typical) == (
        "not_met",
        ("too_short",),
    )


def test_without_a_log() -> None:
    assert judged(job()) == ("not_shown", ("missing",))
    assert judged(job(replace(log(DRIVE_A), fixes=()))) == ("not_shown", ("missing",))
    ended = replace(log(DRIVE_A), ended_at=at("11:00"), ended_how="set_aside")
    assert judged(job(ended)) == ("not_shown", ("missing",))
    assert judged(job(log(DRIVE_A, sessions=("other",)))) == ("not_shown", ("missing",))


def test_time_that_runs_back() -> None:
    broken = log(DRIVE_A)
    track = (*broken.fixes[:100], replace(broken.fixes[100], t=broken.fixes[99].t - 5), *broken.fixes[101:])
    assert judged(job(replace(broken, fixes=track))) == ("not_shown", ("time_order",))


def test_two_logs_of_one_drive_are_joined_and_a_copy_counts_once() -> None:
    whole = log("to 40 22; hold 95; to 82 28; hold 330; turn 60 10; hold 225; to 50 16; hold 40; to 80 20; "
                "hold 130; to 0 27")  # fmt: skip
    first = replace(whole, id="a", fixes=whole.fixes[:500])
    second = replace(whole, id="b", fixes=whole.fixes[500:])
    assert numbers(drive_log(context("OV-FC-ROAD", "drive", job(second, first))))["counted_s"] == 719.0
    copied = job(whole, replace(whole, id="copy"))
    assert numbers(drive_log(context("OV-FC-ROAD", "drive", copied)))["counted_s"] == 719.0
    overlapping = replace(whole, id="c", fixes=whole.fixes[400:])
    assert judged(job(first, overlapping)) == ("not_shown", ("time_order",))
    other_clock = replace(second, clock=LogClock(clock="device:phone", offset_low_s=-9, offset_high_s=9))
    assert judged(job(first, other_clock)) == ("not_shown", ("time_order",))


def test_metres_per_second_taken_for_kilometres_per_hour() -> None:
    slow = log(DRIVE_A)
    track = tuple(replace(fix, speed_kph=(fix.speed_kph or 0) / 3.6) for fix in slow.fixes)
    assert judged(job(replace(slow, fixes=track))) == ("not_met", ("too_short", "conflict"))


def test_the_same_track_on_another_job() -> None:
    def reused(**fields: object) -> DriveLog:
        entry = Reuse(other_evidence="e", distance=0, same_job=False, same_bytes=True)
        return replace(windshield_job().drive_logs[0], reuse=(replace(entry, **fields),))  # type: ignore[arg-type]

    assert judged(job(reused())) == ("not_met", ("reuse_exact",))
    assert judged(job(reused(decision="same picture"))) == ("not_met", ("reuse_exact",))
    assert judged(job(reused(decision="different"))) == ("met", ())
    assert judged(job(reused(same_job=True))) == ("met", ())


def test_a_tablet_that_never_met_the_server_shows_no_second_of_the_session() -> None:
    session = windshield_job().sessions[0]
    loosely = replace(session, started=loose("10:30", 86_400), ended=loose("10:52", 86_400))
    outcome = drive_log(
        context("OV-FC-ROAD", "drive", job(*windshield_job().drive_logs, sessions=(loosely,)))
    )
    assert said(outcome) == ("not_shown", ("gap_could_hide",))
    assert numbers(outcome)["counted_s"] == 0.0
    assert numbers(outcome)["high_s"] == 719.0


def test_session_time_without_fixes_is_no_gap_only_where_the_odometer_agrees() -> None:
    late = log("to 80 30; hold 480; to 0 30", "10:40")
    with_odometer = _with_odometers(job(late), odometer("odometer_after_drive", 21019.0, "10:53"))
    assert judged(with_odometer) == ("not_met", ("too_short",))
    assert judged(_with_odometers(job(late))) == ("not_shown", ("gap_could_hide",))


def _with_odometers(facts: JobFacts, *later: Reading) -> JobFacts:
    kept = tuple(item for item in facts.readings if item.id != "odometer_after_drive")
    return replace(facts, readings=(*kept, *later))


def test_key_events_in_pairs() -> None:
    def event(when: str, state: str) -> KeyEvent:
        return KeyEvent(at=moment(when), state=state)  # type: ignore[arg-type]

    session = replace(
        windshield_job().sessions[0],
        key_events=(
            event("10:31", "on"),
            event("10:33", "off"),
            event("10:34", "crank"),
            event("10:40", "off"),
        ),
    )
    assert key_off_times(session) == ((moment("10:33"), moment("10:34")), (moment("10:40"), None))


# ------------------------------------------------------------------ odometer


def odo(before: float, after: float, spec: str, step: float = 1.0) -> tuple[str, tuple[str, ...]]:
    first = replace(odometer("odometer_in", before, "08:00"), resolution=step)
    second = replace(odometer("odometer_after_drive", after, "10:53"), resolution=step)
    facts = replace(windshield_job(), drive_logs=(log(spec),), readings=(first, second))
    return said(odometer_agrees(context("OV-FC-ROAD", "odo", facts)))


def test_worked_odometers() -> None:
    assert odo(18442, 18457, DRIVE_A) == ("met", ())
    # A track of 14.8 km: [14.36, 15.24] against (8, 10).
    spec = "to 80 30; hold 636; to 0 30"
    assert odo(18442, 18451, spec) == ("not_met", ("log_conflict",))
    outcome = odometer_agrees(context("OV-FC-ROAD", "odo"))
    assert said(outcome) == ("met", ())
    interval = {number.name: (number.lower, number.upper) for number in outcome.numbers}
    assert interval["track_km"] == (pytest.approx(18.35, abs=5e-3), pytest.approx(19.49, abs=5e-3))
    assert interval["odometer_km"] == (18.0, 20.0)


@pytest.mark.parametrize(
    ("after", "verdict"),
    [(18.0, "met"), (17.0, "not_met"), (20.0, "met"), (21.0, "not_met"), (-1.0, "not_met")],
)
def test_the_interval_is_open_on_the_odometer_side(after: float, verdict: str) -> None:
    # Track 19.0 km exactly, without allowance: 19 = O2 - O1 + 1 is not reached by a truncating display.
    facts = _with_odometers(
        job(_track_of_19_km()), odometer("odometer_after_drive", 21007.0 + after, "10:55")
    )
    outcome = odometer_agrees(context("OV-FC-ROAD", "odo", facts, arguments={"scale": 0.0}))
    assert outcome.verdict == ("not_met" if after in (18.0, 20.0) else verdict)
    wider = odometer_agrees(context("OV-FC-ROAD", "odo", facts, arguments={"scale": 0.1}))
    assert wider.verdict == verdict


def _track_of_19_km() -> DriveLog:
    # 72 km/h are 20 m/s: 40 s of ramps and 930 s at speed make 400 + 18,600 m.
    return log("to 72 20; hold 930; to 0 20")


def test_time_without_fixes_may_hide_a_hundred_and_thirty_kilometres_an_hour() -> None:
    gap = "to 72 20; hold 400; lost 60; hold 400; to 0 20"  # 17.6 km, and 60 s for up to 2.17 km more
    assert odo(100, 120, gap) == ("met", ())
    assert odo(100, 122, gap) == ("not_met", ("log_conflict",))


def test_readings_that_are_not_there() -> None:
    facts = windshield_job()
    none_after = _with_odometers(facts)
    outcome = odometer_agrees(context("OV-FC-ROAD", "odo", none_after))
    assert said(outcome) == ("not_shown", ("missing",))
    none_before = replace(facts, readings=tuple(r for r in facts.readings if r.id != "odometer_in"))
    assert said(odometer_agrees(context("OV-FC-ROAD", "odo", none_before))) == ("not_shown", ("missing",))
    assert said(odometer_agrees(context("OV-FC-ROAD", "odo", job()))) == ("not_shown", ("missing",))


def test_a_reading_whose_clock_leaves_it_open() -> None:
    open_one = replace(odometer("odometer_after_drive", 21026.0, "10:53"), at=loose("10:53", 3600))
    facts = _with_odometers(windshield_job(), open_one)
    assert said(odometer_agrees(context("OV-FC-ROAD", "odo", facts))) == ("not_shown", ("order_unprovable",))


def test_an_unknown_step_of_the_display() -> None:
    unknown = replace(odometer("odometer_after_drive", 21026.0, "10:53"), resolution=None)
    facts = _with_odometers(windshield_job(), unknown)
    assert said(odometer_agrees(context("OV-FC-ROAD", "odo", facts))) == (
        "not_shown",
        ("uncertainty_unknown",),
    )


def test_a_drive_that_does_not_return_is_a_note() -> None:
    assert any("km from the shop" in note for note in odometer_agrees(context("OV-FC-ROAD", "odo")).notes)
