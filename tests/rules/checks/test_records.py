"""Plain records: present and agreeing is met, contradicting is not met, absent is not shown."""

from dataclasses import replace

import pytest

from rules.checks.records import (
    document,
    function_check,
    ignition_unbroken,
    statement,
    tool_result,
)
from rules.checks.target_identity import target_identity
from rules.facts import FunctionCheck, KeyEvent, SessionPart, StateChange, TargetIdentity
from tests.rules import builders
from tests.rules.builders import check_context, held, loose, moment, photo, session
from tests.rules.packs_on_file import procedure, proof
from tests.rules.windshield_job import ROAD, unsigned_job

MET = ("met", ())
MISSING = ("not_shown", ("missing",))
STALE = ("not_shown", ("evidence_stale",))
DENIED = ("not_met", ("says_otherwise",))
UNPROVABLE = ("not_shown", ("order_unprovable",))


def judge(check, facts, procedure_id, proof_id, own):
    context = check_context(facts, procedure(procedure_id), proof(procedure_id, proof_id), own)
    outcome = check(context)
    return outcome.verdict, outcome.reasons


def still(proof_id, check, own=None, **facts):
    """A proof of the Corran's standing camera session, 10:30 to 11:00 in bay EM-B2."""
    own = own or session("s", "OV-FC-STILL", "10:30", "11:00")
    job = replace(unsigned_job(), sessions=(own,), statements=(), photos=(), drive_logs=(), voltage_logs=())
    return judge(check, replace(job, **facts), "OV-FC-STILL", proof_id, own)


LOAD = proof("OV-FC-STILL", "load").arguments["says"]
SPACE = proof("OV-FC-STILL", "space").arguments["says"]
CARGO = photo("cargo", ("cargo_area",), "10:10")


def said(says, when="10:10", id_="st", **fields):
    return builders.statement(id_, says, when, **fields)


@pytest.mark.parametrize(
    ("statements", "photos", "expected"),
    [
        ((said(LOAD),), (CARGO,), MET),
        ((said(LOAD[:2], id_="a"), said(LOAD[2:], id_="b")), (CARGO,), MET),
        ((said(LOAD[1:]),), (CARGO,), MISSING),
        ((said(LOAD, denies=LOAD[:1]),), (CARGO,), DENIED),
        ((said(LOAD),), (), MISSING),
        ((said(LOAD, "10:31"),), (CARGO,), STALE),
        ((said(LOAD, "2026-05-04 10:10"),), (CARGO,), STALE),
        ((said(LOAD),), (photo("cargo", ("cargo_area",), "10:31"),), STALE),
        ((said(LOAD),), (replace(CARGO, laplacian_variance=1.0),), ("not_shown", ("unreadable",))),
        ((said(LOAD, procedure_id="OV-FR-STILL"),), (CARGO,), MISSING),
    ],
)
def test_statements_before_the_session_with_their_photo(statements, photos, expected):
    assert still("load", statement, statements=statements, photos=photos) == expected


def test_a_statement_about_the_bay_serves_that_bay_only():
    wide = photo("wide", ("wide_bay",), "10:10")
    for bay, expected in [("EM-B2", MET), ("EM-B1", STALE), (None, STALE)]:
        found = still("space", statement, statements=(said(SPACE, bay=bay),), photos=(wide,))
        assert found == expected


def test_a_moved_car_spoils_the_straight_ahead_statement_and_its_photo():
    says = proof("OV-FC-STILL", "straight").arguments["says"]
    wheel = photo("wheel", ("steering_wheel",), "10:10")
    move = StateChange(**held("m", "10:20"), kind="vehicle_moved", at=moment("10:20"), by="x")
    assert still("straight", statement, statements=(said(says),), photos=(wheel,)) == MET
    found = still("straight", statement, statements=(said(says),), photos=(wheel,), state_changes=(move,))
    assert found == STALE


UNMOVED = ("nothing_moved_from_set_up_to_session_end",)


