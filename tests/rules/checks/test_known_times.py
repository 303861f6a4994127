"""What all clocks of a job show together: shared offsets, third events, clocks that contradict themselves."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.checks.known_times import (
    NOT_KNOWN,
    KnownTimes,
    clock_node,
    drift_us,
    instant,
    known_times,
    microseconds,
    recorded_events,
    resolution_us,
)
from rules.facts import JobFacts, KeyEvent, LogClock, Moment, SessionPart
from tests.rules.builders import EASTMARCH, SEDGE, at, drive_log, ended, moment, photo, scan, session
from tests.rules.windshield_job import MODULES, climate, windshield_job

NOON = datetime(2026, 5, 5, 12, tzinfo=UTC)
DAY_S = 86_400.0


def job(**records) -> JobFacts:
    return JobFacts(
        job_id="j",
        order_number="EM-1",
        organisation="Brackwater Repair Group",
        refusal_allowed=True,
        place=EASTMARCH,
        opened=moment("07:00"),
        vehicle=SEDGE,
        **{name: tuple(items) for name, items in records.items()},
    )


def shown(
    text: str,
    clock: str = "device:scan",
    *,
    offset: tuple[float, float] = (-DAY_S, DAY_S),
    step_s: float = 0.0,
) -> Moment:
    """What a clock showed, when device minus true lies in ``offset`` (s)."""
    reading = at(text)
    return Moment(
        low=reading - timedelta(seconds=offset[1]),
        high=reading + timedelta(seconds=step_s - offset[0]),
        reading=reading,
        clock=clock,
        resolution_s=step_s,
    )


def scan_at(id_: str, ended_at: Moment):
    return replace(scan(id_, "final", "11:00", MODULES, SEDGE.vin), ended=ended_at)


# ------------------------------------------------------------------ the events of a record


def test_every_time_of_every_record_that_counts_is_an_event() -> None:
    own = session(
        "s",
        "OV-FC-ROAD",
        "10:30",
        "10:52",
        key_events=(KeyEvent(at=moment("10:28"), state="on"),),
        parts=(SessionPart(part="still", started=moment("10:30"), ended=None, result="completed"),),
    )
    drive = drive_log("d", "10:34", "to 40 22", ("s",))
    gone = ended(photo("gone", ("plate",), "08:00"), "09:00")
    untimed = photo("receipt", ("plate",), "08:00", captured_how="receipt only")
    facts = job(sessions=[own], drive_logs=[drive], photos=[gone, untimed])
    events = {event.key: event for event in recorded_events(facts)}
    assert sorted(events) == [
        "d/first sample",
        "d/last sample",
        "s/ended",
        "s/key_events[0].at",
        "s/parts[0].started",
        "s/started",
    ]
    assert events["s/ended"].follows == "s/started"
    assert events["s/started"].follows is None
    assert events["d/last sample"].follows == "d/first sample"
    assert events["d/last sample"].own_interval  # satellite time holds for each fix
    assert events["d/first sample"].moment.reading == at("10:34")
    assert events["d/last sample"].moment.reading == at("10:34:22")


def test_of_a_log_by_a_device_clock_only_the_first_sample_has_an_interval() -> None:
    log = climate(clock=LogClock(clock="device:cl", offset_low_s=-1.0, offset_high_s=1.0))
    events = {event.what: event for event in recorded_events(job(climate_logs=[log]))}
    assert events["first sample"].own_interval
    assert not events["last sample"].own_interval
    assert recorded_events(job(climate_logs=[replace(log, samples=())])) == ()


@pytest.mark.parametrize("t", [float("nan"), float("inf"), 1e300])
def test_a_log_whose_times_are_no_instants_has_no_events(t) -> None:
    log = climate(samples=((t, 20.0, 50.0),))
    assert recorded_events(job(climate_logs=[log])) == ()


@pytest.mark.parametrize("step_s", [float("nan"), -60.0, 1e9])
def test_a_step_that_is_none_shows_nothing(step_s) -> None:
    first, second = replace(shown("09:10"), resolution_s=step_s), shown("09:40")
    known = KnownTimes(job(scans=[scan_at("a", first), scan_at("b", second)]))
    assert known.doubtful == frozenset()
    assert resolution_us(first) == 86_400_000_000


def test_the_events_do_not_depend_on_the_order_of_the_records() -> None:
    facts = windshield_job()
    turned = replace(facts, photos=facts.photos[::-1], scans=facts.scans[::-1], readings=facts.readings[::-1])
    assert recorded_events(facts) == recorded_events(turned)


@given(st.datetimes(datetime(1980, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC)))  # noqa: DTZ001
def test_microseconds_are_exact(when: datetime) -> None:
    assert instant(microseconds(when)) == when
    assert microseconds(datetime(1970, 1, 1, tzinfo=UTC)) == 0
    assert microseconds(datetime(1970, 1, 1, 0, 0, 1, 5, tzinfo=UTC)) == 1_000_005


def test_drift_is_one_in_ten_thousand_and_a_begun_microsecond_counts() -> None:
    assert drift_us(0) == 0
    assert drift_us(1) == drift_us(-1) == drift_us(10_000) == 1
    assert drift_us(10_001) == 2
    assert drift_us(86_400_000_000) == 8_640_000  # 8.64 s a day
    assert resolution_us(shown("10:00", step_s=60.0)) == 60_000_000


# ------------------------------------------------------------------ one clock, several events


def test_two_scans_by_one_unknown_clock_show_their_order_but_not_their_time() -> None:
    """Minute displays of 09:10 and 09:40: between 29 and 31 minutes apart, both ends left out."""
    first, second = shown("09:10", step_s=60.0), shown("09:40", step_s=60.0)
    known = KnownTimes(job(scans=[scan_at("a", first), scan_at("b", second)]))
    apart = known.span(first, second)
    assert (apart.low, apart.high, apart.high_open) == (timedelta(minutes=29), timedelta(minutes=31), True)
    assert known.happened_before(first, second) == "true"
    assert known.happened_before(second, first) == "false"


def test_an_event_that_is_known_tells_the_time_of_another_on_the_same_clock() -> None:
    """The server brackets the scan at 09:10, so the one at 09:40 lies after the session's end at 10:00."""
    bracketed = replace(shown("09:10"), low=at("09:40"), high=at("09:41"))
    later = shown("09:40")
    end = moment("10:00")
    known = KnownTimes(
        job(
            scans=[scan_at("a", bracketed), scan_at("b", later)],
            sessions=[replace(session("s", "OV-FC-ROAD", "08:30", "10:00"), ended=end)],
        )
    )
    assert known.happened_before(end, later) == "true"
    event = next(item for item in known.events if item.key == "b/ended")
    low, high = known.squeeze.lower(event.key), known.squeeze.upper(event.key)
    assert low is not None
    assert high is not None
    drift = timedelta(seconds=0.18)  # of thirty minutes
    assert (instant(low.us), instant(high.us)) == (at("10:10") - drift, at("10:11") + drift)


