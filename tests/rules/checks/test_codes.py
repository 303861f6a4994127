"""scan_present, no_codes and codes_compare: classes, scope, silent modules, order of the final scan."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest

from rules.checks.base import RequiredProcedure
from rules.checks.codes import no_codes, scan_present
from rules.checks.codes_compare import codes_compare, renamed
from rules.facts import Explanation, JobFacts, OperationDone, Scan, ScanModule, TroubleCode
from rules.verdict import Outcome
from tests.rules.builders import SEDGE, at, ended, held, loose, module, moment, scan, session
from tests.rules.measured import context, edition, numbers, required, said
from tests.rules.windshield_job import MODULES, windshield_job

MISSING = ("not_shown", ("missing",))
OTHER = "Z0TVK3E13T0007741"
CAMERA = TroubleCode(code="C1A45", ftb="54", state="present")
EXPLAINED = "The owner's trailer module reports it since the tow bar was unplugged for the work."


def code(text: str, state: str = "present", count: int | None = None) -> TroubleCode:
    name, _, ftb = text.partition("-")
    return TroubleCode(code=name, ftb=ftb or None, state=state, count=count)  # type: ignore[arg-type]


def modules(**codes: Iterable[TroubleCode]) -> tuple[ScanModule, ...]:
    """The car's modules, with codes by module name (underscores for blanks)."""
    by_name = {name.replace("_", " "): tuple(found) for name, found in codes.items()}
    return tuple(replace(item, codes=by_name.get(item.name, ())) for item in MODULES)


def scanned(stage: str, when: str, listed: tuple[ScanModule, ...] = MODULES, **fields: Any) -> Scan:
    return scan(f"scan-{stage}-{when}", stage, when, listed, SEDGE.vin, **fields)


def job(
    before: tuple[ScanModule, ...] | None = MODULES,
    final: tuple[ScanModule, ...] | None = MODULES,
    between: tuple[ScanModule, ...] = MODULES,
    **fields: Any,
) -> JobFacts:
    scans = [scanned("before_calibration", "10:20", between)]
    if before is not None:
        scans.insert(0, scanned("before_repair", "08:06", before))
    if final is not None:
        scans.append(scanned("final", "11:05", final))
    return replace(windshield_job(), **{"scans": tuple(scans), **fields})


def compared(facts: JobFacts, **fields: Any) -> Outcome:
    return codes_compare(context("CP-EVERY", "codes", facts, **fields))


# ------------------------------------------------------------------ scan_present


def present(facts: JobFacts, stage: str) -> tuple[str, tuple[str, ...]]:
    return said(scan_present(context("CP-EVERY", "before" if stage == "before_repair" else "final", facts)))


@pytest.mark.parametrize("stage", ["before_repair", "final"])
def test_scan_of_this_car_with_that_stage(stage: str) -> None:
    facts = windshield_job()
    own = next(item for item in facts.scans if item.stage == stage)
    others = tuple(item for item in facts.scans if item is not own)
    assert present(facts, stage) == ("met", ())
    assert present(replace(facts, scans=others), stage) == MISSING
    assert present(replace(facts, scans=(*others, ended(own, "11:10"))), stage) == MISSING
    foreign = replace(own, vin_per_module=(("Camera", OTHER), ("Brake", OTHER)))
    assert present(replace(facts, scans=(*others, foreign)), stage) == MISSING
    one_foreign_module = replace(own, vin_per_module=(("Camera", OTHER), ("Brake", SEDGE.vin)))
    assert present(replace(facts, scans=(*others, one_foreign_module)), stage) == ("met", ())
    nameless = replace(own, vin_per_module=())
    assert present(replace(facts, scans=(*others, nameless)), stage) == ("met", ())


@pytest.mark.parametrize(
    ("when", "expected"), [("10:51:59", MISSING), ("10:52", ("met", ())), ("08:39", MISSING)]
)
def test_a_final_scan_before_the_end_of_the_work_does_not_count(
    when: str, expected: tuple[str, tuple[str, ...]]
) -> None:
    facts = job(final=None)
    assert present(replace(facts, scans=(*facts.scans, scanned("final", when))), "final") == expected


def test_a_final_scan_that_the_clocks_leave_open_is_there_but_orders_nothing() -> None:
    facts = job(final=None)
    open_one = replace(scanned("final", "10:53"), ended=loose("10:53", 600))
    facts = replace(facts, scans=(*facts.scans, open_one))
    assert present(facts, "final") == ("met", ())
    assert said(compared(facts)) == ("not_shown", ("order_unprovable",))


