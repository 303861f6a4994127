"""The time line of a job and what cannot all be true in it, by worked numbers of the trade."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from rules.checks.known_times import recorded_events
from rules.claims import FASTEST_KPH, SESSION_REACH_M, SPHERE_SHARE, duration, event_words, local_and_utc
from rules.facts import JobFacts, LogClock, Moment, OffsetFrom, Place, SlipSeen
from rules.result import Contradiction
from rules.science.geodesy import distance_m
from rules.timeline import contradictions, timeline
from tests.rules.builders import EASTMARCH, at, drive_log, moment, photo, scan, session, with_records
from tests.rules.windshield_job import GOOD_DRIVE, MODULES, climate, unsigned_job, windshield_job

Z = 1.645
EVENING = at("23:00")


def found(facts: JobFacts) -> tuple[Contradiction, ...]:
    return contradictions(facts, EVENING, Z)


def about(facts: JobFacts, *records: str) -> Contradiction:
    """The one contradiction of exactly these records."""
    (one,) = [item for item in found(facts) if set(item.records) == set(records)]
    return one


# ------------------------------------------------------------------ glass set after the drive, by a photo


def set_after_the_drive(satellite_s: float = 0.0) -> JobFacts:
    """The photo "glass being set" shows a slip issued 15:31:10; the drive log starts 15:20:00; 60 min asked.

    The setting itself was typed as 14:00; at 22 degC and 56 percent the sheet asks for 60 min, with guard.
    """
    base = unsigned_job()
    start = at("13:55").timestamp()
    warm = climate(samples=tuple((start + 300 * i, 22.0, 56.0) for i in range(40)))
    slip = SlipSeen(job_id="job-417", issued_at=at("15:31:10"), authentic=True)
    bracket = Moment(low=at("15:31:10"), high=at("15:40"), reading=at("15:40"), clock="server")
    taken = photo("photo-set", ("glass_being_set",), "15:40", stage="repair", slip=slip, number=9)
    taken = replace(taken, captured=bracket)
    drive = drive_log("drive", "15:20", GOOD_DRIVE, ("session-1",))
    clock = LogClock(clock="satellite", offset_low_s=-satellite_s, offset_high_s=satellite_s)
    glass = replace(base.glass_sets[0], set_at=moment("14:00"), received_at=at("14:10"))
    work = replace(base.operations[0], started=moment("13:30"), done=moment("14:05"), received_at=at("14:10"))
    own = session("session-1", "OV-FC-ROAD", "15:15", "15:40", bay=None)
    return replace(
        base,
        climate_logs=(replace(warm, received_at=at("18:00")),),
        drive_logs=(replace(drive, clock=clock),),
        glass_sets=(glass,),
        operations=(work,),
        sessions=(own,),
        photos=(*base.photos, taken),
    )


@pytest.mark.parametrize(("satellite_s", "excess_s"), [(0.0, 3970.0), (1.0, 3969.0)])
def test_the_three_claims_cannot_all_be_true_by_66_min_10_s(satellite_s, excess_s):
    one = about(set_after_the_drive(satellite_s), "photo-set", "glass", "drive")
    assert one.excess_s == excess_s
    assert len(one.claims) == 3
    photo_claim, adhesive, drive = one.claims
    assert photo_claim.words == (
        "the photo (evidence 9) shows a slip issued 2026-05-05 15:31:10 UTC-05:00 (20:31:10 UTC) and "
        "the photo (evidence 9) was taken within 5 min of the setting of the glass"
    )
    assert photo_claim.records == ("photo-set", "glass")
    assert adhesive.words == (
        "the adhesive asks for at least 60 min "
        "between the setting of the glass and the start of the drive log"
    )
    assert "start of the drive log was" in drive.words
    assert drive.records == ("drive",)
    assert one.sentence.startswith("The three claims cannot all be true: the photo (evidence 9) shows")
    assert one.sentence.endswith(
        f"They miss each other by {'66 min 10 s' if not satellite_s else '66 min 9 s'}."
    )


def test_the_typed_time_of_the_setting_contradicts_the_photo_too():
    """Photo not before 15:31:10, within 5 min of a setting at 14:00: 86 min 10 s."""
    one = about(set_after_the_drive(), "photo-set", "glass")
    assert one.excess_s == 86 * 60 + 10
    assert [claim.records for claim in one.claims] == [("photo-set", "glass"), ("glass",)]


def test_a_photo_within_five_minutes_of_the_setting_contradicts_nothing():
    for typed, is_fine in (("15:26:10", True), ("15:45", True), ("15:26:09", False), ("15:45:01", False)):
        facts = set_after_the_drive()
        glass = replace(facts.glass_sets[0], set_at=moment(typed), received_at=at("16:00"))
        facts = replace(facts, glass_sets=(glass,), drive_logs=())
        assert (found(facts) == ()) is is_fine, typed


def test_a_photo_of_one_of_two_panes_is_claimed_of_neither_unless_it_is_its_evidence():
    facts = replace(set_after_the_drive(), drive_logs=())
    other = replace(facts.glass_sets[0], id="glass-2", operation_id="other")
    both = replace(facts, glass_sets=(*facts.glass_sets, other))
    assert found(both) == ()
    tied = replace(facts.glass_sets[0], evidence=("photo-set",))
    assert found(replace(facts, glass_sets=(tied, other))) != ()


def test_a_drive_too_early_by_the_recorded_times_is_no_contradiction():
    """Set 14:00, driven 14:40, 60 min asked: judged as driven too early, and no claim is doubted."""
    facts = set_after_the_drive()
    early = replace(drive_log("drive", "14:40", GOOD_DRIVE, ("session-1",)))
    own = session("session-1", "OV-FC-ROAD", "14:35", "15:00", bay=None)
    facts = replace(facts, drive_logs=(early,), photos=facts.photos[:-1], sessions=(own,))
    assert found(facts) == ()


# ------------------------------------------------------------------ two time zones, and the way between them

TOLLGATE = Place(
    code="TG",
    name="Tollgate",
    tz="America/Denver",
    lat=42.8,
    lon=-103.1,
    photo_radius_m=250.0,
    offsets=(OffsetFrom(at=datetime(2026, 3, 8, 9, tzinfo=UTC), minutes=-360),),
)
LOW_MILL = (43.42, -96.91)


def in_two_zones(scanned: datetime = datetime(2026, 7, 14, 22, 25, tzinfo=UTC)) -> JobFacts:
    """Road session at Tollgate until 16:40 (22:40 UTC); scan photographed at Low Mill 17:25 (22:25 UTC)."""
    ended_at = datetime(2026, 7, 14, 22, 40, tzinfo=UTC)
    own = replace(
        session("s", "OV-FC-ROAD", "08:00", "08:30"),
        started=Moment.exact(ended_at - timedelta(minutes=40)),
        ended=Moment.exact(ended_at),
        received_at=ended_at,
        place=TOLLGATE,
    )
    screen = replace(
        photo("screen", ("instrument_display",), "08:00", lat=LOW_MILL[0], lon=LOW_MILL[1], number=4),
        captured=Moment.exact(scanned),
        received_at=scanned,
    )
    final = replace(
        scan("final", "final", "08:00", MODULES, "Z0AMK7N31T3000962"),
        ended=Moment.exact(scanned),
        received_at=scanned,
        evidence=("screen",),
    )
    return JobFacts(
        job_id="j",
        order_number="TG-1",
        organisation="Brackwater Repair Group",
        refusal_allowed=True,
        place=TOLLGATE,
        opened=Moment.exact(datetime(2026, 7, 14, 14, tzinfo=UTC)),
        vehicle=unsigned_job().vehicle,
        sessions=(own,),
        scans=(final,),
        photos=(screen,),
    )


def test_a_scan_507_km_away_a_quarter_of_an_hour_before_is_impossible_by_travel():
    facts = in_two_zones()
    away_m = distance_m(TOLLGATE.lat, TOLLGATE.lon, *LOW_MILL)
    assert round(away_m / 1000) == 507
    one = about(facts, "s", "final")
    # Reach of the session 50.25 km, of the photo 0.258 km; the sphere may be 0.6 percent too long.
    way_km = (SPHERE_SHARE * away_m - SESSION_REACH_M - 250.0 - 258.0) / 1000.0
    assert one.excess_s == pytest.approx(way_km / FASTEST_KPH * 3600.0 - 15 * 60.0, abs=0.001)
    assert "which take 209 min 19 s" in one.sentence
    assert "16:40:00 UTC-06:00 (22:40:00 UTC)" in one.sentence
    assert "Tollgate" in one.sentence


@pytest.mark.parametrize(
    "broken", [{"lat": float("nan")}, {"lon": float("inf")}, {"accuracy_m": float("nan")}]
)
def test_a_position_that_is_none_claims_no_way(broken):
    facts = in_two_zones()
    assert found(replace(facts, photos=(replace(facts.photos[0], **broken),))) == ()


@pytest.mark.parametrize(("hours", "is_possible"), [(3.4, False), (3.6, True), (-3.4, False), (-4.2, True)])
def test_with_time_enough_for_the_way_either_way_round_nothing_is_impossible(hours, is_possible):
    scanned = datetime(2026, 7, 14, 22, 40, tzinfo=UTC) + timedelta(hours=hours)
    assert (contradictions(in_two_zones(scanned), scanned + timedelta(days=1), Z) == ()) is is_possible


def test_the_time_line_prints_local_time_with_its_zone_and_utc():
    line = timeline(in_two_zones(), EVENING, Z)
    names = [(event.name, event.raw) for event in line.events]
    assert (
        "end of the session (OV-FC-ROAD, attempt 1)",
        "2026-07-14 16:40:00 UTC-06:00 (22:40:00 UTC)",
    ) in names
    assert ("end of the final scan", "2026-07-14 16:25:00 UTC-06:00 (22:25:00 UTC)") in names
    assert line.contradictions == found(in_two_zones())


# ------------------------------------------------------------------ the time line


def test_events_stand_in_order_with_raw_and_corrected_times_beside_each_other():
    """A scan device 54:20 to 55:20 slow shows 15:20: the scan was at 16:14:20 to 16:16:20, after 16:08:40."""
    reading = at("15:20")
    slow = Moment(
        low=reading + timedelta(minutes=54, seconds=20),
        high=reading + timedelta(minutes=56, seconds=20),
        reading=reading,
        clock="device:5ca9de01-0000-4000-8000-000000000000",
        resolution_s=60.0,
    )
    facts = replace(
        unsigned_job(),
        scans=(replace(scan("late", "final", "17:00", MODULES, "X"), ended=slow),),
        sessions=(session("s", "OV-FC-ROAD", "15:30", "16:08:40"),),
    )
    line = timeline(facts, EVENING, Z)
    events = {(event.record_id, event.what): event for event in line.events}
    late = events["late", "ended"]
    assert (late.low, late.high) == (at("16:14:20"), at("16:16:20"))
    assert late.raw == "2026-05-05 15:20:00 UTC-05:00 (20:20:00 UTC)"
    assert late.corrected == (
        "between 2026-05-05 16:14:20 UTC-05:00 (21:14:20 UTC) "
        "and 2026-05-05 16:16:20 UTC-05:00 (21:16:20 UTC)"
    )
    assert late.clock == "the clock of device 5ca9de01"
    assert not late.doubtful
    order = [(event.record_id, event.what) for event in line.events]
    assert order.index(("s", "ended")) < order.index(("late", "ended"))
    assert [event.low for event in line.events] == sorted(event.low for event in line.events)


def test_the_finished_job_contradicts_itself_nowhere():
    line = timeline(windshield_job(), EVENING, Z)
    assert line.contradictions == ()
    assert not any(event.doubtful for event in line.events)
    assert len(line.events) == len(recorded_events(windshield_job()))


def test_every_kind_of_event_has_a_name_in_plain_words():
    names = {event_words(event) for event in recorded_events(windshield_job())}
    assert "taking of the photo (evidence 1)" in names
    assert "setting of the glass" in names
    assert "end of the operation (glass.windshield.replaced)" in names
    assert "time of the key event of the session (OV-FC-ROAD, attempt 1)" in names
    assert "time of the reading (tire pressure)" in names
    assert not any("tyre" in name or "_" in name for name in names)


@pytest.mark.parametrize(
    ("when", "text"),
    [
        (datetime(2026, 5, 5, 13, 0, tzinfo=UTC), "2026-05-05 08:00:00 UTC-05:00 (13:00:00 UTC)"),
        (datetime(2026, 5, 6, 3, 0, tzinfo=UTC), "2026-05-05 22:00:00 UTC-05:00 (2026-05-06 03:00:00 UTC)"),
        (
            datetime(2026, 5, 5, 12, 59, 59, 500_000, tzinfo=UTC),
            "2026-05-05 08:00:00 UTC-05:00 (13:00:00 UTC)",
        ),
        # The hour that autumn repeats is told apart by its offset.
        (datetime(2026, 11, 1, 6, 30, tzinfo=UTC), "2026-11-01 01:30:00 UTC-05:00 (06:30:00 UTC)"),
        (datetime(2026, 11, 1, 7, 30, tzinfo=UTC), "2026-11-01 01:30:00 UTC-06:00 (07:30:00 UTC)"),
    ],
)
def test_a_time_is_written_with_zone_and_utc(when, text):
    assert local_and_utc(EASTMARCH, when) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (3970, "66 min 10 s"),
        (3969, "66 min 9 s"),
        (3600, "60 min"),
        (59, "59 s"),
        (0.5, "0.5 s"),
        (119.25, "119.25 s"),
        (120.25, "2 min"),
        (35999, "599 min 59 s"),
        (36000, "10 h 00 min"),
        (93900, "26 h 05 min"),
    ],
)
def test_how_long_in_words(seconds, text):
    assert duration(round(seconds * 1_000_000)) == text


# ------------------------------------------------------------------ other claims


def test_what_the_server_had_received_had_happened():
    facts = unsigned_job()
    late = replace(facts.lamp_records[-1], at=moment("11:30"), received_at=at("11:10"))
    facts = replace(facts, lamp_records=(*facts.lamp_records[:-1], late))
    one = about(facts, "lamps-delivery")
    assert one.excess_s == 1200.0
    assert "the server had received the time of the lamp record at 2026-05-05 11:10:00" in one.sentence


def test_a_record_that_only_tells_the_clock_is_not_put_in_doubt():
    """Two lamp records by one compared clock; the server had the second seven seconds before it happened."""

    def read(text, received):
        when = replace(moment(text, "device:tablet"), low=at(text), high=at(text))
        return replace(unsigned_job().lamp_records[0], id=text, at=when, received_at=at(received))

    both = (read("10:00", "10:01"), read("10:30:07", "10:30"))
    (one,) = found(replace(unsigned_job(), lamp_records=both))
    assert (one.records, one.excess_s) == (("10:30:07",), 7.0)


def test_a_slip_is_older_than_the_picture_it_is_seen_in():
    slip = SlipSeen(job_id="job-417", issued_at=at("10:00"), authentic=True)
    early = photo("early", ("plate",), "09:59:30", slip=slip, received_at=at("10:05"))
    one = about(with_records(unsigned_job(), photos=[early]), "early")
    assert one.excess_s == 30.0
    forged = replace(early, slip=replace(slip, authentic=False))
    assert found(with_records(unsigned_job(), photos=[forged])) == ()


def test_two_scans_by_one_device_lie_twenty_seconds_apart():
    facts = unsigned_job()
    for second, is_fine in (("11:05:20", True), ("11:05:19", False), ("11:05", True)):
        more = scan("again", "final", second, MODULES, facts.vehicle.vin)
        assert (found(with_records(facts, scans=[more])) == ()) is is_fine, second
    other = scan("again", "final", "11:05:19", MODULES, facts.vehicle.vin, device="SD-014")
    assert found(with_records(facts, scans=[other])) == ()


def test_a_session_that_ended_before_it_began_contradicts_itself():
    own = session("s", "OV-FC-ROAD", "10:52", "10:30", received_at=at("12:00"))
    one = about(replace(unsigned_job(), sessions=(own,), drive_logs=(), voltage_logs=()), "s")
    assert one.excess_s == 22 * 60.0
    assert "the end of the session (OV-FC-ROAD, attempt 1) did not come before the start of" in one.sentence


def test_a_session_that_ended_before_it_began_by_an_unknown_clock_contradicts_itself_too():
    """Both ends by one clock that nobody compared: no absolute time is in the cycle."""
    day = timedelta(days=1)

    def unknown(text):
        reading = at(text)
        return Moment(low=reading - day, high=reading + day, reading=reading, clock="device:tablet")

    own = replace(
        session("s", "OV-FC-ROAD", "10:52", "10:30"),
        started=unknown("10:52"),
        ended=unknown("10:30"),
        received_at=at("12:00"),
    )
    facts = replace(unsigned_job(), sessions=(own,), drive_logs=(), voltage_logs=())
    one = about(facts, "s")
    # 22 minutes less the drift that one clock may have in them, 0.132 s.
    assert one.excess_s == 22 * 60.0 - 0.132
    assert "the clock of device tablet showed 2026-05-05 10:52:00" in one.sentence


def test_a_clock_that_contradicts_itself_is_told_once_with_all_that_rests_on_it():
    def read(text, low, high):
        return Moment(low=at(low), high=at(high), reading=at(text), clock="device:tablet")

    texts = (("10:00", "10:00", "10:01"), ("10:10", "13:10", "13:11"), ("10:20", "08:00", "16:00"))
    lamps = [
        replace(unsigned_job().lamp_records[0], id=f"l{i}", at=read(*one), received_at=at("17:00"))
        for i, one in enumerate(texts)
    ]
    facts = replace(unsigned_job(), lamp_records=tuple(lamps))
    (one,) = found(facts)
    assert one.records == ("l0", "l1", "l2")
    # Ten minutes by the clock, 189 at least by the intervals: 179 min less 0.06 s of drift.
    assert one.excess_s == 179 * 60.0 - 0.06
    assert sum(event.doubtful for event in timeline(facts, EVENING, Z).events) == 3
