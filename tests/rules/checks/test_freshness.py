"""Which record serves a session part: age, what spoils it, place, order; and what is the session's own."""

from dataclasses import replace

import pytest

from rules.checks.freshness import of_session, part_window, serving
from rules.facts import OperationDone, SessionPart, StateChange, SubletTrip
from rules.packs.model import Citation, Procedure, Proof, Source
from tests.rules.builders import (
    at,
    check_context,
    drive_log,
    held,
    loose,
    moment,
    reading,
    session,
    statement,
)
from tests.rules.windshield_job import unsigned_job

CITE = Citation(source=Source(id="CP", kind="common_practice"))
FOUR_HOURS_S = 14400.0


def a_proof(check="tyre_pressures", **fields):
    base = {
        "id": "tyres",
        "check": check,
        "arguments": {},
        "waivable": False,
        "waive_role": None,
        "cite": CITE,
    }
    return Proof(**{**base, **fields})


def a_procedure(kind="static", *proofs):
    return Procedure(id="P", title="Aim", kind=kind, cite=CITE, proofs=tuple(proofs))


def bare_job(**fields):
    """A job opened at 07:55 with one session of procedure P, 16:50 to 17:10 in bay EM-B2."""
    own = session("s1", "P", "16:50", "17:10")
    job = replace(unsigned_job(), sessions=(own,), operations=(), drive_logs=(), readings=(), statements=())
    return replace(job, **fields)


def serve(job, proof, records, *, kind="static"):
    context = check_context(job, a_procedure(kind, proof), proof, job.sessions[0])
    record, reason = serving(
        context, records, lambda item: item.at, lambda item: getattr(item, "value", None)
    )
    return (None if record is None else record.id), (None if reason is None else reason.code)


def taken(when, id_="tyres", **fields):
    return reading(id_, "tyre_pressure", "front_left", 230.0, "kPa", when, **fields)


@pytest.mark.parametrize(
    ("when", "code"),
    [
        ("13:05", None),
        ("12:50", None),  # exactly four hours: the limit belongs to fresh
        ("12:49:59", "evidence_stale"),
        ("16:50", None),
        ("16:50:01", "evidence_stale"),  # only later ones exist
    ],
)
def test_four_hours_include_their_end(when, code):
    proof = a_proof(fresh_for_s=FOUR_HOURS_S)
    assert serve(bare_job(), proof, [taken(when)]) == ("tyres" if code is None else None, code)


def test_no_record_at_all_is_missing_and_a_set_aside_one_is_none():
    proof = a_proof(fresh_for_s=FOUR_HOURS_S)
    assert serve(bare_job(), proof, []) == (None, "missing")
    gone = replace(taken("13:05"), ended_at=at("14:00"), ended_how="set_aside")
    assert serve(bare_job(), proof, [gone]) == (None, "missing")


@pytest.mark.parametrize(("half_s", "code"), [(1.0, "evidence_stale"), (0.0, None)])
def test_a_bracket_that_straddles_the_limit_is_not_shown(half_s, code):
    item = replace(taken("12:50:00"), at=loose("12:50:00", half_s))
    _, found = serve(bare_job(), a_proof(fresh_for_s=FOUR_HOURS_S), [item])
    assert found == code


def test_the_last_one_before_the_start_must_serve():
    proof = a_proof(fresh_for_s=FOUR_HOURS_S)
    items = [taken("12:00", "old"), taken("13:05", "good"), taken("17:30", "later")]
    assert serve(bare_job(), proof, items) == ("good", None)
    assert serve(bare_job(), proof, [taken("12:00", "old"), taken("17:30", "later")]) == (
        None,
        "evidence_stale",
    )


def test_where_clocks_leave_the_last_one_open_none_serves():
    proof = a_proof(fresh_for_s=FOUR_HOURS_S)
    first = replace(taken("14:00", "first"), at=loose("14:00", 600, "device:one"))
    second = replace(taken("14:05", "second"), at=loose("14:05", 600, "device:two"))
    assert serve(bare_job(), proof, [first, second]) == (None, "evidence_stale")
    same_clock = replace(second, at=loose("14:05", 600, "device:one"))
    assert serve(bare_job(), proof, [first, same_clock]) == ("second", None)


@pytest.mark.parametrize(
    ("when", "kind", "code"),
    [
        ("15:00", "wheel_removed", "evidence_stale"),
        ("13:05", "wheel_removed", "evidence_stale"),  # the same instant: cannot be told apart
        ("13:04:59", "wheel_removed", None),
        ("17:10", "wheel_removed", "evidence_stale"),  # still within the part
        ("17:10:01", "wheel_removed", None),
        ("15:00", "load_changed", None),  # not named by the proof
    ],
)
def test_an_event_between_value_and_end_of_part_spoils(when, kind, code):
    event = StateChange(**held("event", when), kind=kind, at=moment(when), by="itolvaar")
    job = bare_job(state_changes=(event,))
    proof = a_proof(fresh_for_s=FOUR_HOURS_S, broken_by=("wheel_removed",))
    assert serve(job, proof, [taken("13:05")])[1] == code