@pytest.mark.parametrize(
    ("item", "expected"),
    [
        (said(UNMOVED, "11:00"), MET),
        (said(UNMOVED, "11:05", sessions=("s",)), MET),
        (said(UNMOVED, "10:59:59"), MISSING),
        (said(UNMOVED, "11:05", sessions=("other",)), MISSING),
        (said((), "11:05", denies=UNMOVED), DENIED),
        (replace(said(UNMOVED, sessions=("s",)), at=loose("11:00", 30.0)), UNPROVABLE),
    ],
)
def test_a_statement_after_the_session_is_made_after_its_end(item, expected):
    assert still("unmoved", statement, statements=(item,)) == expected


def test_the_statement_about_the_road_belongs_to_its_session():
    facts = unsigned_job()
    own = facts.sessions[0]
    for item, expected in [
        (said(ROAD, "10:53"), MET),
        (said(ROAD, "10:29"), MISSING),
        (said(ROAD[:3], "10:53", denies=ROAD[3:]), DENIED),
    ]:
        changed = replace(facts, statements=(item,))
        assert judge(statement, changed, "OV-FC-ROAD", "road", own) == expected


# ------------------------------------------------------------------ results


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({}, MET),
        ({"result": "failed"}, ("not_met", ("session_failed",))),
        ({"result": "abandoned"}, ("not_met", ("session_failed",))),
        ({"result": "partly"}, DENIED),
        ({"result": ""}, MISSING),
        ({"ended": None}, MISSING),
    ],
)
def test_the_result_of_the_device(fields, expected):
    own = replace(session("s", "OV-FC-STILL", "10:30", "11:00"), **fields)
    assert still("done", tool_result, own) == expected


@pytest.mark.parametrize(
    ("results", "expected"),
    [
        ((("left", "completed"), ("right", "completed")), MET),
        ((("left", "completed"),), MISSING),
        ((("left", "completed"), ("right", "failed")), ("not_met", ("session_failed",))),
    ],
)
def test_each_place_has_its_own_result(results, expected):
    own = session("s", "OV-RC-STILL", "10:30", "11:00", results=results)
    assert (
        judge(tool_result, replace(unsigned_job(), sessions=(own,)), "OV-RC-STILL", "done", own) == expected
    )


@pytest.mark.parametrize(
    ("proof_id", "still_result", "road_result", "expected"),
    [
        ("still_done", "completed", "failed", MET),
        ("road_done", "completed", "failed", ("not_met", ("session_failed",))),
        ("road_done", "failed", "completed", MET),
        ("still_done", "completed", None, MET),
        ("road_done", "completed", None, MISSING),
    ],
)
def test_each_part_has_its_own_result(proof_id, still_result, road_result, expected):
    parts = [SessionPart(part="still", started=moment("10:30"), ended=moment("10:50"), result=still_result)]
    if road_result is not None:
        parts.append(
            SessionPart(part="road", started=moment("11:00"), ended=moment("11:30"), result=road_result)
        )
    name = "OV-FC-STILL-THEN-ROAD"
    own = session("s", name, "10:30", "11:30", parts=tuple(parts))
    assert judge(tool_result, replace(unsigned_job(), sessions=(own,)), name, proof_id, own) == expected


def function(shows, when="11:00", **fields):
    base = {
        **held(f"f-{shows}-{when}", when),
        "session": "s",
        "function": "Lane Departure Warning",
        "shows": shows,
        "at": moment(when),
        "by": "itolvaar",
    }
    return FunctionCheck(**{**base, **fields})


@pytest.mark.parametrize(
    ("checks", "expected"),
    [
        ((function("ready"),), MET),
        ((function("ready", "10:59"),), MISSING),
        ((function("not_working"),), DENIED),
        ((function("reacts"),), MISSING),
        ((function("ready", session="other"),), MISSING),
        ((function("ready", function="blind spot warning"),), MISSING),
        ((function("not_working"), function("ready", "11:05")), MET),
        ((function("ready"), function("not_working", "11:05")), DENIED),
    ],
)
def test_the_function_is_checked_after_the_session(checks, expected):
    assert still("function", function_check, function_checks=checks) == expected


