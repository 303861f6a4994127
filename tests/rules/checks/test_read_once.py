"""What was read once counts once: copies, coarse steps, mixed sets, readings of another procedure."""

from dataclasses import replace

import pytest

from rules.checks.film import film_build
from rules.checks.floor import floor_survey
from rules.checks.one_reading import u_of_mean
from rules.checks.thrust import thrust_angle
from rules.checks.values import angle
from rules.facts import Reading
from rules.quantities import parse_limit
from rules.verdict import Outcome
from tests.rules.builders import reading, session
from tests.rules.checks.standing import GRID, floor, outcome, read, said, sitting
from tests.rules.checks.test_film import film
from tests.rules.checks.test_target_height_and_line import pads
from tests.rules.judged_target import names, number
from tests.rules.judged_target import outcome as posed
from tests.rules.target_set import STILL, camera_session, context, distances, job, others, set_up, toe


def again(readings: tuple[Reading, ...], **fields: object) -> tuple[Reading, ...]:
    return tuple(replace(item, id=f"{item.id}-again", **fields) for item in readings)  # type: ignore[arg-type]


# ------------------------------------------------------------------ tape readings


@pytest.mark.parametrize("set_no", [1, 2])
def test_a_set_sent_twice_is_no_second_set(set_no: int) -> None:
    once = posed(set_up())
    twice = posed(set_up(four=(*distances(), *again(distances(), set_no=set_no))))
    for name in ("distance", "sideways", "yaw"):
        assert number(twice, name).u == number(once, name).u
    assert "count_d_LL" not in names(twice)


def test_a_second_set_at_another_time_still_counts() -> None:
    twice = posed(set_up(four=(*distances(), *distances(when="10:24", set_no=2))))
    assert number(twice, "count_d_LL").value == 2.0
    # The worked four readings known to 1.95 mm sideways, two sets of them to 1.47 mm.
    assert round(number(twice, "sideways").u or 0.0, 2) == 1.47


def test_two_values_of_one_distance_in_one_set_at_one_time() -> None:
    other = again(distances((3214.0, None, None, None)))
    found = posed(set_up(four=(*distances(), *other)))
    assert said(found) == ("not_shown", ("conflict",))
    assert "distance" not in names(found)


def test_distances_typed_coarsely_do_not_get_finer_by_repeating() -> None:
    """Typed in cm: every repeat is rounded the same way."""
    rough = {"own_u": (0.85**2 + 10.0**2 / 12.0) ** 0.5, "resolution": 10.0}
    values = (3210.0, 3500.0, 3490.0, 3210.0)
    once = posed(set_up(four=distances(values, **rough)))
    sets = [distances(values, f"10:{20 + n}", n, **rough) for n in range(1, 7)]
    six = posed(set_up(four=tuple(item for one in sets for item in one)))
    assert (number(six, "distance").u or 0.0) > 0.95 * (number(once, "distance").u or 9.0)


def test_a_wheelbase_that_contradicts_itself_is_not_that_of_the_book() -> None:
    measured = [
        reading(f"w-{value}", "datum_front_to_rear", "", value, "mm", "10:15", u=0.9, instrument="TM-014")
        for value in (2760.0, 2860.0)
    ]
    found = posed((*set_up(), *measured))
    assert "conflict" in found.reasons
    assert found.verdict == "not_shown"


# ------------------------------------------------------------------ film


def test_film_typed_in_whole_thousandths_of_an_inch() -> None:
    """7 mil five times may be 190 um in truth: the limit of 185 um is not shown."""
    u = (3.5**2 + 25.4**2 / 12.0) ** 0.5
    coarse = [replace(item, resolution=25.4) for item in film(*((177.8,) * 5), u=u)]
    found = outcome(film_build, "OV-FR-STILL/film", *coarse, arguments={"limit": _at_most(185)})
    assert said(found) == ("not_shown", ("undecided",))
    fine = [replace(item, resolution=1.0) for item in film(*((177.8,) * 5))]
    assert outcome(film_build, "OV-FR-STILL/film", *fine, arguments={"limit": _at_most(185)}).verdict == "met"


def _at_most(um: int) -> object:
    return parse_limit(f"at most {um} um")


def test_the_mean_of_fine_steps_is_averaged_in_full() -> None:
    items = [replace(item, resolution=1.0) for item in film(*((150.0,) * 5))]
    assert u_of_mean(items, [3.5] * 5) == pytest.approx(3.5 / 5**0.5)
    assert u_of_mean([replace(item, resolution=None) for item in items], [3.5] * 5) == pytest.approx(
        3.5 / 5**0.5
    )
    # Nothing but rounding: no repeat makes it finer.
    assert u_of_mean(items, [0.288675] * 5) == pytest.approx(0.288675, abs=1e-5)


# ------------------------------------------------------------------ sets that belong together


def thrust(*readings: Reading) -> Outcome:
    return thrust_angle(context(job(readings), STILL, "thrust"))


def test_the_toe_of_two_wheels_is_of_one_set() -> None:
    left, right = toe()
    found = thrust(left, replace(right, set_no=2))
    assert said(found) == ("not_shown", ("conflict",))
    both = posed(set_up(axle=(left, replace(right, set_no=2))))
    assert said(both) == ("not_shown", ("conflict",))
    assert "sideways" not in names(both)