# ------------------------------------------------------------------ no_codes


def bar(listed: tuple[ScanModule, ...], when: str = "10:20", **fields: Any) -> Outcome:
    facts = replace(windshield_job(), scans=(scanned("before_calibration", when, listed),))
    return no_codes(context("OV-FC-ROAD", "codes0", facts, **fields))


def test_nothing_bars_aiming() -> None:
    assert said(bar(MODULES)) == ("met", ())
    assert bar(MODULES).instruments == ("SD-011",)


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (code("C1A45-54"), ("met", ())),
        (code("c1a45:54"), ("met", ())),
        (code("C1A45"), ("not_met", ("code_remaining",))),
        (code("C1A45-76"), ("not_met", ("code_remaining",))),
        (code("C1A45-76", "intermittent"), ("not_met", ("code_remaining",))),
        (code("C1A45-76", "stored"), ("met", ())),
        (code("U3FFF-00"), ("not_met", ("code_remaining",))),
    ],
)
def test_only_what_says_not_aimed_yet_is_allowed(
    found: TroubleCode, expected: tuple[str, tuple[str, ...]]
) -> None:
    assert said(bar(modules(Camera=[found]))) == expected


def test_other_modules_do_not_bar_aiming() -> None:
    assert said(bar(modules(Body=[code("B2210-11")], Brake=[code("C0031-00")]))) == ("met", ())


def test_silent_or_unlisted_aimed_module_and_the_wrong_day() -> None:
    silent = tuple(replace(item, answered=item.name != "Camera") for item in MODULES)
    assert said(bar(silent)) == ("not_met", ("module_silent",))
    assert said(bar(MODULES[1:])) == MISSING
    assert said(bar(MODULES, "10:31")) == ("not_shown", ("evidence_stale",))
    assert said(bar(MODULES, "2026-05-04 10:20")) == ("not_shown", ("evidence_stale",))
    none = replace(windshield_job(), scans=())
    assert said(no_codes(context("OV-FC-ROAD", "codes0", none))) == MISSING


def test_aimed_sensor_is_that_of_the_procedure() -> None:
    found = bar(modules(Camera=[code("C1A45-76")]), arguments={"module": "aimed_sensor"})
    assert said(found) == ("not_met", ("code_remaining",))


def test_lost_communication_at_low_voltage_is_marked_doubtful() -> None:
    listed = modules(Camera=[code("U0100-87")])
    for volts, doubtful in ((11.4, True), (11.5, False), (None, False)):
        facts = replace(
            windshield_job(),
            scans=(scanned("before_calibration", "10:20", listed, supply_voltage_v=volts),),
        )
        outcome = no_codes(context("OV-FC-ROAD", "codes0", facts))
        assert outcome.verdict == "not_met"
        assert any("oubtful" in note for note in outcome.notes) is doubtful


# ------------------------------------------------------------------ codes_compare: codes


def test_nothing_found() -> None:
    assert said(compared(windshield_job())) == ("met", ())


def test_worked_example() -> None:
    body = code("B2210-11", "stored", 2)
    radar = module("Radar", "forward_camera", code("C1B02-78"))
    facts = job(
        before=(*modules(Camera=[CAMERA], Body=[body]), module("Radar", "forward_camera")),
        between=(*modules(Camera=[CAMERA]), module("Radar", "forward_camera")),
        final=(*modules(Body=[body]), radar),
    )
    outcome = compared(facts)
    assert said(outcome) == ("not_met", ("code_new",))
    found = numbers(outcome)
    assert (found["resolved"], found["history_only"], found["new"], found["remaining"]) == (1, 1, 1, 0)


STORED = code("C1A45-76", "stored", 3)


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        (None, "present", ("not_met", ("code_new",))),
        (None, "stored", ("not_met", ("code_new",))),
        ("present", "present", ("not_met", ("code_remaining",))),
        ("stored", "intermittent", ("not_met", ("code_remaining",))),
        ("present", "stored", ("met", ())),
        ("present", None, ("met", ())),
    ],
)
def test_in_scope(before: str | None, after: str | None, expected: tuple[str, tuple[str, ...]]) -> None:
    def listed(state: str | None) -> tuple[ScanModule, ...]:
        return modules(Camera=[] if state is None else [code("C1A45-76", state)])

    assert said(compared(job(before=listed(before), final=listed(after)))) == expected


