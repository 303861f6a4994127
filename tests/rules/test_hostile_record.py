"""A record bent in one place, as a hostile reader would bend it: what it no longer shows is not met."""

import math
from dataclasses import replace
from typing import Any

import pytest

from rules.assess import assess
from rules.checks.adhesive import ready_times
from rules.checks.movements import road_movements
from rules.checks.photos import Setting, photo_faults
from rules.checks.plan import STEPS_FOLLOWED, step_list_signed
from rules.checks.records import function_check
from rules.checks.voltage import voltage_log as judge_volts
from rules.departure import departure
from rules.editions import missing_foundations
from rules.facts import (
    Delivery,
    FunctionCheck,
    JobFacts,
    LogClock,
    Moment,
    SessionPart,
    StateChange,
    SubletTrip,
    TroubleCode,
    Waiver,
)
from rules.governing import governing_session
from rules.judging import RESULT_PROOF_ID, proofs_of
from rules.packs.model import PackSet
from rules.science.clocks import possibly_last
from rules.work_list import operations_list_closed
from tests.rules.builders import (
    SEDGE,
    at,
    check_context,
    ended,
    held,
    module,
    moment,
    scan,
    session,
    statement,
    voltage_log,
)
from tests.rules.measured import context, said
from tests.rules.packs_on_file import packs_on_file
from tests.rules.packs_on_file import procedure as packs_procedure
from tests.rules.packs_on_file import proof as packs_proof
from tests.rules.test_gate import corner_job, refusal
from tests.rules.weakening import LATE, changed, judged, lost, short_of_met, signed, signed_with
from tests.rules.windshield_job import MODULES, ROAD, climate, odometer, unsigned_job, windshield_job

JOB = unsigned_job()
UNPROVABLE = ("not_shown", ("order_unprovable",))


def open_proofs(facts: JobFacts, when: str = "11:50") -> dict[tuple[str, str], tuple[str, tuple[str, ...]]]:
    result = judged(facts, when)
    found = short_of_met(result)
    assert not found or result.disposition == "hold"
    return found


# ------------------------------------------------------------------ packs, list of operations


def test_a_pack_without_the_one_it_builds_on_releases_nothing() -> None:
    makers = PackSet(editions=tuple(item for item in packs_on_file().editions if item.makes))
    result = assess(makers, windshield_job(), as_of=at("11:50"))
    assert (result.verdict, result.disposition) == ("not_shown", "hold")
    unfounded = [item for item in result.requirements if item.procedure_id == "common-practice"]
    assert [(item.state, item.reasons) for item in unfounded] == [("cannot_tell", ("pack_no_coverage",))]
    assert "common-practice" in " ".join(result.held_because)


def test_a_pack_is_founded_by_the_edition_it_names_or_a_later_one() -> None:
    common, orrinvale = (
        next(item for item in packs_on_file().editions if item.pack == name)
        for name in ("common-practice", "orrinvale")
    )
    assert missing_foundations((common, orrinvale)) == ()
    assert missing_foundations((replace(common, edition=2), orrinvale)) == (
        (orrinvale, "common-practice", 3),
    )


def again(when: str) -> Any:
    return replace(
        JOB.operations[0], **held("operation-2", when), started=moment("09:00"), done=moment("09:05")
    )


def test_the_same_work_done_once_more_opens_a_closed_list() -> None:
    assert operations_list_closed(JOB)
    assert not operations_list_closed(replace(JOB, operations=(*JOB.operations, again("09:10"))))
    known = replace(JOB, operations=(*JOB.operations, again("08:49")))
    assert operations_list_closed(known)


@pytest.mark.parametrize(("how", "closed"), [("withdrawn", False), ("set_aside", False), ("corrected", True)])
def test_work_withdrawn_after_the_closing_opens_the_list(how: str, closed: bool) -> None:
    facts = replace(JOB, operations=(ended(JOB.operations[0], "11:00", how),), estimate_lines=())
    assert operations_list_closed(facts) is closed
    before = replace(JOB, operations=(ended(JOB.operations[0], "08:49", how),), estimate_lines=())
    assert operations_list_closed(before)


# ------------------------------------------------------------------ scans


def final_scan(modules: Any, **fields: Any) -> JobFacts:
    last = scan("scan-final", "final", "11:05", modules, SEDGE.vin, **fields)
    return signed(replace(JOB, scans=(*JOB.scans[:2], last)))


@pytest.mark.parametrize("place", [0, len(MODULES)])
def test_of_two_modules_with_one_name_the_silent_one_is_heard(place: int) -> None:
    silent = module("Brake", "brake", answered=False)
    facts = final_scan((*MODULES[:place], silent, *MODULES[place:]))
    assert open_proofs(facts)["CP-EVERY", "codes"] == ("not_shown", ("module_silent",))