def test_an_event_at_an_unknown_time_spoils():
    event = StateChange(**held("event", "18:00"), kind="wheel_removed", at=loose("19:00", 86400.0), by="x")
    job = bare_job(state_changes=(event,))
    proof = a_proof(fresh_for_s=FOUR_HOURS_S, broken_by=("wheel_removed",))
    assert serve(job, proof, [taken("13:05")])[1] == "evidence_stale"


@pytest.mark.parametrize(
    ("operation", "broken_by", "code"),
    [
        ("suspension.front.part_replaced", "wheel_removed", "evidence_stale"),
        ("suspension.front.part_replaced", "vehicle_lifted", "evidence_stale"),
        ("tyre.replaced", "wheel_removed", "evidence_stale"),
        ("battery.disconnected", "battery_cut", "evidence_stale"),
        ("alignment.rear_toe_adjusted", "alignment_change", "evidence_stale"),
        ("alignment.checked_only", "alignment_change", None),
        ("glass.windshield.replaced", "wheel_removed", None),
    ],
)
def test_an_operation_is_by_itself_the_change_its_name_says(operation, broken_by, code):
    done = OperationDone(
        **held("op", "15:30"), operation=operation, by="m", started=moment("12:00"), done=moment("15:30")
    )
    proof = a_proof(fresh_for_s=FOUR_HOURS_S, broken_by=(broken_by,))
    assert serve(bare_job(operations=(done,)), proof, [taken("13:05")])[1] == code


def test_an_operation_lasts_from_its_start_to_its_end():
    """Begun before the value and ended after it: the value was taken in the middle of the work."""
    proof = a_proof(fresh_for_s=FOUR_HOURS_S, broken_by=("wheel_removed",))
    for start, end, code in [
        ("12:00", "13:04", None),
        ("12:00", "13:30", "evidence_stale"),
        ("18:00", "18:30", None),
    ]:
        done = OperationDone(
            **held("op", end), operation="tyre.replaced", by="m", started=moment(start), done=moment(end)
        )
        assert serve(bare_job(operations=(done,)), proof, [taken("13:05")])[1] == code


@pytest.mark.parametrize(
    ("kind", "code"), [("suspension_work", "evidence_stale"), ("alignment_change", "evidence_stale")]
)
def test_work_on_the_geometry_spoils_after_the_part_too(kind, code):
    event = StateChange(**held("event", "19:00"), kind=kind, at=moment("19:00"), by="m")
    proof = a_proof(fresh_for_s=30 * 86400.0, broken_by=(kind,))
    assert serve(bare_job(state_changes=(event,)), proof, [taken("13:05")])[1] == code
    earlier = replace(event, at=moment("12:00"))
    assert serve(bare_job(state_changes=(earlier,)), proof, [taken("13:05")])[1] is None


def test_a_drive_and_a_trip_to_another_shop_move_the_car():
    proof = a_proof(fresh_for_s=FOUR_HOURS_S, broken_by=("vehicle_moved",))
    driven = bare_job(drive_logs=(drive_log("d", "14:00", "to 40 22; hold 95; to 0 27", ()),))
    assert serve(driven, proof, [taken("13:05")])[1] == "evidence_stale"
    for how, code in [("driven", "evidence_stale"), ("trailer", "evidence_stale"), ("done_here", None)]:
        trip = SubletTrip(
            **held("trip", "15:30"),
            procedure_ids=(),
            to_org="Sallowfield Mobile Aiming",
            carried_how=how,
            out_at=moment("14:00"),
            back_at=moment("15:00"),
        )
        assert serve(bare_job(sublet_trips=(trip,)), proof, [taken("13:05")])[1] == code


def test_without_fresh_for_the_local_day_counts():
    """00:30 and 23:30 lie on two UTC days and one local day, and the other way round the evening before."""
    proof = a_proof("statement")
    says = [statement("load", ("cargo_empty",), "00:30")]
    assert serve(bare_job(), proof, says) == ("load", None)
    before = [statement("load", ("cargo_empty",), "2026-05-04 23:30")]
    assert serve(bare_job(), proof, before) == (None, "evidence_stale")
    open_day = [replace(says[0], at=loose("00:30", 3600.0))]
    assert serve(bare_job(), proof, open_day) == (None, "evidence_stale")


