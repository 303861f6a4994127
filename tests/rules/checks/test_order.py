"""Order of events, time between events, and what must be completed first."""

from dataclasses import replace

import pytest

from rules.checks.event_times import event_time
from rules.checks.order import in_order, needs_order, order_proof, within
from rules.facts import SessionPart
from rules.packs.model import Citation, Condition, Procedure, Proof, Source, Trigger
from rules.quantities import parse_limit
from rules.verdict import Outcome
from tests.rules.builders import (
    SEDGE,
    at,
    check_context,
    ended,
    loose,
    moment,
    scan,
    session,
    with_records,
)
from tests.rules.packs_on_file import procedure
from tests.rules.windshield_job import MODULES, sign_off, unsigned_job, windshield_job

CITE = Citation(source=Source(id="CP", kind="common_practice"))


def a_proof(proof_id="order", check="in_order", **arguments):
    return Proof(id=proof_id, check=check, arguments=arguments, waivable=False, waive_role=None, cite=CITE)


def context_of(facts, proof, *, procedure_id="OV-FC-ROAD", **fields):
    text = procedure(procedure_id)
    own = facts.sessions[0] if facts.sessions else None
    context = check_context(facts, text, proof, own, **fields)
    common = replace(context.current, procedure=procedure("CP-EVERY"), session=None)
    bond = replace(common, procedure=procedure("CP-BOND"))
    required = {"CP-EVERY": common, "CP-BOND": bond, **context.required}
    return replace(context, required=required)


def judged(facts, *events, **fields):
    outcome = in_order(context_of(facts, a_proof(events=events), **fields))
    return outcome.verdict, outcome.reasons


COMMON = ("before_scan", "first_operation", "repair_closed", "final_scan", "final_signature", "release")
ROAD = (
    "before_scan",
    "adhesive_ready",
    "session_start",
    "drive_start",
    "drive_end",
    "session_end",
    "final_scan",
)


def test_the_finished_job_is_in_order():
    assert judged(windshield_job(), *COMMON) == ("met", ())
    assert judged(windshield_job(), *ROAD) == ("met", ())


@pytest.mark.parametrize(
    ("a", "b", "expected"),
    [
        ("08:15", "08:15", ("met", ())),
        ("08:15:00", "08:14:59", ("not_met", ("order_broken",))),
    ],
)
def test_the_same_instant_is_in_order(a, b, expected):
    """The scan before repair at ``a`` and the first operation at ``b``."""
    facts = unsigned_job()
    first = replace(facts.scans[0], ended=moment(a))
    work = replace(facts.operations[0], started=moment(b))
    facts = replace(facts, scans=(first,), operations=(work,))
    assert judged(facts, "before_scan", "first_operation") == expected


def test_what_clocks_leave_open_is_unprovable():
    facts = unsigned_job()
    blurred = replace(facts.scans[0], ended=loose("08:06", 1800.0))
    facts = replace(facts, scans=(blurred, *facts.scans[1:]))
    assert judged(facts, "before_scan", "first_operation") == ("not_shown", ("order_unprovable",))


def test_a_broken_order_hides_behind_no_missing_event():
    """The chain closes over a missing event, so the wrong order of its neighbours is still seen."""
    facts = unsigned_job()
    facts = replace(facts, scans=(replace(facts.scans[0], ended=moment("12:00")), *facts.scans[1:]))
    verdict, reasons = judged(facts, "before_scan", "session_start", "session_end")
    assert (verdict, reasons) == ("not_met", ("order_broken",))
    open_end = replace(facts, sessions=(replace(facts.sessions[0], ended=None),))
    verdict, reasons = judged(open_end, "before_scan", "session_end", "drive_start")
    assert (verdict, reasons) == ("not_met", ("order_broken", "missing"))


def events(facts, **fields):
    context = context_of(facts, a_proof(events=()), **fields)

    def find(name):
        found = event_time(context, name)
        return "left out" if found.left_out else "missing" if found.moment is None else found.moment.reading

    return find


def test_each_event_is_the_time_it_names():
    find = events(windshield_job())
    expected = {
        "before_scan": "08:06",
        "first_operation": "08:15",
        "repair_closed": "08:40",
        "tyres": "09:30",
        "session_start": "10:30",
        "session_end": "10:52",
        "drive_start": "10:34",
        "drive_end": "10:49:43",
        "final_scan": "11:05",
        "final_signature": "11:40",
        "release": "11:50",
        "any_road_drive": "10:34",
        "adhesive_ready": "10:10",
    }
    for name, when in expected.items():
        assert find(name) == at(when), name
    assert find("delivery") == "left out"
    assert find("height") == "left out"  # this procedure reads no heights
    assert find("still_start") == "missing"
    assert find("no_such_event") == "missing"


def test_adhesive_ready_reaches_from_the_hopeful_to_the_cautious_time():
    ready = event_time(context_of(windshield_job(), a_proof(events=())), "adhesive_ready").moment
    assert ready is not None
    assert (ready.low, ready.high) == (at("09:40"), at("10:10"))