def test_a_stored_code_whose_count_rose_remains() -> None:
    rose = replace(STORED, count=4)
    assert said(compared(job(modules(Camera=[STORED]), modules(Camera=[rose])))) == (
        "not_met",
        ("code_remaining",),
    )
    assert said(compared(job(modules(Camera=[STORED]), modules(Camera=[STORED])))) == ("met", ())


def test_another_failure_type_is_another_fault() -> None:
    facts = job(modules(Camera=[code("C1A45-54")]), modules(Camera=[code("C1A45-76")]))
    assert said(compared(facts)) == ("not_met", ("code_new",))


@pytest.mark.parametrize(
    ("name", "state", "expected"),
    [
        ("Rear camera", "present", ("not_shown", ("code_new",))),
        ("Rear camera", "intermittent", ("not_shown", ("code_new",))),
        ("Rear camera", "stored", ("met", ())),
        ("Body", "present", ("not_shown", ("code_new",))),
        ("Restraint", "present", ("not_met", ("code_new",))),
        ("Brake", "present", ("not_met", ("code_new",))),
        ("Restraint", "stored", ("met", ())),
        ("Brake", "stored", ("met", ())),
    ],
)
def test_new_outside_the_work(name: str, state: str, expected: tuple[str, tuple[str, ...]]) -> None:
    final = modules(**{name.replace(" ", "_"): [code("B2210-11", state)]})
    assert said(compared(job(final=final))) == expected


def test_modules_the_aimed_sensor_depends_on_are_in_scope() -> None:
    # The pack lets the camera depend on the steering module.
    final = modules(Steering=[code("C0031-00", "stored")])
    assert said(compared(job(final=final))) == ("not_met", ("code_new",))


@pytest.mark.parametrize(
    ("operation", "in_scope"),
    [
        ("module.body.replaced", True),
        ("door.left_front.refinished", False),
        ("module.any.reprogrammed", False),
    ],
)
def test_modules_that_were_replaced_or_unplugged_are_in_scope(operation: str, in_scope: bool) -> None:
    done = OperationDone(**held("op-2", "09:00"), operation=operation, by="x", done=moment("09:00"))
    facts = job(
        final=modules(Body=[code("B2210-11", "stored")]), operations=(*windshield_job().operations, done)
    )
    assert said(compared(facts)) == (("not_met", ("code_new",)) if in_scope else ("met", ()))


def test_sensors_of_a_looked_up_procedure_are_in_scope() -> None:
    facts = job(final=modules(Rear_camera=[code("B2210-11", "stored")]))
    everything = required(facts)
    lookup = edition("common-practice", 3).procedure("CP-LOOKUP")
    assert lookup is not None
    everything["CP-LOOKUP"] = RequiredProcedure(
        procedure=lookup, edition=edition("common-practice", 3), sensors=("rear_camera",), session=None
    )
    assert said(compared(facts, required=everything)) == ("not_met", ("code_new",))


def explanation(**fields: Any) -> Explanation:
    base = Explanation(
        **held("why", "11:10"), module="Body", code="b2210:11", ftb=None, text=EXPLAINED, by="dpell",
        role="quality_reviewer", at=moment("11:10"),
    )  # fmt: skip
    return replace(base, **fields)


def test_a_reviewer_may_explain_a_new_code_outside_the_work() -> None:
    final = modules(Body=[code("B2210-11")])

    def with_explanation(**fields: Any) -> tuple[str, tuple[str, ...]]:
        return said(compared(job(final=final, explanations=(explanation(**fields),))))

    open_one = ("not_shown", ("code_new",))
    assert with_explanation() == ("met", ())
    assert with_explanation(code="B2210", ftb="11") == ("met", ())
    assert with_explanation(role="technician") == open_one
    assert with_explanation(text="It is nothing.") == open_one
    assert with_explanation(module="Brake") == open_one
    assert with_explanation(code="B2210-12") == open_one
    assert with_explanation(ended_at=at("11:20"), ended_how="corrected") == open_one


def test_no_explanation_helps_in_a_brake_module_or_in_scope() -> None:
    brake = job(final=modules(Brake=[code("B2210-11")]), explanations=(explanation(module="Brake"),))
    assert said(compared(brake)) == ("not_met", ("code_new",))
    camera = job(final=modules(Camera=[code("B2210-11")]), explanations=(explanation(module="Camera"),))
    assert said(compared(camera)) == ("not_met", ("code_new",))


