"""Waivers, refusals and departure: what takes a proof out of the gate, and leaving against hold."""

from dataclasses import replace

import pytest

from rules.assess import assess
from rules.facts import Delivery, JobFacts, Moment, Refusal, SensorFunctions, Waiver
from rules.gate import disposition
from tests.rules.builders import CORRAN, at, held, module, moment, scan, with_records
from tests.rules.packs_on_file import packs_on_file
from tests.rules.windshield_job import fitted, sign_off, unsigned_job

REASON = "The battery was flat on arrival, so no module answered before the repair."


def judge(facts, when):
    return assess(packs_on_file(), facts, as_of=at(when))


def finding(result, procedure_id, proof_id):
    return next(
        item for item in result.findings if (item.procedure_id, item.proof_id) == (procedure_id, proof_id)
    )


def waiver(when="11:15", **fields):
    base = {
        **held("waiver", when),
        "procedure_id": "CP-EVERY",
        "proof_id": "before",
        "granted_by": "lveskel",
        "role": "quality_manager",
        "at": moment(when),
        "reason": REASON,
        "instead": "All modules were scanned before aiming.",
    }
    return Waiver(**{**base, **fields})


def signed(facts, *, release="11:50") -> JobFacts:
    """Technician 11:20, reviewer 11:40, release as given."""
    people = [("technician", "itolvaar", "11:20"), ("quality_reviewer", "dpell", "11:40")]
    if release is not None:
        people.append(("release", "tachterly", release))
    return replace(
        facts, sign_offs=tuple(sign_off(f"sign-{role}", role, who, when, facts) for role, who, when in people)
    )


def without_before_scan(*waivers, release="11:50"):
    facts = unsigned_job()
    facts = replace(facts, scans=facts.scans[1:])
    return replace(signed(facts, release=release), waivers=tuple(waivers))


def test_without_the_scan_before_repair_the_job_is_held():
    result = judge(without_before_scan(), "11:50")
    assert finding(result, "CP-EVERY", "before").outcome.reasons == ("missing",)
    assert finding(result, "CP-EVERY", "order").outcome.reasons == ("missing",)
    assert result.disposition == "hold"


def test_a_waiver_takes_the_proof_out_of_the_gate_and_changes_no_verdict():
    result = judge(without_before_scan(waiver()), "11:50")
    item = finding(result, "CP-EVERY", "before")
    assert (item.verdict, item.waived_by) == ("not_shown", "lveskel")
    assert finding(result, "CP-EVERY", "order").verdict == "met"  # the chain closes over it
    assert (result.verdict, result.disposition) == ("not_shown", "release_with_waiver")


@pytest.mark.parametrize(
    "fields",
    [
        {"proof_id": "final"},  # not waivable
        {"proof_id": "nothing"},
        {"role": "location_manager"},
        {"granted_by": "tachterly"},  # has another role than the one asked for
        {"granted_by": "nobody"},
        {"reason": "too short"},
        {"reason": "x" * 39},
    ],
)
def test_a_waiver_that_the_rules_do_not_allow_has_no_effect(fields):
    result = judge(without_before_scan(waiver(**fields)), "11:50")
    decision = result.decisions[0]
    assert not decision.effect
    assert decision.why_not
    assert result.disposition == "hold"
    right = judge(without_before_scan(waiver(reason="x" * 40)), "11:50")
    assert right.decisions[0].effect


def test_who_did_the_work_cannot_waive_its_proofs():
    facts = without_before_scan(waiver(granted_by="itolvaar"))
    ines = next(item for item in facts.people if item.login == "itolvaar")
    others = tuple(item for item in facts.people if item is not ines)
    facts = replace(facts, people=(*others, replace(ines, roles=("technician", "quality_manager"))))
    assert judge(facts, "11:50").disposition == "hold"


def test_a_waiver_after_the_release_counts_for_the_next_one_while_the_car_is_here():
    late = without_before_scan(waiver("12:00"))
    result = judge(late, "12:00")
    assert result.decisions[0].effect
    assert result.disposition == "release_with_waiver"
    delivered = replace(late, delivery=Delivery(**held("delivery", "12:30"), at=moment("12:30")))
    result = judge(delivered, "12:30")
    assert not result.decisions[0].effect
    assert result.decisions[0].why_not.startswith("late note")
    assert result.disposition == "hold"
    assert result.left_against_hold


