"""tyre_pressures: limits with guard, pairs, warm tyres, freshness, missing corners and placards."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from rules.checks.tyres import tyre_pressures
from rules.facts import JobFacts, Reading, StateChange, SubletTrip
from rules.verdict import Outcome
from tests.rules.builders import SEDGE, drive_log, held, moment, reading
from tests.rules.measured import context, numbers, said
from tests.rules.windshield_job import tyres, windshield_job

CORNERS = ("front_left", "front_right", "rear_left", "rear_right")
EVEN_PLACARD = replace(SEDGE, placard_front_kpa=240.0, placard_rear_kpa=240.0)


def job(*readings: Reading, **fields: Any) -> JobFacts:
    base = {"readings": readings, "vehicle": EVEN_PLACARD}
    return replace(windshield_job(), **{**base, **fields})


def outcome(*readings: Reading, **fields: Any) -> Outcome:
    return tyre_pressures(context("OV-FC-ROAD", "tyres", job(*readings, **fields)))


def four(values: Mapping[str, float] | float, when: str = "09:30", **fields: Any) -> list[Reading]:
    pressures = dict.fromkeys(CORNERS, values) if isinstance(values, float) else dict(values)
    return [
        replace(item, value=pressures[item.place], **fields)
        for item in tyres(f"set-{when}", when)
        if item.place in pressures
    ]


@pytest.mark.parametrize(
    ("value", "verdict", "reasons"),
    [
        (240.0, "met", ()),
        (232.4, "met", ()),
        (232.2, "not_shown", ("undecided",)),
        (229.0, "not_shown", ("undecided",)),
        (227.5, "not_met", ("outside_limit",)),
        (247.62, "met", ()),
        (247.63, "not_shown", ("undecided",)),
        (252.37, "not_shown", ("undecided",)),
        (252.38, "not_met", ("outside_limit",)),
    ],
)
def test_worked_readings_against_240_plus_minus_10(
    value: float, verdict: str, reasons: tuple[str, ...]
) -> None:
    assert said(outcome(*four(value))) == (verdict, reasons)


@pytest.mark.parametrize(
    ("left", "right", "verdict"),
    # Guard of the difference: 1.645 sqrt 2 1.4434 = 3.358 kPa; accept to 6.642, reject above 13.358.
    [
        (240.0, 246.6, "met"),
        (240.0, 246.7, "not_shown"),
        (234.0, 247.3, "not_shown"),
        (233.0, 246.4, "not_met"),
    ],
)
def test_left_against_right(left: float, right: float, verdict: str) -> None:
    values = {**dict.fromkeys(CORNERS, 240.0), "front_left": left, "front_right": right}
    found = outcome(*four(values))
    assert found.verdict == verdict
    assert numbers(found)["front_difference"] == pytest.approx(right - left)


@pytest.mark.parametrize("corner", CORNERS)
def test_a_missing_corner(corner: str) -> None:
    values = {place: 240.0 for place in CORNERS if place != corner}
    assert said(outcome(*four(values))) == ("not_shown", ("missing",))


def test_all_reasons_are_told() -> None:
    values = {"front_left": 200.0, "front_right": 232.0, "rear_left": 240.0}
    found = outcome(*four(values))
    assert said(found) == ("not_met", ("outside_limit", "missing", "undecided"))


def test_without_gauge_without_placard() -> None:
    nameless = four(240.0, u=None, instrument=None)
    assert said(outcome(*nameless)) == ("not_shown", ("uncertainty_unknown",))
    far_off = four(150.0, u=None, instrument=None)
    assert said(outcome(*far_off)) == ("not_shown", ("uncertainty_unknown",))
    no_placard = replace(EVEN_PLACARD, placard_rear_kpa=None)
    assert said(outcome(*four(240.0), vehicle=no_placard)) == ("not_shown", ("missing",))


def test_instruments_and_evidence() -> None:
    found = outcome(*four(240.0))
    assert found.instruments == ("PG-022",)
    assert set(found.evidence) == {f"set-09:30-{place}" for place in CORNERS}


# ------------------------------------------------------------------ freshness


@pytest.mark.parametrize(
    ("when", "reasons"),
    [
        ("06:29", ("evidence_stale",)),
        ("07:54", ("evidence_stale",)),
        ("07:55", ()),
        ("10:30", ()),
        ("10:31", ("evidence_stale",)),
    ],
)
def test_four_hours_and_never_before_the_order_was_opened(when: str, reasons: tuple[str, ...]) -> None:
    assert outcome(*four(240.0, when)).reasons == reasons


def test_the_last_set_before_the_session_serves() -> None:
    bad_first = [*four(200.0, "09:00"), *four(240.0, "09:30")]
    assert outcome(*bad_first).verdict == "met"
    bad_last = [*four(240.0, "09:00"), *four(200.0, "09:30")]
    assert outcome(*bad_last).verdict == "not_met"


def test_a_wheel_taken_off_spoils_the_set() -> None:
    off = StateChange(**held("off", "09:45"), kind="wheel_removed", at=moment("09:45"), by="itolvaar")
    found = outcome(*four(240.0), state_changes=(off,))
    assert said(found) == ("not_shown", ("evidence_stale",))


# ------------------------------------------------------------------ warm tyres


def on_road(when: str) -> StateChange:
    return StateChange(
        **held(f"road-{when}", when), kind="vehicle_moved", on_road=True, at=moment(when), by="x"
    )


def temperatures(
    when: str = "09:30", tyre: float = 38.0, ambient: float = 18.0, **fields: Any
) -> list[Reading]:
    made = [
        reading(f"t-{place}", "tyre_temperature", place, tyre, "degC", when, u=3 / 3**0.5, **fields)
        for place in CORNERS
    ]
    return [*made, reading("ambient", "temp", "ambient", ambient, "degC", when, u=1 / 3**0.5, **fields)]


def test_the_worked_warm_tyre_is_met_narrowly() -> None:
    found = outcome(*four(258.0), *temperatures(), state_changes=(on_road("09:00"),))
    assert found.verdict == "met"
    front = next(number for number in found.numbers if number.name == "front_left")
    assert front.value == pytest.approx(234.9, abs=0.05)
    assert front.u == pytest.approx(2.40, abs=5e-3)
    assert front.guard == pytest.approx(3.95, abs=5e-3)


def test_warm_without_a_temperature() -> None:
    moved = (on_road("09:00"),)
    assert said(outcome(*four(240.0), state_changes=moved)) == ("not_shown", ("uncertainty_unknown",))
    late = temperatures("09:46")
    assert said(outcome(*four(240.0), *late, state_changes=moved)) == ("not_shown", ("uncertainty_unknown",))
    no_u = [replace(item, u=None) for item in temperatures()]
    assert said(outcome(*four(240.0), *no_u, state_changes=moved)) == ("not_shown", ("uncertainty_unknown",))


@pytest.mark.parametrize(
    ("moved", "verdict"),
    [("06:30", "not_shown"), ("06:29:59", "met"), ("09:30", "not_shown"), ("09:30:01", "met")],
)
def test_three_hours(moved: str, verdict: str) -> None:
    # The order was opened before; a drive after the reading does not warm it.
    early = moment("05:00")
    assert outcome(*four(240.0), state_changes=(on_road(moved),), opened=early).verdict == verdict


def test_a_movement_inside_the_shop_or_the_way_to_the_shop_warms_nothing() -> None:
    pushed = replace(on_road("09:00"), on_road=False)
    assert outcome(*four(240.0), state_changes=(pushed,)).verdict == "met"


def test_drives_and_driven_trips_warm_and_trailers_do_not() -> None:
    def trip(how: str, back: str | None) -> SubletTrip:
        return SubletTrip(
            **held("trip", "09:20"), procedure_ids=(), to_org="Sallowfield", carried_how=how,  # type: ignore[arg-type]
            out_at=moment("08:30"), back_at=None if back is None else moment(back),
        )  # fmt: skip

    assert outcome(*four(240.0), sublet_trips=(trip("driven", "09:10"),)).verdict == "not_shown"
    assert outcome(*four(240.0), sublet_trips=(trip("driven", None),)).verdict == "not_shown"
    assert outcome(*four(240.0), sublet_trips=(trip("trailer", "09:10"),)).verdict == "met"
    short = drive_log("earlier", "09:00", "to 50 20; hold 300; to 0 20", ())
    assert outcome(*four(240.0), drive_logs=(short,)).verdict == "not_shown"