def test_another_label_does_not_take_a_module_out_of_the_work() -> None:
    code = TroubleCode(code="C0031", ftb="23", state="present")
    steering = tuple(module(m.name, m.system, code) if m.system == "steering" else m for m in MODULES)
    renamed = tuple(module(m.name, "other", code) if m.system == "steering" else m for m in MODULES)
    before = scan("scan-before", "before_repair", "08:06", steering, SEDGE.vin)
    last = scan("scan-final", "final", "11:05", renamed, SEDGE.vin)
    facts = signed(replace(JOB, scans=(before, JOB.scans[1], last)))
    assert open_proofs(facts)["CP-EVERY", "codes"] == ("not_met", ("code_remaining",))


def test_a_stand_in_that_came_after_the_final_scan_compares_nothing() -> None:
    late = scan("scan-late", "before_calibration", "11:07", MODULES, SEDGE.vin)
    facts = signed(replace(JOB, scans=(late, JOB.scans[2])))
    assert "order_unprovable" in open_proofs(facts)["CP-EVERY", "codes"][1]


# ------------------------------------------------------------------ the session and its records


def test_a_road_statement_made_before_the_session_saw_nothing_of_it() -> None:
    early = statement("road", ROAD, "2026-05-04 10:00", sessions=("session-1",))
    facts = signed(replace(JOB, statements=(early,)))
    assert open_proofs(facts)["OV-FC-ROAD", "road"] == ("not_shown", ("missing",))


def test_a_denial_by_a_lost_clock_is_not_passed_over() -> None:
    denial = statement("denial", (), "10:53", denies=ROAD[1:2], received_at=at(LATE))
    facts = signed_with(JOB, statements=(denial,))
    assert open_proofs(facts)["OV-FC-ROAD", "road"] == ("not_met", ("says_otherwise",))
    vague = signed_with(JOB, statements=(replace(denial, at=lost(denial.at)),))
    assert open_proofs(vague)["OV-FC-ROAD", "road"] == UNPROVABLE


def test_a_low_log_by_a_lost_clock_is_not_passed_over() -> None:
    low = voltage_log("low", "10:35", "10:40", 11.0, (), received_at=at(LATE))
    assert open_proofs(signed_with(JOB, voltage_logs=(low,)))["OV-FC-ROAD", "volts"][0] == "not_met"
    adrift = LogClock(clock="device:lost", offset_low_s=-86400.0, offset_high_s=86400.0)
    vague = signed_with(JOB, voltage_logs=(replace(low, clock=adrift),))
    assert open_proofs(vague)["OV-FC-ROAD", "volts"] == UNPROVABLE
    named = signed_with(JOB, voltage_logs=(replace(low, clock=adrift, sessions=("another",)),))
    assert not open_proofs(named)


@pytest.mark.parametrize(("start", "end"), [("10:30", "10:30"), ("10:52", "10:30")])
def test_a_session_that_took_no_time_has_no_voltage(start: str, end: str) -> None:
    facts = signed(changed(JOB, ("sessions", "session-1"), started=moment(start), ended=moment(end)))
    assert open_proofs(facts)["OV-FC-ROAD", "volts"] == ("not_shown", ("gap_could_hide",))


def test_a_place_that_failed_counts_where_nobody_asked_for_it() -> None:
    facts = signed(changed(JOB, ("sessions", "session-1"), results=(("left", "failed"),)))
    assert open_proofs(facts)["OV-FC-ROAD", "done"] == ("not_met", ("session_failed",))


def two_parts(id_: str, attempt: int, start: str, *parts: tuple[Any, str, str, str], result: str) -> Any:
    made = tuple(
        SessionPart(part=part, started=moment(begin), ended=moment(end), result=how)
        for part, begin, end, how in parts
    )
    last = parts[-1][2] if parts else None
    return session(id_, "TWO", start, last, attempt=attempt, parts=made, result=result)


BOTH = (("still", "09:00", "09:20", "completed"), ("road", "09:40", "10:00", "completed"))


@pytest.mark.parametrize("result", ["", "failed"])
def test_a_later_attempt_that_names_no_part_is_not_passed_over(result: str) -> None:
    first = two_parts("one", 1, "09:00", *BOTH, result="completed")
    second = two_parts("two", 2, "10:30", result=result)
    facts = replace(JOB, sessions=(first, second))
    found = governing_session(facts, "TWO", "static_then_dynamic", ())
    assert (found.session.id if found.session else None, found.order_open) == ("two", True)
    only = governing_session(replace(JOB, sessions=(first,)), "TWO", "static_then_dynamic", ())
    assert (only.session.id if only.session else None, only.order_open) == ("one", False)