def test_other_clocks_say_nothing_of_it() -> None:
    bracketed = replace(shown("09:10"), low=at("09:40"), high=at("09:41"))
    later, end = shown("09:40", "device:other"), moment("10:00")
    known = KnownTimes(
        job(
            scans=[scan_at("a", bracketed), scan_at("b", later)],
            sessions=[replace(session("s", "OV-FC-ROAD", "08:30", "10:00"), ended=end)],
        )
    )
    assert known.happened_before(end, later) == "unknown"


def test_over_more_than_a_day_an_offset_is_not_carried() -> None:
    bracketed = replace(shown("09:10"), low=at("09:40"), high=at("09:41"))
    for hours, carried in ((24, True), (24.001, False)):
        reading = bracketed.reading + timedelta(hours=hours)
        later = Moment(
            low=reading - timedelta(hours=24),
            high=reading + timedelta(hours=24),
            reading=reading,
            clock="device:scan",
        )
        known = KnownTimes(job(scans=[scan_at("a", bracketed), scan_at("b", later)]))
        high = known.squeeze.upper("b/ended")
        assert high is not None
        assert (instant(high.us) < later.high) is carried


def test_order_is_shown_through_a_third_event() -> None:
    """First scan and session start share one unknown clock, session end and second scan another."""
    before = shown("10:00", "device:one")
    start, end = shown("10:05", "device:one"), shown("07:00", "device:two")
    after = shown("07:10", "device:two")
    own = replace(session("s", "OV-FC-ROAD", "10:05", "10:30"), started=start, ended=end)
    facts = job(scans=[scan_at("a", before), scan_at("b", after)], sessions=[own])
    known = KnownTimes(facts)
    assert known.happened_before(before, after) == "true"
    assert known.happened_before(after, before) == "false"
    without = KnownTimes(replace(facts, sessions=(replace(own, ended=None),)))
    assert without.happened_before(before, after) == "unknown"


