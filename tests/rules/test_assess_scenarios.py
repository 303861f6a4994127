"""Whole jobs of the invented world, judged against the packs on file: what must come out, to the second."""

from dataclasses import replace

import pytest

from rules.assess import assess
from rules.canonical import canonical_bytes, from_plain, to_plain
from rules.facts import KeyEvent
from rules.result import Assessment
from tests.rules.builders import (
    SEDGE,
    at,
    drive_log,
    ended,
    lamps,
    moment,
    scan,
    session,
    statement,
    voltage_log,
    with_records,
)
from tests.rules.packs_on_file import packs_on_file
from tests.rules.windshield_job import (
    GOOD_DRIVE,
    MODULES,
    ROAD,
    odometer,
    sign_off,
    tyres,
    unsigned_job,
    windshield_job,
)


def judge(facts, when):
    return assess(packs_on_file(), facts, as_of=at(when))


def finding(result, procedure_id, proof_id):
    return next(
        item for item in result.findings if (item.procedure_id, item.proof_id) == (procedure_id, proof_id)
    )


def numbers(item):
    return {number.name: number.value for number in item.outcome.numbers}


def short(result):
    """(procedure, proof): (verdict, reasons) of every finding that is not met."""
    return {
        (item.procedure_id, item.proof_id): (item.verdict, item.outcome.reasons)
        for item in result.findings
        if item.verdict != "met"
    }


# ------------------------------------------------------------------ road-aimed camera, all met


def test_the_finished_windshield_job_is_met_and_may_be_released():
    result = judge(windshield_job(), "11:50")
    assert short(result) == {}
    assert (result.verdict, result.disposition, result.statement) == ("met", "release", "required")
    assert result.held_because == ()
    assert not result.left_against_hold
    required = [item.procedure_id for item in result.procedures]
    assert required == ["CP-EVERY", "CP-BOND", "OV-FC-ROAD"]
    assert all(item.verdict == "met" for item in result.procedures)
    assert [(name, edition) for name, edition, _ in result.packs] == [
        ("common-practice", 3),
        ("orrinvale", 7),
    ]
    assert all(state.fresh for state in result.sign_offs)


def test_it_counts_719_seconds_in_three_runs():
    drive = finding(judge(windshield_job(), "11:50"), "OV-FC-ROAD", "drive")
    text = drive.outcome.sentence
    assert drive.verdict == "met"
    assert "719 s counted" in text
    assert "341 s, 233 s and 145 s" in text
    assert 719.0 in numbers(drive).values()
    assert 341.0 in numbers(drive).values()


def test_damp_air_of_52_percent_counts_as_the_drier_column_and_is_ready_at_ten_past_ten():
    result = judge(windshield_job(), "11:50")
    assert result.ready is not None
    assert result.ready.ready_cautious == at("10:10")
    assert result.ready.minutes == 90
    assert finding(result, "CP-BOND", "ready").verdict == "met"


def test_the_odometer_agrees_with_the_track():
    odo = finding(judge(windshield_job(), "11:50"), "OV-FC-ROAD", "odo")
    assert odo.verdict == "met"
    for bound in ("18.0 km", "20.0 km", "18.35 km", "19.49 km"):
        assert bound in odo.outcome.sentence


def test_same_facts_give_the_same_bytes_and_survive_being_stored():
    first, second = judge(windshield_job(), "11:50"), judge(windshield_job(), "11:50")
    assert canonical_bytes(to_plain(first)) == canonical_bytes(to_plain(second))
    assert from_plain(Assessment, to_plain(first)) == first


def test_only_what_the_server_held_at_the_gate_instant_counts():
    """Before the session nothing of it is there; the job is held and says what is missing."""
    result = judge(windshield_job(), "10:00")
    assert result.disposition == "hold"
    assert finding(result, "OV-FC-ROAD", "drive").outcome.reasons == ("missing",)
    assert finding(result, "CP-BOND", "ready").outcome.reasons == ("missing",)
    assert finding(result, "CP-EVERY", "sign").outcome.reasons == ("not_signed",)
    assert result.held_because