def test_fresh_for_never_reaches_back_before_the_order_unless_the_pack_says_so():
    proof = a_proof(fresh_for_s=30 * 86400.0)
    old = [taken("2026-05-01 10:00")]
    assert serve(bare_job(), proof, old) == (None, "evidence_stale")
    assert serve(bare_job(), replace(proof, earlier_visit=True), old) == ("tyres", None)


def test_a_proof_of_the_bay_needs_its_own_bay():
    proof = a_proof("statement", group="standing_bay")
    here = statement("here", ("clear_zone_marked",), "16:00", bay="EM-B2")
    there = statement("there", ("clear_zone_marked",), "16:30", bay="EM-B1")
    assert serve(bare_job(), proof, [here, there]) == ("here", None)
    assert serve(bare_job(), proof, [there]) == (None, "evidence_stale")
    assert serve(bare_job(), replace(proof, group="standing_vehicle"), [here, there]) == ("there", None)


def two_part_job():
    both = session(
        "s1",
        "P",
        "16:00",
        "17:40",
        parts=(
            SessionPart(part="still", started=moment("16:00"), ended=moment("16:20"), result="completed"),
            SessionPart(part="road", started=moment("17:00"), ended=moment("17:40"), result="completed"),
        ),
    )
    return bare_job(sessions=(both,))


@pytest.mark.parametrize(
    ("fields", "start", "end"),
    [
        ({"check": "statement", "group": "standing_vehicle"}, "16:00", "16:20"),
        ({"check": "light_level", "group": "standing_bay"}, "16:00", "16:20"),
        ({"check": "voltage_log"}, "16:00", "16:20"),
        ({"check": "target_identity"}, "16:00", "16:20"),
        ({"check": "tool_result", "part": "still"}, "16:00", "16:20"),
        ({"check": "drive_log"}, "17:00", "17:40"),
        ({"check": "odometer_agrees"}, "17:00", "17:40"),
        ({"check": "function_check", "part": "road"}, "17:00", "17:40"),
        ({"check": "citation_given"}, "16:00", "17:40"),
    ],
)
def test_proofs_of_a_two_part_procedure_belong_to_their_part(fields, start, end):
    job = two_part_job()
    proof = a_proof(**fields)
    context = check_context(job, a_procedure("static_then_dynamic", proof), proof, job.sessions[0])
    window = part_window(context)
    assert window is not None
    assert (window.start, window.end) == (moment(start), moment(end))


def own_ids(job, proof, records, kind="static"):
    context = check_context(job, a_procedure(kind, proof), proof, job.sessions[0])
    return [item.id for item in of_session(context, records, lambda one: one.sessions, lambda one: one.at)]


def test_a_sessions_own_records_go_by_name_else_by_time():
    second = session("s2", "Q", "18:00", "18:20")
    job = bare_job(sessions=(bare_job().sessions[0], second))
    records = [
        statement("before", ("dry_road",), "16:49"),
        statement("named", ("dry_road",), "19:00", sessions=("s1", "s2")),
        statement("in_time", ("dry_road",), "17:59:59"),
        statement("next", ("dry_road",), "18:00"),
        statement("other", ("dry_road",), "17:00", sessions=("s2",)),
        replace(statement("open", ("dry_road",), "17:00"), at=loose("17:00", 3600.0)),
    ]
    assert own_ids(job, a_proof("statement"), records) == ["named", "in_time"]


def test_a_reused_part_brings_its_own_records():
    """Attempt 2 repeats only the road part, so the still part's records are those of attempt 1."""
    job = two_part_job()
    first = job.sessions[0]
    road = SessionPart(part="road", started=moment("19:00"), ended=moment("19:30"), result="completed")
    again = session("s2", "P", "19:00", "19:30", attempt=2, parts=(road,), reuses_part_of="s1")
    governing = replace(again, parts=(first.parts[0], road))
    job = replace(job, sessions=(first, again))
    records = [
        statement("still", ("dry_road",), "16:25", sessions=("s1",)),
        statement("old_road", ("dry_road",), "17:10", sessions=("s1",)),
        statement("road", ("dry_road",), "19:10", sessions=("s2",)),
    ]
    for part, expected in [("still", ["still"]), ("road", ["road"])]:
        proof = a_proof("statement", part=part)
        context = check_context(job, a_procedure("static_then_dynamic", proof), proof, governing)
        found = of_session(context, records, lambda one: one.sessions, lambda one: one.at)
        assert [item.id for item in found] == expected


def test_without_a_session_nothing_serves():
    job = bare_job()
    proof = a_proof()
    context = check_context(job, a_procedure("static", proof), proof, None)
    assert part_window(context) is None
    assert (
        serving(context, [taken("13:05")], lambda item: item.at, lambda item: getattr(item, "value", None))[0]
        is None
    )
    assert of_session(context, [], lambda one: (), lambda one: moment("13:05")) == ()
