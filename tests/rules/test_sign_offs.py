"""What a signature covers, when it becomes stale, and when the car left."""

from dataclasses import replace

import pytest

from rules.departure import departure
from rules.facts import Delivery, StateChange, SubletTrip, Waiver
from rules.sign_offs import coverable, covers_of, last_sign_off, stale_because, states
from tests.rules.builders import (
    at,
    drive_log,
    ended,
    held,
    lamps,
    moment,
    photo,
    scan,
    statement,
    with_records,
)
from tests.rules.windshield_job import MODULES, SEDGE, odometer, sign_off, unsigned_job, windshield_job


def technician(facts):
    found = last_sign_off(facts, "technician")
    assert found is not None
    return found


def test_a_fresh_signature_covers_every_item_held_when_it_was_given():
    facts = windshield_job()
    assert stale_because(technician(facts), facts) == ()
    covers = covers_of(facts, at("11:20"))
    assert set(covers) <= set(technician(facts).covers)
    assert covers == tuple(sorted(covers))
    state = states(facts)[0]
    assert (state.covered, state.coverable) == (len(coverable(facts, at("11:20"))),) * 2


LATER = "11:45"


@pytest.mark.parametrize(
    ("added", "is_stale"),
    [
        ({"photos": [photo("p", ("plate",), LATER)]}, True),
        ({"statements": [statement("s", ("dry_road",), LATER)]}, True),
        ({"scans": [scan("x", "final", LATER, MODULES, SEDGE.vin)]}, True),
        ({"lamp_records": [lamps("l", LATER, airbag="unlit")]}, True),
        ({"operations": [replace(unsigned_job().operations[0], **held("o", LATER))]}, True),
        ({"readings": [odometer("odometer_later", 21026.0, LATER)]}, False),
        ({"photos": [photo("p", ("odometer_out",), LATER, stage="delivery")]}, False),
        (
            {
                "state_changes": [
                    StateChange(**held("c", LATER), kind="vehicle_lifted", at=moment(LATER), by="x")
                ]
            },
            False,
        ),
        (
            {
                "waivers": [
                    Waiver(
                        **held("w", LATER),
                        procedure_id="CP-EVERY",
                        proof_id="before",
                        granted_by="lveskel",
                        role="quality_manager",
                        at=moment(LATER),
                        reason="x" * 40,
                        instead="",
                    )
                ]
            },
            False,
        ),
    ],
)
def test_what_is_added_afterwards_makes_it_stale_or_not(added, is_stale):
    facts = with_records(windshield_job(), **added)
    assert bool(stale_because(technician(facts), facts)) is is_stale


def test_an_item_set_aside_afterwards_makes_it_stale_and_one_set_aside_before_does_not():
    facts = windshield_job()
    for when, is_stale in [("11:30", True), ("11:10", False)]:
        changed = replace(facts, photos=(ended(facts.photos[0], when), *facts.photos[1:]))
        assert bool(stale_because(technician(facts), changed)) is is_stale


def test_a_list_that_leaves_out_what_was_there_does_not_stand():
    facts = windshield_job()
    short = replace(technician(facts), covers=technician(facts).covers[1:])
    assert stale_because(short, facts)


def test_the_last_of_a_role_by_receipt_counts():
    facts = unsigned_job()
    first = sign_off("a", "technician", "itolvaar", "11:20", facts)
    second = sign_off("b", "technician", "itolvaar", "11:30", facts)
    facts = replace(facts, sign_offs=(second, first))
    assert technician(facts).id == "b"
    assert last_sign_off(replace(facts, sign_offs=()), "technician") is None


def moved(when, *, on_road=True):
    return StateChange(**held("moved", when), kind="vehicle_moved", at=moment(when), by="x", on_road=on_road)


def test_the_car_leaves_by_delivery_or_by_a_road_movement_after_release():
    facts = windshield_job()
    assert departure(facts) is None
    assert departure(with_records(facts, state_changes=[moved("11:55", on_road=False)])) is None
    assert departure(with_records(facts, state_changes=[moved("11:49")])) is None
    left = departure(with_records(facts, state_changes=[moved("11:50")]))
    assert left == moment("11:50")
    unsigned = replace(facts, sign_offs=facts.sign_offs[:2])
    assert departure(with_records(unsigned, state_changes=[moved("11:55")])) is None
    delivered = replace(unsigned, delivery=Delivery(**held("d", "12:10"), at=moment("12:10")))
    assert departure(delivered) == moment("12:10")


def test_a_sessions_own_drive_and_a_recorded_trip_are_no_departure():
    facts = windshield_job()
    own = drive_log("later", "12:00", "to 40 22; hold 95; to 0 27", ("session-1",))
    assert departure(with_records(facts, drive_logs=[own])) is None
    assert departure(with_records(facts, drive_logs=[replace(own, sessions=())])) == moment(
        "12:00", "satellite"
    )
    trip = SubletTrip(
        **held("trip", "12:00"),
        procedure_ids=("OV-FC-ROAD",),
        to_org="Sallowfield Mobile Aiming",
        carried_how="driven",
        out_at=moment("12:00"),
        back_at=moment("13:00"),
    )
    assert departure(with_records(facts, sublet_trips=[trip], state_changes=[moved("12:30")])) is None
    assert departure(with_records(facts, sublet_trips=[trip], state_changes=[moved("13:30")])) == moment(
        "13:30"
    )


def test_what_comes_in_after_departure_makes_nothing_stale():
    facts = replace(windshield_job(), delivery=Delivery(**held("d", "12:10"), at=moment("12:10")))
    late = with_records(facts, photos=[photo("p", ("plate",), "12:30")])
    assert stale_because(technician(late), late) == ()
    early = with_records(facts, photos=[photo("p", ("plate",), "12:05")])
    assert stale_because(technician(early), early)