def test_without_glass_nothing_waits_for_an_adhesive():
    context = context_of(windshield_job(), a_proof(events=()))
    required = {key: value for key, value in context.required.items() if key != "CP-BOND"}
    assert event_time(replace(context, required=required), "adhesive_ready").left_out


def test_an_operation_on_the_list_that_is_not_done_leaves_the_repair_open():
    facts = unsigned_job()
    planned = replace(facts.estimate_lines[0], id="line-2", line_no=2, operations=("hood.replaced",))
    assert events(with_records(facts, estimate_lines=[planned]))("repair_closed") == "missing"
    nothing = replace(facts, operations=(), estimate_lines=())
    assert events(nothing)("repair_closed") == "left out"
    assert events(nothing)("first_operation") == "left out"


def test_a_waived_scan_is_left_out_and_a_missing_one_is_missing():
    facts = replace(unsigned_job(), scans=unsigned_job().scans[1:])
    assert events(facts)("before_scan") == "missing"
    assert events(facts, waived=(("CP-EVERY", "before"),))("before_scan") == "left out"
    assert events(facts, waived=(("CP-EVERY", "final"),))("before_scan") == "missing"


def test_a_scan_of_another_car_or_one_set_aside_is_no_event():
    facts = unsigned_job()
    other = scan("x", "final", "11:30", MODULES, "Z0ACR4H24T1004217")
    assert events(with_records(facts, scans=[other]))("final_scan") == at("11:05")
    aside = ended(scan("x", "final", "11:30", MODULES, SEDGE.vin), "11:35")
    assert events(with_records(facts, scans=[aside]))("final_scan") == at("11:05")


def test_the_final_signature_is_the_later_of_two_or_the_technicians_where_the_second_is_waived():
    facts = unsigned_job()
    one = replace(facts, sign_offs=(sign_off("t", "technician", "itolvaar", "11:20", facts),))
    assert events(one)("final_signature") == "missing"
    assert events(one, waived=(("CP-EVERY", "second"),))("final_signature") == at("11:20")


def test_a_stale_release_counts_as_not_given():
    facts = windshield_job()
    late = replace(facts.statements[0], id="late", sha256="1" * 64, received_at=at("11:55"))
    assert events(with_records(facts, statements=[late]))("release") == "left out"


# ------------------------------------------------------------------ what all clocks together show


def unknown(when, clock="device:scan-tool"):
    """A reading of a clock that nobody compared: a day either way."""
    return loose(when, 86400.0, clock)


def test_two_scans_by_one_unknown_clock_are_in_order_and_by_two_are_not():
    facts = unsigned_job()
    first, last = (
        replace(facts.scans[0], ended=unknown("09:10")),
        replace(facts.scans[-1], ended=unknown("09:40")),
    )
    assert judged(replace(facts, scans=(first, last)), "before_scan", "final_scan") == ("met", ())
    other = replace(last, ended=unknown("09:40", "device:other"))
    expected = ("not_shown", ("order_unprovable",))
    assert judged(replace(facts, scans=(first, other)), "before_scan", "final_scan") == expected


def test_a_third_event_shows_the_order_of_two_unknown_clocks():
    """Scan before and start of work by one clock, end of work and final scan by another."""
    facts = unsigned_job()
    work = replace(
        facts.operations[0], started=unknown("08:15", "device:a"), done=unknown("03:00", "device:b")
    )
    scans = (
        replace(facts.scans[0], ended=unknown("08:06", "device:a")),
        replace(facts.scans[-1], ended=unknown("03:10", "device:b")),
    )
    facts = replace(facts, operations=(work,), scans=scans)
    assert judged(facts, "before_scan", "final_scan") == ("met", ())
    open_end = replace(facts, operations=(replace(work, done=None),))
    assert judged(open_end, "before_scan", "final_scan") == ("not_shown", ("order_unprovable",))


def test_a_clock_that_contradicts_itself_shows_neither_order_nor_disorder():
    facts = unsigned_job()

    def order(first, last):
        scans = (replace(facts.scans[0], ended=first), replace(facts.scans[-1], ended=last))
        return judged(replace(facts, scans=scans), "before_scan", "final_scan")

    def read(when, true):
        return replace(moment(true, "device:scan-tool"), reading=at(when))

    assert order(read("09:10", "09:10"), read("09:40", "09:40")) == ("met", ())
    assert order(read("09:10", "09:10"), read("09:40", "12:40")) == ("not_shown", ("order_unprovable",))
    assert order(read("09:40", "12:40"), read("09:10", "09:10")) == ("not_shown", ("order_unprovable",))


def test_what_the_proof_is_to_show_is_never_assumed():
    """The drive is not taken to start after the session: its clock alone would have to show it."""
    facts = unsigned_job()
    own = replace(facts.sessions[0], started=unknown("10:30"), ended=unknown("10:52"))
    facts = replace(facts, sessions=(own,))
    assert judged(facts, "session_start", "drive_start") == ("not_shown", ("order_unprovable",))