def test_a_late_file_does_not_change_what_an_earlier_instant_shows():
    late = replace(windshield_job().photos[1], id="late", received_at=at("12:30"))
    facts = with_records(windshield_job(), photos=[late])
    assert judge(facts, "11:50").findings == judge(windshield_job(), "11:50").findings


# ------------------------------------------------------------------ the reviewer signs own work


def signed_by_the_aimer_first():
    facts = unsigned_job()
    return replace(
        facts,
        sign_offs=(
            sign_off("sign-technician", "technician", "itolvaar", "16:00", facts),
            sign_off("sign-own", "quality_reviewer", "itolvaar", "16:02", facts),
            sign_off("sign-review", "quality_reviewer", "dpell", "16:40", facts),
        ),
    )


@pytest.mark.parametrize(
    ("when", "disposition", "second", "staff"),
    [
        ("16:02", "hold", ("not_met", ("same_person",)), ("not_shown", ("missing",))),
        ("16:39", "hold", ("not_met", ("same_person",)), ("not_shown", ("missing",))),
        ("16:40", "release", ("met", ()), ("met", ())),
    ],
)
def test_who_aimed_the_camera_cannot_review_it(when, disposition, second, staff):
    result = judge(signed_by_the_aimer_first(), when)
    for proof_id, expected in [("second", second), ("staff", staff)]:
        item = finding(result, "CP-EVERY", proof_id)
        assert (item.verdict, item.outcome.reasons) == expected
    assert result.disposition == disposition


def test_both_reviews_stay_on_record():
    result = judge(signed_by_the_aimer_first(), "16:40")
    assert [state.person for state in result.sign_offs] == ["itolvaar", "itolvaar", "dpell"]


# ------------------------------------------------------------------ the key turned off on the way

BROKEN_DRIVE = "to 40 22; hold 60; to 80 25; hold 400; to 0 27; hold 60; to 80 45; hold 420; to 0 27"
NEXT_DAY = "2026-05-06"


def first_attempt():
    """The drive of 18 min with the key off from 554 s to 569 s, while standing."""
    facts = unsigned_job()
    own = session(
        "session-1",
        "OV-FC-ROAD",
        "10:30",
        "10:55",
        bay=None,
        key_events=(
            KeyEvent(at=moment("10:28"), state="on"),
            KeyEvent(at=moment("10:43:14"), state="off"),
            KeyEvent(at=moment("10:43:29"), state="on"),
            KeyEvent(at=moment("10:57"), state="off"),
        ),
    )
    return replace(
        facts,
        sessions=(own,),
        drive_logs=(drive_log("drive-1", "10:34", BROKEN_DRIVE, ("session-1",)),),
        voltage_logs=(voltage_log("volts", "10:29", "10:56", 13.2, ("session-1",)),),
        readings=(
            odometer("odometer_in", 21007.0, "08:00"),
            odometer("odometer_after_drive", 21028.0, "10:56"),
            *tyres("tyres", "09:30"),
        ),
        lamp_records=(
            lamps("lamps-before", "10:25", lane_symbol="outline_only"),
            replace(lamps("lamps-after", "10:56", lane_symbol="filled"), session="session-1"),
        ),
        scans=facts.scans[:2],
        statements=(statement("road", ROAD, "10:56", sessions=("session-1",)),),
    )


