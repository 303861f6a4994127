"""value, angle, learned_aim, point_position: every guarded edge, places, and what belongs to a session."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.checks.values import angle, learned_aim, point_position, value
from rules.facts import Reading
from rules.verdict import Outcome
from tests.rules.builders import loose, moment
from tests.rules.checks.standing import context, edge_cases, numbers, outcome, read, said, sitting

WHEELS = ("front_left", "front_right", "rear_left", "rear_right")
SENSORS = ("f1", "f2", "f3", "f4", "r1", "r2", "r3", "r4")


def shown(quantity: str, place: str, value_: float, unit: str, when: str = "10:50", **fields: Any) -> Reading:
    """A value that the vehicle or the scan device displays."""
    base: dict[str, Any] = {"vehicle_shown": True, "instrument": "SD-011"}
    return read(quantity, place, value_, unit, 0.0, when, **{**base, **fields})


# ------------------------------------------------------------------ value


def seams(steps: tuple[float, ...] = (3.0, 4.0, 7.0, 4.0), **fields: Any) -> list[Reading]:
    base: dict[str, Any] = {"when": "10:50", "instrument": None}
    pairs = zip(WHEELS, steps, strict=True)
    return [read("seam_step", place, step, "mm", 0.5, **{**base, **fields}) for place, step in pairs]


def test_seam_steps_need_no_instrument() -> None:
    found = outcome(value, "OV-SV-STILL/seams", *seams())
    assert said(found) == ("met", ())
    assert numbers(found)["rear_left"] == 7.0
    assert found.instruments == ()


@pytest.mark.parametrize(("step", "verdict"), edge_cases(None, 10.0, 0.5))
def test_every_edge_of_a_seam_step(step: float, verdict: str) -> None:
    assert outcome(value, "OV-SV-STILL/seams", *seams((3.0, step, 7.0, 4.0))).verdict == verdict


def test_every_place_listed_must_be_there() -> None:
    found = outcome(value, "OV-SV-STILL/seams", *seams()[:3])
    assert said(found) == ("not_shown", ("missing",))


def test_another_quantity_without_an_instrument_has_no_uncertainty() -> None:
    found = outcome(angle, "OV-FR-STILL/face", face(90.0, instrument=None))
    assert said(found) == ("not_shown", ("uncertainty_unknown",))


def test_seam_steps_of_another_session_serve_no_other() -> None:
    both = (sitting("OV-SV-STILL"), sitting("OV-FC-STILL", "11:00", "11:20"))
    late = seams(when="11:10")
    assert said(outcome(value, "OV-SV-STILL/seams", *late, sessions=both)) == ("not_shown", ("missing",))
    named = [replace(item, session="session-OV-SV-STILL") for item in late]
    assert outcome(value, "OV-SV-STILL/seams", *named, sessions=both).verdict == "met"
    before = seams(when="10:29")
    assert said(outcome(value, "OV-SV-STILL/seams", *before)) == ("not_shown", ("missing",))


@pytest.mark.parametrize(
    ("reading", "verdict"),
    [(440.0, "met"), (560.0, "met"), (439.999999, "not_met"), (560.000001, "not_met"), (500.0, "met")],
)
def test_what_the_vehicle_shows_is_compared_plainly(reading: float, verdict: str) -> None:
    values = [shown("parking_reading", place, 500.0, "mm") for place in SENSORS[1:]]
    found = outcome(value, "OV-PK/park", shown("parking_reading", "f1", reading, "mm"), *values)
    assert found.verdict == verdict


@pytest.mark.parametrize(
    ("degrees", "verdict"), [(2.0, "met"), (-2.0, "met"), (2.000001, "not_met"), (-2.1, "not_met")]
)
def test_steering_angle_straight_ahead(degrees: float, verdict: str) -> None:
    found = outcome(value, "OV-SAS/angle", shown("steering_angle", "straight_ahead", degrees, "deg"))
    assert found.verdict == verdict


def test_a_straight_ahead_angle_from_before_the_session_is_none_of_its_own() -> None:
    early = shown("steering_angle", "straight_ahead", 0.0, "deg", "10:00")
    assert said(outcome(value, "OV-SAS/angle", early)) == ("not_shown", ("missing",))


def test_a_value_taken_with_an_instrument_is_not_shown_by_the_vehicle() -> None:
    by_hand = shown("steering_angle", "straight_ahead", 0.0, "deg", vehicle_shown=False, instrument="AG-005")
    assert said(outcome(value, "OV-SAS/angle", by_hand)) == ("not_shown", ("uncertainty_unknown",))


def test_the_last_reading_of_the_session_counts() -> None:
    def angles(*pairs: tuple[float, str]) -> list[Reading]:
        return [shown("steering_angle", "straight_ahead", degrees, "deg", when) for degrees, when in pairs]

    assert outcome(value, "OV-SAS/angle", *angles((5.0, "10:40"), (0.5, "10:50"))).verdict == "met"
    assert outcome(value, "OV-SAS/angle", *angles((0.5, "10:40"), (5.0, "10:50"))).verdict == "not_met"


def test_a_clock_that_leaves_the_last_one_open() -> None:
    good = shown("steering_angle", "straight_ahead", 0.5, "deg", "10:50")
    bad = replace(
        shown("steering_angle", "straight_ahead", 5.0, "deg", "10:45"), at=loose("10:45", 3600.0, "device:b")
    )
    assert said(outcome(value, "OV-SAS/angle", good, bad)) == ("not_shown", ("conflict",))
    again = replace(bad, session="session-OV-SAS")
    assert said(outcome(value, "OV-SAS/angle", good, again)) == ("not_shown", ("conflict",))


# ------------------------------------------------------------------ angle


def face(degrees: float, **fields: Any) -> Reading:
    return read("radar_face_angle", "vertical", degrees, "deg", 0.05, **fields)


@pytest.mark.parametrize(("degrees", "verdict"), edge_cases(89.2, 90.8, 0.05))
def test_every_edge_of_the_radar_face(degrees: float, verdict: str) -> None:
    assert outcome(angle, "OV-FR-STILL/face", face(degrees)).verdict == verdict


def test_a_reading_at_another_place_is_another_reading() -> None:
    other = replace(face(90.0), place="horizontal")
    assert said(outcome(angle, "OV-FR-STILL/face", other)) == ("not_shown", ("missing",))


@pytest.mark.parametrize(("when", "reasons"), [("10:30", ()), ("10:31", ("evidence_stale",))])
def test_read_before_the_session(when: str, reasons: tuple[str, ...]) -> None:
    assert outcome(angle, "OV-FR-STILL/face", face(90.0, when=when)).reasons == reasons


def test_of_yesterday() -> None:
    old = replace(face(90.0), at=moment("2026-05-04 23:59"))
    assert said(outcome(angle, "OV-FR-STILL/face", old)) == ("not_shown", ("evidence_stale",))


# ------------------------------------------------------------------ learned_aim


def learned(yaw: float = 0.2, pitch: float = -0.1, place: str = "learned", **fields: Any) -> list[Reading]:
    values = (("learned_yaw", yaw), ("learned_pitch", pitch))
    return [shown(name, place, degrees, "deg", **fields) for name, degrees in values]


@pytest.mark.parametrize("place", ["learned", ""])
def test_learned_values_at_the_proofs_own_place_or_at_none(place: str) -> None:
    found = outcome(learned_aim, "OV-FC-STILL/learned", *learned(place=place))
    assert said(found) == ("met", ())
    assert numbers(found) == {"learned_yaw": 0.2, "learned_pitch": -0.1}


@pytest.mark.parametrize(
    ("yaw", "pitch", "verdict"),
    [
        (1.0, 0.8, "met"),
        (-1.0, -0.8, "met"),
        (1.000001, 0.0, "not_met"),
        (0.0, 0.800001, "not_met"),
        (0.0, -0.800001, "not_met"),
    ],
)
def test_edges_of_the_learned_values(yaw: float, pitch: float, verdict: str) -> None:
    assert outcome(learned_aim, "OV-FC-STILL/learned", *learned(yaw, pitch)).verdict == verdict


def test_each_axis_asked_for_must_be_there() -> None:
    found = outcome(learned_aim, "OV-FC-STILL/learned", learned()[0])
    assert said(found) == ("not_shown", ("missing",))


def test_learned_values_of_an_earlier_attempt_do_not_serve() -> None:
    first = sitting("OV-FC-STILL", "09:30", "09:50")
    attempts = (replace(first, id="first"), sitting("OV-FC-STILL"))
    old = learned(when="09:48")
    assert said(outcome(learned_aim, "OV-FC-STILL/learned", *old, sessions=attempts)) == (
        "not_shown", ("missing",),
    )  # fmt: skip


# ------------------------------------------------------------------ point_position


def spot(
    along: float = -2500.0, across: float = 1100.0, height: float = 610.0, **fields: Any
) -> list[Reading]:
    values = (("point_along", along), ("point_across", across), ("point_height", height))
    base: dict[str, Any] = {"procedure_id": "OV-RC-STILL"}
    return [read(name, "spot_l", mm, "mm", 1.06, **{**base, **fields}) for name, mm in values]


@pytest.mark.parametrize(
    ("axis", "lower", "upper"),
    [("along", -2525.0, -2475.0), ("across", 1080.0, 1120.0), ("height", 590.0, 630.0)],
)
def test_every_edge_of_each_axis_by_itself(axis: str, lower: float, upper: float) -> None:
    for mm, verdict in edge_cases(lower, upper, 1.06):
        found = outcome(point_position, "OV-RC-STILL/spot_l", *spot(**{axis: mm}))
        assert found.verdict == verdict, (axis, mm)


def test_one_axis_missing() -> None:
    found = outcome(point_position, "OV-RC-STILL/spot_l", *spot()[:2])
    assert said(found) == ("not_shown", ("missing",))


def test_left_is_not_right() -> None:
    found = outcome(point_position, "OV-RC-STILL/spot_r", *spot(across=-1100.0))
    assert said(found) == ("not_shown", ("missing",))


# ------------------------------------------------------------------ properties


@given(st.floats(88.5, 91.5), st.floats(0.001, 0.3), st.floats(1.0, 5.0))
def test_more_uncertainty_never_makes_a_verdict_met(degrees: float, u: float, factor: float) -> None:
    def at(spread: float) -> Outcome:
        return angle(context("OV-FR-STILL", "face", replace(face(degrees), u=spread)))

    if at(u).verdict != "met":
        assert at(u * factor).verdict != "met"