def test_an_end_that_contradicts_the_clocks_is_not_used() -> None:
    """Ended five minutes before it began, by one clock: the record is wrong, and nothing follows from it."""
    before = shown("10:00", "device:one")
    own = replace(
        session("s", "OV-FC-ROAD", "10:05", "10:00"),
        started=shown("10:05", "device:one"),
        ended=shown("10:00:01", "device:one"),
    )
    known = KnownTimes(job(scans=[scan_at("a", before)], sessions=[own]))
    assert known.doubtful == frozenset()
    assert own.ended is not None
    assert known.happened_before(own.started, own.ended) == "false"
    assert all(edge.claim.kind != "follows" for edge in known.network.edges)


def test_a_moment_that_was_worked_out_still_stands_on_its_clock() -> None:
    """Ready, 90 minutes after a setting by an unknown clock, against a reading of that clock."""
    seen = shown("12:00")
    ready = replace(shown("11:10"), reading=at("11:10"))
    known = KnownTimes(job(scans=[scan_at("a", seen), scan_at("b", shown("09:40"))]))
    assert known.happened_before(ready, seen) == "true"
    assert known.records_at(ready) == ()
    assert known.records_at(seen) == ("a",)


def test_two_events_with_one_moment_object_are_not_the_same_event() -> None:
    """Both lie somewhere in ten minutes: which came first stays open although the object is one."""
    blurred = Moment(low=NOON, high=NOON + timedelta(minutes=10), reading=NOON, clock="server")
    known = KnownTimes(job(scans=[scan_at("a", blurred), scan_at("b", blurred)]))
    assert known.happened_before(blurred, blurred) == "unknown"
    assert sorted(known.records_at(blurred)) == ["a", "b"]


# ------------------------------------------------------------------ clocks that contradict themselves


def doubted() -> tuple[KnownTimes, Moment, Moment, Moment]:
    """Two readings half an hour apart on one clock, which true time puts three hours apart."""
    first = replace(shown("09:10"), low=at("09:10"), high=at("09:11"))
    second = replace(shown("09:40"), low=at("12:10"), high=at("12:11"))
    other = shown("08:00")
    known = KnownTimes(job(scans=[scan_at("a", first), scan_at("b", second), scan_at("c", other)]))
    return known, first, second, other


def test_nothing_that_rests_on_a_clock_which_contradicts_itself_is_shown() -> None:
    known, first, second, other = doubted()
    assert {"a/ended", "b/ended", "c/ended"} <= known.doubtful
    assert clock_node("device:scan", microseconds(at("08:00"))) in known.doubtful
    for a, b in ((first, second), (second, first), (other, first), (other, moment("15:00"))):
        assert known.span(a, b) == NOT_KNOWN
        assert known.happened_before(a, b) == "unknown"
    assert known.is_doubtful(other)
    assert known.is_doubtful(shown("08:30"))
    assert known.is_doubtful(replace(moment("08:30"), clock="mixed"))
    assert not known.is_doubtful(moment("08:30"))
    assert not known.is_doubtful(shown("08:30", "device:other"))


def test_other_clocks_are_not_touched_by_it() -> None:
    known, *_ = doubted()
    calm = KnownTimes(replace(known.facts, sessions=(session("s", "OV-FC-ROAD", "10:30", "10:52"),)))
    own = calm.facts.sessions[0]
    assert own.ended is not None
    assert calm.happened_before(own.started, own.ended) == "true"