def test_the_records_of_the_events_are_named():
    outcome = in_order(context_of(windshield_job(), a_proof(events=("before_scan", "drive_start"))))
    assert outcome.evidence == ("scan-before", "drive-1")
    # Worked out, not recorded: nothing to name.
    assert in_order(context_of(windshield_job(), a_proof(events=("adhesive_ready",)))).evidence == ()


# ------------------------------------------------------------------ what must come first


def with_teaching(facts, *, taught=None, outcomes=None):
    """The straight-ahead position must be taught before the camera is aimed."""
    trigger = Trigger(
        id="T",
        plain="",
        when=Condition(kind="always"),
        calls_for="OV-SAS",
        by_model=(),
        before=("OV-FC-ROAD",),
        cite=CITE,
    )
    context = context_of(facts, order_proof(procedure("OV-FC-ROAD")))
    edition = replace(context.current.edition, triggers=(trigger,))
    sas = replace(context.current, procedure=procedure("OV-SAS"), edition=edition, session=taught)
    return replace(context, required={**context.required, "OV-SAS": sas}, outcomes=outcomes or {})


MET = {("OV-SAS", "done"): Outcome(verdict="met")}


@pytest.mark.parametrize(
    ("taught", "outcomes", "expected"),
    [
        (session("sas", "OV-SAS", "10:10", "10:20"), MET, ("met", ())),
        (session("sas", "OV-SAS", "10:20", "10:30"), MET, ("met", ())),
        (session("sas", "OV-SAS", "10:20", "10:30:01"), MET, ("not_met", ("order_broken",))),
        (None, MET, ("not_met", ("order_broken",))),
        (session("sas", "OV-SAS", "10:10", None), MET, ("not_met", ("order_broken",))),
        (
            session("sas", "OV-SAS", "10:10", "10:20"),
            {("OV-SAS", "done"): Outcome(verdict="not_met", reasons=("session_failed",))},
            ("not_met", ("order_broken",)),
        ),
        (
            session("sas", "OV-SAS", "10:10", "10:20"),
            {("OV-SAS", "angle"): Outcome(verdict="not_shown", reasons=("missing",))},
            ("not_shown", ("order_unprovable",)),
        ),
    ],
)
def test_what_must_come_first_is_completed_and_met(taught, outcomes, expected):
    outcome = in_order(with_teaching(windshield_job(), taught=taught, outcomes=outcomes))
    assert (outcome.verdict, outcome.reasons) == expected


def test_a_procedure_without_a_list_has_an_order_when_something_must_come_first():
    context = with_teaching(windshield_job())
    bare = replace(
        context.current, procedure=Procedure(id="OV-FC-ROAD", title="", kind="dynamic", cite=CITE, proofs=())
    )
    assert needs_order(bare, context.required)
    alone = {key: value for key, value in context.required.items() if key != "OV-SAS"}
    assert not needs_order(bare, alone)
    assert needs_order(replace(bare, order_open=True), alone)


def test_an_open_start_of_the_session_is_unprovable():
    context = context_of(windshield_job(), order_proof(procedure("OV-FC-ROAD")))
    context = replace(context, current=replace(context.current, order_open=True))
    outcome = in_order(context)
    assert (outcome.verdict, outcome.reasons) == ("not_shown", ("order_unprovable",))


# ------------------------------------------------------------------ time between two events


def two_hours(road_start, **part):
    facts = unsigned_job()
    still = SessionPart(part="still", started=moment("12:00"), ended=moment("12:30"), result="completed")
    road = SessionPart(part="road", started=road_start, ended=moment("16:00"), result="completed")
    own = session("s", "OV-FC-STILL-THEN-ROAD", "12:00", "16:00", parts=(replace(still, **part), road))
    facts = replace(facts, sessions=(own,), drive_logs=())
    proof = a_proof(
        "soon", "within", **{"from": "still_end", "to": "road_start"}, limit=parse_limit("at most 120 min")
    )
    outcome = within(check_context(facts, procedure("OV-FC-STILL-THEN-ROAD"), proof, own))
    return outcome.verdict, outcome.reasons


@pytest.mark.parametrize(
    ("start", "expected"),
    [
        (moment("14:30"), ("met", ())),
        (moment("14:30:01"), ("not_met", ("outside_limit",))),
        (moment("12:30"), ("met", ())),
        (moment("12:29:59"), ("not_met", ("order_broken",))),
        (loose("14:30", 1.0), ("not_shown", ("order_unprovable",))),
        (loose("12:30", 1.0), ("not_shown", ("order_unprovable",))),
        (loose("14:32", 1.0), ("not_met", ("outside_limit",))),
    ],
)
def test_within_two_hours_includes_both_limits(start, expected):
    assert two_hours(start) == expected


def test_within_needs_both_events():
    assert two_hours(moment("13:00"), ended=None) == ("not_shown", ("missing",))