def test_a_waiver_after_departure_is_a_late_note():
    facts = replace(
        without_before_scan(waiver("12:40")),
        delivery=Delivery(**held("delivery", "12:30"), at=moment("12:30")),
    )
    result = judge(facts, "13:00")
    assert not result.decisions[0].effect
    assert result.left_against_hold


def test_a_vague_clock_at_delivery_makes_no_earlier_decision_late():
    """The delivery was timed by a tablet whose clock nobody has observed: known to a day only."""
    vague = Moment(
        low=at("2026-05-04 12:30"), high=at("12:30"), reading=at("12:30"), clock="device:unobserved"
    )
    delivery = Delivery(**held("delivery", "12:30"), at=vague)
    in_time = replace(without_before_scan(waiver("11:15")), delivery=delivery)
    assert judge(in_time, "12:30").decisions[0].effect
    assert not judge(in_time, "12:30").left_against_hold
    late = replace(without_before_scan(waiver("12:00")), delivery=delivery)
    assert not judge(late, "12:30").decisions[0].effect


# ------------------------------------------------------------------ departure


def delivered(facts, when="12:30"):
    photo_out = replace(facts.photos[0], id="out", shows=("odometer_out",), stage="delivery")
    photo_out = replace(photo_out, captured=moment(when), received_at=at(when))
    return replace(
        with_records(facts, photos=[photo_out]),
        delivery=Delivery(**held("delivery", when), at=moment(when)),
    )


def test_a_car_released_and_then_delivered_did_not_leave_against_hold():
    result = judge(delivered(signed(unsigned_job())), "13:00")
    assert (result.disposition, result.left_against_hold) == ("release", False)


def test_delivery_asks_for_the_photo_of_the_odometer_out():
    facts = replace(
        signed(unsigned_job()), delivery=Delivery(**held("delivery", "12:30"), at=moment("12:30"))
    )
    result = judge(facts, "13:00")
    assert finding(result, "CP-EVERY", "photos").outcome.reasons == ("missing",)
    assert not result.left_against_hold  # judged as it stood at departure


@pytest.mark.parametrize("release", [None, "12:45"])
def test_a_car_that_leaves_without_a_release_has_left_against_hold(release):
    result = judge(delivered(signed(unsigned_job(), release=release)), "13:00")
    assert result.left_against_hold


def test_a_release_that_became_stale_before_departure_is_none():
    facts = signed(unsigned_job())
    late = replace(facts.statements[0], id="late", sha256="0" * 64, received_at=at("12:00"))
    result = judge(delivered(with_records(facts, statements=[late])), "13:00")
    assert result.left_against_hold


def test_what_is_filed_after_departure_does_not_undo_it():
    """The scan before repair comes in the day after: the verdict turns, leaving against hold does not."""
    facts = delivered(without_before_scan())
    late = replace(unsigned_job().scans[0], received_at=at("2026-05-06 09:00"))
    result = judge(with_records(facts, scans=[late]), "2026-05-06 10:00")
    assert finding(result, "CP-EVERY", "before").verdict == "met"
    assert result.left_against_hold


# ------------------------------------------------------------------ refusals

CORRAN_MODULES = (
    module("Camera", "forward_camera"),
    module("Radar", "front_radar"),
    module("Corner radar", "rear_corner_radar"),
    module("Around view", "surround_cameras"),
    module("Parking", "parking_sensors"),
    module("Steering angle", "steering_angle_sensor"),
    module("Steering", "steering"),
    module("Brake", "brake"),
    module("Restraint", "restraint"),
    module("Body", "body"),
)
CORNER = ("blind spot warning", "rear cross traffic warning")


def refusal(when="11:15", **fields):
    base = {
        **held("refusal", when),
        "procedure_id": "OV-RC-STILL",
        "refused_by_name": "R. Ashgrove",
        "relation": "owner",
        "told_text_version": "2",
        "systems_named": ("Blind Spot Warning", "Rear Cross Traffic Warning"),
        "lamp_state": "blind_spot lit",
        "at": moment(when),
        "witness": "tachterly",
    }
    return Refusal(**{**base, **fields})