def test_codes_of_a_refused_sensor_are_taken_out() -> None:
    facts = job(final=modules(Camera=[code("C1A45-54")]))
    assert said(compared(facts, refused_sensors=("forward_camera",))) == ("met", ())
    assert said(compared(facts, refused_sensors=("front_radar",))) == ("not_met", ("code_new",))


# ------------------------------------------------------------------ codes_compare: modules


def silent(name: str) -> tuple[ScanModule, ...]:
    return tuple(replace(item, answered=item.name != name) for item in MODULES)


def without(name: str) -> tuple[ScanModule, ...]:
    return tuple(item for item in MODULES if item.name != name)


def test_the_silent_module_that_counting_codes_would_miss() -> None:
    assert said(compared(job(final=silent("Rear camera")))) == ("not_shown", ("module_silent",))
    assert said(compared(job(final=silent("Camera")))) == ("not_met", ("module_silent",))
    later = scanned("final", "11:20")
    facts = job(final=silent("Rear camera"))
    assert said(compared(replace(facts, scans=(*facts.scans, later)))) == ("met", ())


def test_silent_in_both_scans() -> None:
    both = compared(job(before=silent("Rear camera"), final=silent("Rear camera")))
    assert said(both) == ("met", ())
    assert any("did not answer" in note for note in both.notes)
    aimed = compared(job(before=silent("Camera"), final=silent("Camera")))
    assert said(aimed) == ("not_met", ("module_silent",))


def test_modules_never_asked() -> None:
    assert said(compared(job(final=without("Rear camera")))) == MISSING
    assert said(compared(job(before=without("Camera")))) == MISSING
    assert said(compared(job(final=without("Camera")))) == MISSING
    assert said(compared(job(before=without("Rear camera")))) == ("met", ())


def test_a_module_that_answered_in_any_scan_before_the_repair_answered() -> None:
    facts = job(before=silent("Rear camera"), final=silent("Rear camera"))
    earlier = scanned("before_repair", "08:00")
    outcome = compared(replace(facts, scans=(earlier, *facts.scans)))
    assert said(outcome) == ("not_shown", ("module_silent",))


def test_a_module_renamed_by_a_software_update_is_known_by_its_address() -> None:
    old = replace(module("Camera", "forward_camera", CAMERA), address="7E0")
    new = replace(module("Camera MK2", "forward_camera", CAMERA), address="7E0")
    facts = job(before=(old, *MODULES[1:]), final=(new, *MODULES[1:]))
    assert said(compared(facts)) == ("not_met", ("code_remaining",))
    assert renamed((old,), (new,)) == {"Camera MK2": "Camera"}
    assert renamed((old,), (replace(new, address="7E1"),)) == {}
    moved = replace(new, address=None)
    assert said(compared(job(before=(old, *MODULES[1:]), final=(moved, *MODULES[1:])))) == (
        "not_met",
        ("code_new", "missing"),
    )


# ------------------------------------------------------------------ codes_compare: which scans


def test_without_a_scan_before_repair_the_scan_before_aiming_stands_in() -> None:
    outcome = compared(job(before=None))
    assert said(outcome) == ("met", ())
    assert any("not known" in note for note in outcome.notes)
    no_first = job(before=None)
    assert said(compared(replace(no_first, scans=no_first.scans[1:]))) == MISSING


def test_without_a_final_scan_or_with_one_too_early() -> None:
    assert said(compared(job(final=None))) == MISSING
    early = job(final=None)
    assert said(compared(replace(early, scans=(*early.scans, scanned("final", "10:40"))))) == MISSING


def test_an_operation_not_recorded_as_done_leaves_the_final_scan_open() -> None:
    undone = replace(windshield_job().operations[0], done=None)
    assert said(compared(job(operations=(undone,)))) == MISSING


def test_a_session_that_still_runs_leaves_the_final_scan_open() -> None:
    running = session("session-1", "OV-FC-ROAD", "10:30", None)
    assert said(compared(job(sessions=(running,)))) == ("not_shown", ("order_unprovable",))


def test_two_final_scans_whose_order_no_clock_shows() -> None:
    facts = job(final=MODULES)
    other = replace(scanned("final", "11:06"), ended=loose("11:06", 600))
    assert said(compared(replace(facts, scans=(*facts.scans, other)))) == ("not_shown", ("order_unprovable",))


def test_codes_set_while_working_are_notes() -> None:
    outcome = compared(job(between=modules(Camera=[code("C1A45-54")])))
    assert said(outcome) == ("met", ())
    assert numbers(outcome)["set_while_working"] == 1