def test_a_function_is_checked_at_each_place():
    own = session("s", "OV-RC-STILL", "10:30", "11:00")
    left = function("reacts", function="blind spot warning", place="left")
    right = replace(left, id="r", place="right")
    for checks, expected in [((left, right), MET), ((left,), MISSING)]:
        facts = replace(unsigned_job(), sessions=(own,), function_checks=checks)
        assert judge(function_check, facts, "OV-RC-STILL", "function", own) == expected


# ------------------------------------------------------------------ key


def key(*events, end="10:52"):
    own = session(
        "session-1",
        "OV-FC-ROAD",
        "10:30",
        end,
        key_events=tuple(
            KeyEvent(at=at if not isinstance(at, str) else moment(at), state=state) for at, state in events
        ),
    )
    facts = replace(unsigned_job(), sessions=(own,), voltage_logs=())
    return judge(ignition_unbroken, facts, "OV-FC-ROAD", "key", own)


CYCLED = ("not_met", ("ignition_cycled",))


@pytest.mark.parametrize(
    ("events", "expected"),
    [
        ((("10:28", "on"),), MET),
        ((("10:30", "on"), ("10:52:01", "off")), MET),
        ((("10:28", "on"), ("10:52", "off")), CYCLED),  # both ends belong to the session
        ((("10:28", "on"), ("10:40", "off"), ("10:41", "on")), CYCLED),
        ((("10:28", "on"), ("10:40", "crank")), MET),
        ((("10:20", "on"), ("10:29", "off")), CYCLED),  # off when it began
        ((("10:31", "on"),), MISSING),
        ((), MISSING),
        ((("10:28", "on"), (loose("10:53", 120.0), "off")), UNPROVABLE),
    ],
)
def test_the_key_stays_on_from_start_to_end(events, expected):
    assert key(*events) == expected


def test_a_session_without_end_shows_nothing_about_the_key():
    assert key(("10:28", "on"), end=None) == MISSING


def test_a_key_off_in_the_voltage_log_counts_too():
    facts = unsigned_job()
    log = facts.voltage_logs[0]
    off = replace(log, events=((builders.at("10:40").timestamp(), "key_off"),))
    own = facts.sessions[0]
    for logs, expected in [((log,), MET), ((off,), CYCLED)]:
        assert (
            judge(ignition_unbroken, replace(facts, voltage_logs=logs), "OV-FC-ROAD", "key", own) == expected
        )


# ------------------------------------------------------------------ target and documents


def target(when="10:10", **fields):
    base = {
        **held("t", when),
        "number_read": "OV-TB-07",
        "right_way_up": True,
        "clean": True,
        "at": moment(when),
        "by": "itolvaar",
    }
    return TargetIdentity(**{**base, **fields})


@pytest.mark.parametrize(
    ("item", "expected"),
    [
        (target(), MET),
        (target(number_read=" ov-tb-07"), MET),
        (target(number_read="OV-TB-09"), DENIED),
        (target(right_way_up=False), DENIED),
        (target(clean=False), DENIED),
        (target("10:40"), STALE),
        (target(procedure_id="OV-FR-STILL"), MISSING),
    ],
)
def test_the_target_is_the_one_named(item, expected):
    assert still("board", target_identity, target_identities=(item,)) == expected


def test_documents_of_the_glass_are_filled_in():
    facts = unsigned_job()
    for changed, expected in [
        (facts, MET),
        (replace(facts, glass_sets=()), MISSING),
        (replace(facts, glass_sets=(replace(facts.glass_sets[0], glass_part_number=" "),)), MISSING),
        (replace(facts, photos=tuple(p for p in facts.photos if p.id != "photo-mark")), MISSING),
    ]:
        assert judge(document, changed, "CP-BOND", "part", None) == expected