def corner_job(*refusals, lamp="unlit", allowed=True):
    """A Corran whose rear bumper cover was taken off and put back; only its corner radars are called for."""
    facts = unsigned_job()
    vin = CORRAN.vin
    states = {"airbag": "unlit", "brake": "unlit", "steering": "unlit", "blind_spot": lamp}
    states |= {"camera_fault": "unlit", "radar_fault": "unlit", "parking_fault": "unlit"}
    bumper = replace(facts.operations[0], operation="bumper.rear.refitted")
    facts = replace(
        facts,
        vehicle=CORRAN,
        refusal_allowed=allowed,
        fitted_ways=fitted(
            "forward_camera",
            "front_radar",
            "rear_corner_radar",
            "surround_cameras",
            "parking_sensors",
            "steering_angle_sensor",
        ),
        estimate_lines=(replace(facts.estimate_lines[0], operations=("bumper.rear.refitted",)),),
        operations=(bumper,),
        identity_readings=tuple(replace(item, vin_read=vin) for item in facts.identity_readings),
        sessions=(),
        glass_sets=(),
        drive_logs=(),
        voltage_logs=(),
        climate_logs=(),
        statements=(),
        readings=facts.readings[:1],
        lamp_records=(replace(facts.lamp_records[-1], states=tuple(sorted(states.items()))),),
        scans=(
            scan("scan-before", "before_repair", "08:06", CORRAN_MODULES, vin),
            scan("scan-final", "final", "11:05", CORRAN_MODULES, vin),
        ),
        sensor_functions=(SensorFunctions(sensor="rear_corner_radar", functions=CORNER),),
    )
    return replace(signed(facts), refusals=tuple(refusals))


def test_what_is_required_and_not_done_holds():
    result = judge(corner_job(), "11:50")
    corner = next(item for item in result.procedures if item.procedure_id == "OV-RC-STILL")
    assert (corner.verdict, corner.refused) == ("not_shown", False)
    assert result.disposition == "hold"


def test_a_refusal_with_effect_is_not_met_and_taken_out_of_the_gate():
    result = judge(corner_job(refusal()), "11:50")
    corner = next(item for item in result.procedures if item.procedure_id == "OV-RC-STILL")
    assert (corner.verdict, corner.refused, corner.accepted) == ("not_met", True, False)
    assert finding(result, "OV-RC-STILL", "refusal").outcome.reasons == ("refused",)
    assert result.disposition == "release_with_refusal", result.held_because


@pytest.mark.parametrize(
    ("fields", "allowed"),
    [
        ({"systems_named": ("blind spot warning",)}, True),  # one function of the sensor left out
        ({"relation": "other"}, True),
        ({"refused_by_name": " "}, True),
        ({}, False),  # the organisation accepts none
        ({"procedure_id": "CP-EVERY"}, True),  # not refusable
    ],
)
def test_a_refusal_without_effect_holds(fields, allowed):
    result = judge(corner_job(refusal(**fields), allowed=allowed), "11:50")
    assert not result.decisions[0].effect
    assert result.disposition == "hold"
    assert judge(corner_job(refusal(relation="authorised_agent")), "11:50").decisions[0].effect


@pytest.mark.parametrize(("refused", "reasons"), [(True, ()), (False, ("lamp_wrong",))])
def test_the_lamp_of_a_refused_sensor_is_taken_out_of_the_common_proof(refused, reasons):
    facts = corner_job(*([refusal()] if refused else []), lamp="lit")
    item = finding(judge(facts, "11:50"), "CP-EVERY", "lamps")
    assert item.outcome.reasons == reasons
    assert bool(item.outcome.notes) is refused


def test_another_lamp_still_counts_beside_a_refusal():
    facts = corner_job(refusal())
    states = dict(facts.lamp_records[0].states) | {"radar_fault": "lit"}
    facts = replace(
        facts, lamp_records=(replace(facts.lamp_records[0], states=tuple(sorted(states.items()))),)
    )
    result = judge(facts, "11:50")
    assert finding(result, "CP-EVERY", "lamps").outcome.reasons == ("lamp_wrong",)
    assert result.disposition == "hold"


def test_what_cannot_be_told_holds_though_every_finding_is_met():
    result = judge(signed(unsigned_job()), "11:50")
    assert disposition(result.findings, result.requirements, ()) == "release"
    unknown = replace(result.requirements[-1], state="cannot_tell", reasons=("fit_unknown",))
    assert disposition(result.findings, (*result.requirements, unknown), ()) == "hold"