def second_attempt():
    facts = first_attempt()
    day = NEXT_DAY
    again = session(
        "session-2",
        "OV-FC-ROAD",
        f"{day} 08:30",
        f"{day} 08:52",
        attempt=2,
        bay=None,
        key_events=(
            KeyEvent(at=moment(f"{day} 08:28"), state="on"),
            KeyEvent(at=moment(f"{day} 08:54"), state="off"),
        ),
    )
    unlit = dict.fromkeys(("driver_assistance", "airbag", "brake", "steering"), "unlit")
    facts = with_records(
        facts,
        sessions=[again],
        drive_logs=[drive_log("drive-2", f"{day} 08:34", GOOD_DRIVE, ("session-2",))],
        voltage_logs=[voltage_log("volts-2", f"{day} 08:29", f"{day} 08:53", 13.2, ("session-2",))],
        readings=[
            odometer("odometer_morning", 21028.0, f"{day} 08:05"),
            odometer("odometer_second", 21047.0, f"{day} 08:53"),
            *tyres("tyres-2", f"{day} 08:10"),
        ],
        scans=[
            scan("scan-aiming-2", "before_calibration", f"{day} 08:20", MODULES, SEDGE.vin),
            scan("scan-final", "final", f"{day} 09:05", MODULES, SEDGE.vin),
        ],
        lamp_records=[
            lamps("lamps-after-2", f"{day} 08:53", lane_symbol="filled"),
            lamps("lamps-delivery", f"{day} 09:10", **unlit),
        ],
        statements=[statement("road-2", ROAD, f"{day} 08:53", sessions=("session-2",))],
    )
    return replace(
        facts,
        sign_offs=(
            sign_off("sign-technician", "technician", "itolvaar", f"{day} 09:20", facts),
            sign_off("sign-review", "quality_reviewer", "dpell", f"{day} 09:40", facts),
        ),
    )


def test_a_key_turned_off_breaks_the_session_though_the_minutes_would_do():
    result = judge(first_attempt(), "11:30")
    key, drive = finding(result, "OV-FC-ROAD", "key"), finding(result, "OV-FC-ROAD", "drive")
    assert (key.verdict, key.outcome.reasons) == ("not_met", ("ignition_cycled",))
    assert drive.verdict == "met"
    assert 847.0 in numbers(drive).values()
    assert "414 s" in drive.outcome.sentence
    assert "433 s" in drive.outcome.sentence
    camera = next(item for item in result.procedures if item.procedure_id == "OV-FC-ROAD")
    assert (camera.verdict, camera.accepted, camera.governing_session) == ("not_met", False, "session-1")
    assert result.disposition == "hold"


def test_the_second_attempt_governs_and_the_first_stays_printed():
    result = judge(second_attempt(), f"{NEXT_DAY} 10:00")
    assert short(result) == {}
    assert (result.verdict, result.disposition) == ("met", "release")
    camera = next(item for item in result.procedures if item.procedure_id == "OV-FC-ROAD")
    assert (camera.governing_session, camera.accepted) == ("session-2", True)
    first, second = camera.attempts
    assert (first.session_id, first.governs, first.verdict) == ("session-1", False, "not_met")
    assert (second.session_id, second.governs, second.verdict) == ("session-2", True, "met")
    key = next(item for item in first.findings if item.proof_id == "key")
    assert key.outcome.reasons == ("ignition_cycled",)
    assert not any(item.counts for item in first.findings)


def test_the_second_attempt_needs_its_own_values():
    """Yesterday's tire pressures and scan serve no session of today."""
    facts = second_attempt()
    gone = {"tyres-2-front_left", "tyres-2-front_right", "tyres-2-rear_left", "tyres-2-rear_right"}
    facts = replace(
        facts,
        readings=tuple(item for item in facts.readings if item.id not in gone),
        scans=tuple(item for item in facts.scans if item.id != "scan-aiming-2"),
        sign_offs=(),
    )
    result = judge(facts, f"{NEXT_DAY} 10:00")
    for proof_id in ("tyres", "codes0"):
        item = finding(result, "OV-FC-ROAD", proof_id)
        assert (item.verdict, item.outcome.reasons) == ("not_shown", ("evidence_stale",)), proof_id


def test_a_record_set_aside_counts_for_nothing():
    facts = windshield_job()
    facts = replace(
        facts,
        scans=tuple(ended(item, "11:45") if item.id == "scan-final" else item for item in facts.scans),
    )
    result = judge(facts, "11:50")
    assert finding(result, "CP-EVERY", "final").outcome.reasons == ("missing",)
    assert finding(result, "CP-EVERY", "sign").outcome.reasons == ("sign_off_stale",)
    assert result.disposition == "hold"