# ------------------------------------------------------------------ readings and logs


def test_a_tyre_read_by_no_instrument_has_no_uncertainty() -> None:
    readings = tuple(
        replace(item, instrument=None) if item.quantity == "tyre_pressure" else item for item in JOB.readings
    )
    found = open_proofs(signed(replace(JOB, readings=readings)))
    assert found["OV-FC-ROAD", "tyres"] == ("not_shown", ("uncertainty_unknown",))


@pytest.mark.parametrize(
    ("step", "verdict"), [(1.609344, None), (1.61, ("not_shown", ("instrument_not_capable",)))]
)
def test_a_display_of_coarser_steps_than_a_mile_agrees_with_any_drive(step: float, verdict: Any) -> None:
    readings = tuple(
        replace(item, resolution=step) if item.quantity == "odometer" else item for item in JOB.readings
    )
    assert open_proofs(signed(replace(JOB, readings=readings))).get(("OV-FC-ROAD", "odo")) == verdict


def test_kilometres_read_at_delivery_are_not_explained_by_the_delivery() -> None:
    facts = replace(
        JOB,
        drive_logs=(),
        readings=(odometer("in", 21007.0, "08:00"), odometer("out", 21040.0, "12:00")),
        delivery=Delivery(**held("delivered", "12:00"), at=moment("12:00")),
    )
    kinds = [item.kind for item in road_movements(facts, at("12:30"))]
    assert kinds == ["odometer", "delivery"]
    # What is read after the car left may well be its way home.
    later = replace(facts, readings=(facts.readings[0], odometer("out", 21040.0, "12:05")))
    assert [item.kind for item in road_movements(later, at("12:30"))] == ["delivery"]


@pytest.mark.parametrize("set_at", ["06:00", "08:00"])
def test_glass_set_before_the_work_began_is_ready_at_no_time(set_at: str) -> None:
    start = at("05:55").timestamp()
    log = climate(samples=tuple((start + 300 * i, 18.9, 52.0) for i in range(70)))
    facts = changed(replace(JOB, climate_logs=(log,)), ("glass_sets", "glass"), set_at=moment(set_at))
    assert open_proofs(signed(facts))["CP-BOND", "ready"] == ("not_shown", ("conflict",))
    band = ready_times(facts, at("11:50"), 1.645)
    assert band is not None
    assert not band.passed


def test_a_contradicted_setting_does_not_excuse_an_early_drive() -> None:
    start = at("05:55").timestamp()
    log = climate(samples=tuple((start + 300 * i, 18.9, 52.0) for i in range(70)))
    moved = StateChange(
        **held("moved", "08:30"), kind="vehicle_moved", at=moment("08:30"), by="x", on_road=True
    )
    facts = changed(replace(JOB, climate_logs=(log,)), ("glass_sets", "glass"), set_at=moment("08:10"))
    found = open_proofs(signed_with(facts, state_changes=(moved,)))
    assert found["CP-BOND", "ready"] == ("not_met", ("adhesive_early", "conflict"))


@pytest.mark.parametrize("u", [-1.0, math.nan, math.inf])
def test_an_uncertainty_that_cannot_be_is_none(u: float) -> None:
    facts = changed(JOB, ("voltage_logs", "volts"), u=u)
    assert said(judge_volts(context("OV-FC-ROAD", "volts", facts))) == ("not_shown", ("uncertainty_unknown",))


def test_numbers_that_are_none_do_not_pass() -> None:
    setting = Setting(facts=JOB, gate_at=at("11:50"), place=JOB.place)
    blurred = replace(JOB.photos[0], laplacian_variance=math.nan)
    clipped = replace(JOB.photos[0], clipped_share=math.nan)
    for photo in (blurred, clipped):
        assert [item.reason.code for item in photo_faults(setting, photo)] == ["unreadable"]


# ------------------------------------------------------------------ decisions


@pytest.mark.parametrize(("giver", "disposition"), [("mondry", "hold"), ("lveskel", "release_with_waiver")])
def test_the_installer_does_not_waive_proofs_of_his_own_glass(giver: str, disposition: str) -> None:
    people = tuple(
        replace(item, roles=(*item.roles, "quality_manager")) if item.login == "mondry" else item
        for item in JOB.people
    )
    waiver = Waiver(
        **held("waiver", "11:15"),
        procedure_id="CP-BOND",
        proof_id="part",
        granted_by=giver,
        role="quality_manager",
        at=moment("11:15"),
        reason="The mark was under the trim when the glass was photographed.",
        instead="The part number was read from the box.",
    )
    photos = tuple(item for item in JOB.photos if item.id != "photo-mark")
    facts = signed(replace(JOB, people=people, photos=photos, waivers=(waiver,)))
    assert judged(facts).disposition == disposition