def test_drift_between_two_comparisons_is_no_contradiction() -> None:
    """A clock that loses 0.9 s in nine hours (28 parts per million) was right in the morning."""
    morning = replace(shown("08:00"), low=at("08:00"), high=at("08:00"))
    late = at("17:00") + timedelta(seconds=0.9)
    evening = replace(shown("17:00"), low=late, high=late)
    assert KnownTimes(job(scans=[scan_at("a", morning), scan_at("b", evening)])).doubtful == frozenset()
    far = at("17:00") + timedelta(seconds=3.241)  # 3.24 s is one in ten thousand of nine hours
    evening = replace(shown("17:00"), low=far, high=far)
    assert KnownTimes(job(scans=[scan_at("a", morning), scan_at("b", evening)])).doubtful


def test_what_is_known_is_built_once_for_a_snapshot() -> None:
    facts = windshield_job()
    assert known_times(facts) is known_times(facts)
    assert known_times(facts) is not known_times(replace(facts))


# ------------------------------------------------------------------ metamorphic


def moved(moment_: Moment, by: timedelta) -> Moment:
    return replace(moment_, reading=moment_.reading + by)


@settings(max_examples=60, deadline=None)
@given(
    minutes=st.lists(st.integers(0, 600), min_size=2, max_size=5),
    half_s=st.sampled_from([0.0, 5.0, DAY_S]),
    shift=st.integers(-90_000, 90_000),
)
def test_a_constant_shift_of_one_devices_clock_changes_nothing_it_shows(minutes, half_s, shift) -> None:
    """The true intervals stay: the device's readings and its offset move together."""
    times = [shown("07:10", offset=(-half_s, half_s), step_s=60.0) for _ in minutes]
    times = [
        replace(
            one,
            low=one.low + timedelta(minutes=m),
            high=one.high + timedelta(minutes=m),
            reading=one.reading + timedelta(minutes=m),
        )
        for one, m in zip(times, minutes, strict=True)
    ]
    shifted = [moved(one, timedelta(seconds=shift)) for one in times]

    def answers(moments):
        known = KnownTimes(job(scans=[scan_at(f"n{i}", one) for i, one in enumerate(moments)]))
        return [known.span(a, b) for a in moments for b in moments if a is not b]

    assert answers(times) == answers(shifted)


@settings(max_examples=40, deadline=None)
@given(order=st.permutations(range(4)))
def test_the_order_of_upload_changes_nothing(order) -> None:
    bracketed = replace(shown("09:10"), low=at("09:40"), high=at("09:41"))
    times = [bracketed, shown("09:40"), shown("09:20", "device:two"), moment("10:05")]
    scans = [scan_at(f"n{place}", one) for place, one in enumerate(times)]
    known = KnownTimes(job(scans=[scans[place] for place in order]))
    plain = KnownTimes(job(scans=scans))
    for a in times:
        for b in times:
            if a is not b:
                assert known.span(a, b) == plain.span(a, b)


@pytest.mark.parametrize("step_s", [0.0, 1.0, 60.0])
def test_bounds_never_exclude_the_true_times(step_s) -> None:
    """A clock 54 min slow that loses nothing, read at known true times: every answer holds the truth."""
    truths = [at("08:00"), at("09:30"), at("13:15")]
    slow = timedelta(minutes=54, seconds=20)
    times = []
    for true in truths:
        reading = true - slow
        cut = timedelta(seconds=(reading.second % step_s) if step_s else 0)
        read = reading - cut
        times.append(
            Moment(
                low=true - timedelta(seconds=90),
                high=true + timedelta(seconds=90),
                reading=read,
                clock="device:scan",
                resolution_s=step_s,
            )
        )
    known = KnownTimes(job(scans=[scan_at(f"n{i}", one) for i, one in enumerate(times)]))
    for a, true_a in zip(times, truths, strict=True):
        for b, true_b in zip(times, truths, strict=True):
            if a is not b:
                apart = known.span(a, b)
                assert apart.low <= true_b - true_a <= apart.high
