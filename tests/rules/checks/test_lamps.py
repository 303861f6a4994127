"""Warning lamps and symbols: before and after a session, and at delivery."""

from dataclasses import replace

import pytest

from rules.checks.lamps import lamp_states
from rules.facts import Delivery
from tests.rules.builders import check_context, ended, held, lamps, loose, moment, session
from tests.rules.packs_on_file import procedure, proof
from tests.rules.windshield_job import fitted, unsigned_job

MET = ("met", ())
MISSING = ("not_shown", ("missing",))
WRONG = ("not_met", ("lamp_wrong",))
UNPROVABLE = ("not_shown", ("order_unprovable",))


def session_lamps(*records, session_fields=None):
    """The lane symbol of the road session from 10:30 to 10:52: any state before, filled after."""
    facts = unsigned_job()
    own = replace(facts.sessions[0], **(session_fields or {}))
    facts = replace(facts, lamp_records=records, sessions=(own,))
    context = check_context(facts, procedure("OV-FC-ROAD"), proof("OV-FC-ROAD", "lane"), own)
    outcome = lamp_states(context)
    return outcome.verdict, outcome.reasons


BEFORE = lamps("before", "10:25", lane_symbol="outline_only")
AFTER = lamps("after", "10:52", lane_symbol="filled")


@pytest.mark.parametrize(
    ("records", "expected"),
    [
        ((BEFORE, AFTER), MET),
        ((AFTER,), MISSING),
        ((BEFORE,), MISSING),
        ((BEFORE, lamps("after", "10:51:59", lane_symbol="filled")), MISSING),  # not yet after its end
        ((lamps("before", "10:31", lane_symbol="unlit"), AFTER), MISSING),
        ((BEFORE, lamps("after", "10:53", lane_symbol="outline_only")), WRONG),
        ((BEFORE, lamps("after", "10:53", lane_symbol="not_seen")), MISSING),
        ((lamps("before", "10:25", lane_symbol="not_seen"), AFTER), MISSING),
        ((BEFORE, AFTER, lamps("later", "10:55", lane_symbol="unlit")), WRONG),  # the latest counts
        ((BEFORE, ended(AFTER, "11:00")), MISSING),
        ((BEFORE, replace(AFTER, session="another")), MISSING),
    ],
)
def test_lamps_before_and_after_a_session(records, expected):
    assert session_lamps(*records) == expected


def test_a_session_that_runs_has_no_lamps_after_it():
    assert session_lamps(BEFORE, AFTER, session_fields={"ended": None}) == MISSING


def delivery_lamps(*records, gate="12:00", refused=(), sensors=("forward_camera",), **fields):
    facts = replace(unsigned_job(), lamp_records=records, fitted_ways=fitted(*sensors), **fields)
    context = check_context(
        facts,
        procedure("CP-EVERY"),
        proof("CP-EVERY", "lamps"),
        None,
        gate,
        refused_sensors=tuple(refused),
    )
    camera = replace(context.current, procedure=procedure("OV-FC-ROAD"), session=facts.sessions[0])
    context = replace(context, required={**context.required, "OV-FC-ROAD": camera})
    outcome = lamp_states(context)
    return outcome.verdict, outcome.reasons


GROUPS = {"driver_assistance": "unlit", "airbag": "unlit", "brake": "unlit", "steering": "unlit"}


def at_delivery(when="11:10", **changes):
    states = {key: value for key, value in {**GROUPS, **changes}.items() if value}
    return lamps("delivery", when, **states)


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, MET),
        ({"lane_symbol": "lit"}, MET),  # a symbol of a working function is no warning
        ({"lane_symbol": "filled"}, MET),
        ({"airbag": "lit"}, WRONG),
        ({"brake": "not_seen"}, MISSING),
        ({"steering": ""}, MISSING),
        ({"driver_assistance": "", "camera_fault": "unlit"}, MET),
        ({"driver_assistance": ""}, MISSING),
        ({"driver_assistance": "lit"}, WRONG),
        ({"camera_fault": "lit"}, WRONG),  # though the group as a whole is said to be unlit
        ({"camera_fault": "not_seen"}, MISSING),
        ({"driver_assistance": "", "camera_fault": "unlit", "radar_fault": "lit"}, WRONG),
    ],
)
def test_no_group_is_lit_at_delivery(changes, expected):
    assert delivery_lamps(at_delivery(**changes)) == expected


def test_lamp_by_lamp_every_sensor_not_known_absent_needs_its_own():
    one_by_one = at_delivery(driver_assistance="", camera_fault="unlit")
    assert delivery_lamps(one_by_one, sensors=("forward_camera", "front_radar")) == MISSING
    both = at_delivery(driver_assistance="", camera_fault="unlit", radar_fault="unlit")
    assert delivery_lamps(both, sensors=("forward_camera", "front_radar")) == MET


def test_a_sensor_that_nobody_established_needs_its_lamp():
    facts_ways = tuple(item for item in fitted("forward_camera") if item.sensor != "front_radar")
    record = at_delivery(driver_assistance="", camera_fault="unlit")
    facts = replace(unsigned_job(), lamp_records=(record,), fitted_ways=facts_ways)
    context = check_context(facts, procedure("CP-EVERY"), proof("CP-EVERY", "lamps"), None)
    assert lamp_states(context).reasons == ("missing",)


@pytest.mark.parametrize(
    ("when", "expected"),
    [("10:52", MET), ("10:51:59", MISSING), ("08:20", MISSING)],
)
def test_the_record_follows_the_last_session_and_the_repair(when, expected):
    assert delivery_lamps(at_delivery(when)) == expected


def test_a_record_whose_time_is_open_or_after_delivery_does_not_count():
    blurred = replace(at_delivery(), at=loose("11:10", 3600.0))
    assert delivery_lamps(blurred) == UNPROVABLE
    gone = Delivery(**held("d", "11:30"), at=moment("11:30"))
    assert delivery_lamps(at_delivery("11:30"), delivery=gone) == MET
    assert delivery_lamps(at_delivery("11:31"), delivery=gone) == MISSING


def test_while_a_session_runs_or_work_is_open_nothing_is_shown():
    running = (session("session-1", "OV-FC-ROAD", "10:30", None),)
    assert delivery_lamps(at_delivery(), sessions=running) == MISSING
    planned = replace(unsigned_job().estimate_lines[0], operations=("hood.replaced",))
    assert delivery_lamps(at_delivery(), estimate_lines=(planned,)) == MISSING


def test_a_later_record_of_other_lamps_does_not_hide_the_warning_lamps():
    symbol = lamps("symbol", "11:20", lane_symbol="filled")
    assert delivery_lamps(at_delivery(), symbol) == MET
    lit = lamps("lit", "11:20", airbag="lit")
    assert delivery_lamps(at_delivery(), lit) == ("not_met", ("lamp_wrong", "missing"))


@pytest.mark.parametrize(
    ("changes", "refused", "expected"),
    [
        ({"camera_fault": "lit"}, ("forward_camera",), MET),
        ({"camera_fault": "lit"}, ("front_radar",), WRONG),
        ({"camera_fault": "lit", "airbag": "lit"}, ("forward_camera",), WRONG),
        ({"driver_assistance": "lit"}, ("forward_camera",), MET),
        ({"driver_assistance": "lit", "radar_fault": "lit"}, ("forward_camera",), WRONG),
    ],
)
def test_only_the_lamp_of_a_refused_sensor_is_taken_out(changes, refused, expected):
    assert delivery_lamps(at_delivery(**changes), refused=refused) == expected