@pytest.mark.parametrize(("received", "effect"), [("11:15", True), ("11:55", False), ("13:00", False)])
def test_a_refusal_handed_in_late_bears_no_earlier_date(received: str, effect: bool) -> None:
    """No release relied on what the server did not hold, whatever time is written on it."""
    paper = replace(refusal(), received_at=at(received))
    delivery = Delivery(**held("delivery", "12:30"), at=moment("12:30"))
    result = judged(replace(corner_job(paper), delivery=delivery), "14:00")
    assert [item.effect for item in result.decisions] == [effect]
    assert result.left_against_hold is not effect


@pytest.mark.parametrize(("carried_how", "left"), [("done_here", True), ("trailer", False)])
def test_work_done_here_by_others_hides_no_departure(carried_how: Any, left: bool) -> None:
    order = SubletTrip(
        **held("order", "08:05"),
        procedure_ids=("X",),
        to_org="Sallowfield",
        carried_how=carried_how,
        out_at=moment("11:45"),
        back_at=None,
    )
    moved = StateChange(
        **held("moved", "12:10"), kind="vehicle_moved", at=moment("12:10"), by="x", on_road=True
    )
    facts = replace(signed_with(JOB, sublet_trips=(order,)), state_changes=(moved,))
    assert (departure(facts) is not None) is left


# ------------------------------------------------------------------ the last of several


def checked(id_: str, shows: str, when: str) -> FunctionCheck:
    return FunctionCheck(
        **held(id_, LATE),
        session="s",
        function="lane departure warning",
        shows=shows,
        at=moment(when),
        by="itolvaar",
    )


@pytest.mark.parametrize(("second", "expected"), [
    ("ready", ("met", ())),
    ("not_working", ("not_met", ("says_otherwise",))),
])  # fmt: skip
def test_a_function_that_failed_by_a_lost_clock_is_not_ready(second: str, expected: Any) -> None:
    own = session("s", "OV-FC-STILL", "10:30", "10:52")
    first, last = checked("a", "ready", "11:00"), checked("b", second, "11:05")

    def outcome(*checks: FunctionCheck) -> tuple[str, tuple[str, ...]]:
        facts = replace(JOB, sessions=(own,), function_checks=checks)
        proof = packs_proof("OV-FC-STILL", "function")
        return said(function_check(check_context(facts, packs_procedure("OV-FC-STILL"), proof, own)))

    assert outcome(first, last) == expected
    vague = replace(last, at=lost(last.at))
    assert outcome(first, vague) == (("met", ()) if second == "ready" else UNPROVABLE)


def test_steps_denied_by_a_lost_clock_are_not_followed() -> None:
    signed_list = statement("yes", (STEPS_FOLLOWED,), "11:00", procedure_id="CP-LOOKUP")
    denied = statement("no", (), "11:05", denies=(STEPS_FOLLOWED,), procedure_id="CP-LOOKUP")

    def outcome(*lists: Any) -> tuple[str, tuple[str, ...]]:
        facts = replace(JOB, statements=lists)
        proof = packs_proof("CP-LOOKUP", "followed")
        return said(step_list_signed(check_context(facts, packs_procedure("CP-LOOKUP"), proof, None)))

    assert outcome(signed_list) == ("met", ())
    assert outcome(signed_list, denied) == ("not_met", ("says_otherwise",))
    assert outcome(signed_list, replace(denied, at=lost(denied.at))) == UNPROVABLE


@pytest.mark.parametrize(("result", "asked"), [("failed", True), ("abandoned", True), ("completed", False)])
def test_two_parts_that_went_well_do_not_mend_a_session_that_failed(result: str, asked: bool) -> None:
    procedure = packs_procedure("OV-FC-STILL-THEN-ROAD")
    own = two_parts("one", 1, "09:00", *BOTH, result=result)
    current = check_context(JOB, procedure, procedure.proofs[0], own).current
    found = [item.check for item in proofs_of(current, {procedure.id: current})]
    assert (RESULT_PROOF_ID in found) is asked


def test_what_may_be_the_last_of_several() -> None:
    first, second = moment("10:00"), moment("10:05")
    vague = lost(moment("09:00"))

    def last(*moments: Moment) -> tuple[Moment, ...]:
        return possibly_last(moments, lambda item: item)

    assert last() == ()
    assert last(first, second) == (second,)
    assert last(second, first) == (second,)
    assert last(first, vague, second) == (vague, second)
    same = moment("10:05")
    both = (("a", second), ("b", same))
    assert possibly_last(both, lambda item: item[1]) == both