@pytest.mark.parametrize("order", [1, -1])
def test_a_printout_with_two_thrust_angles(order: int) -> None:
    """One of them agrees with the toe, the other does not: whichever is listed last."""
    two = [
        reading(f"printed-{value}", "thrust_printed", "", value, "deg", "09:00", instrument="AR-002")
        for value in (0.3, 0.075)
    ]
    assert said(thrust(*toe(), *two[::order])) == ("not_shown", ("conflict",))


@pytest.mark.parametrize("fields", [{"set_no": 2}, {"instrument": "FL-002"}])
def test_pads_of_another_level_than_the_floor_at_the_stand(fields: dict[str, object]) -> None:
    """Heights from a level that was set up anew have nothing in common with those before."""
    found = posed((*set_up(rest=others(1347.0, 19.2)), *pads(10.5, 9.1, 1.2, 0.1, **fields)))
    assert said(found) == ("not_shown", ("conflict",))
    assert "height" not in names(found)


# ------------------------------------------------------------------ of another procedure


def face(degrees: float, when: str = "09:30", **fields: object) -> Reading:
    return read("radar_face_angle", "vertical", degrees, "deg", 0.05, when, **fields)


def test_a_reading_that_names_another_procedure_shows_nothing_here() -> None:
    where = "OV-FR-STILL/face"
    other = face(90.0, procedure_id="OV-RC-STILL")
    assert said(outcome(angle, where, other)) == ("not_shown", ("missing",))
    own = face(90.0, procedure_id="OV-FR-STILL")
    assert outcome(angle, where, own).verdict == "met"
    # A later one may be meant for this radar all the same, so it is not passed over.
    later = face(95.0, "09:45", procedure_id="OV-RC-STILL")
    assert said(outcome(angle, where, own, later)) == ("not_shown", ("missing",))
    earlier = face(95.0, "09:15", procedure_id="OV-RC-STILL")
    assert outcome(angle, where, own, earlier).verdict == "met"


def test_distances_of_another_procedures_session_show_nothing_here() -> None:
    """Also where that procedure asks for no target of its own."""
    sessions = (camera_session(), session("s-2", "OV-SV-STILL", "11:00", "11:20"))
    found = posed(set_up(four=distances(session="s-2")), sessions=sessions)
    assert said(found) == ("not_shown", ("missing",))
    assert posed(set_up(four=distances(session="s-1")), sessions=sessions).verdict == "met"


# ------------------------------------------------------------------ numbers that are none


@pytest.mark.parametrize("u", [-1.0, 0.0, float("nan"), float("inf")])
def test_no_uncertainty_is_taken_from_what_is_none(u: float) -> None:
    found = posed(set_up(four=tuple(replace(item, u=u) for item in distances())))
    assert found.verdict == "not_shown"
    left, right = toe()
    assert thrust(replace(left, u=u), right).verdict == "not_shown"


@pytest.mark.parametrize("value", [float("inf"), float("nan")])
def test_a_toe_that_is_no_number_gives_no_line(value: float) -> None:
    left, right = toe()
    assert thrust(replace(left, value=value), right).verdict == "not_shown"
    assert thrust(left, replace(right, value=value)).verdict == "not_shown"
    found = posed(set_up(axle=(replace(left, value=value), right)))
    assert found.verdict == "not_shown"
    assert "sideways" not in names(found)


def test_an_added_uncertainty_that_is_no_number() -> None:
    left, right = toe()
    assert thrust(replace(left, u_added=float("nan")), right).verdict == "not_shown"


# ------------------------------------------------------------------ points that are passed over


def test_a_negative_film_does_not_lower_the_mean() -> None:
    found = outcome(film_build, "OV-FR-STILL/film", *film(-150.0, 179.0, 179.0, 179.0, 179.0))
    assert said(found) == ("not_shown", ("unreadable",))


@pytest.mark.parametrize("place", ["film_06", "film_100", "film_999"])
def test_a_further_point_is_not_hidden_by_how_its_number_is_written(place: str) -> None:
    further = replace(film(400.0)[0], id="further", place=place)
    found = outcome(film_build, "OV-FR-STILL/film", *film(*((150.0,) * 5)), further)
    assert found.verdict != "met"


def test_a_survey_of_one_spot_and_two_corners_is_no_survey() -> None:
    """Sixteen points on a palm's width, and two far corners that give the span."""
    points = tuple(
        (x, y, 0.0) if place in (0, 17) else (x / 50.0, y / 50.0, 0.0) for place, (x, y, _) in enumerate(GRID)
    )
    sat = (sitting("OV-FC-STILL", bay="EM-B2"),)
    where = "OV-FC-STILL/floor"
    found = outcome(floor_survey, where, sessions=sat, floor_surveys=(floor(points=points),))
    assert said(found) == ("not_shown", ("missing",))
    assert outcome(floor_survey, where, sessions=sat, floor_surveys=(floor(),)).verdict == "met"
    nine = tuple((3600.0 * x, 900.0 * y, 0.0) for x in (-1, 0, 1) for y in (-1, 0, 1))
    assert outcome(floor_survey, where, sessions=sat, floor_surveys=(floor(points=nine),)).verdict == "met"
