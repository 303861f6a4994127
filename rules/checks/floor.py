"""floor_survey: slope and flatness of the floor the session stood on, by a survey that still holds."""

import math
from datetime import date
from typing import Final

from rules.checks.base import CheckContext, PartWindow
from rules.checks.draft import Draft, listed, plain
from rules.checks.freshness import local_dates, part_window, place_of
from rules.checks.one_reading import Named, judge_value
from rules.checks.sentences import begin, clock_text
from rules.checks.taken import with_alternatives
from rules.facts import FloorSurvey, live
from rules.quantities import Limit
from rules.rounding import to_six
from rules.science.clocks import happened_before, possibly_last
from rules.science.floor import LEAST_POINTS, Floor, floor_of, positions
from rules.science.months import add_months
from rules.verdict import MET, Outcome

_SURVEY: Final = "Survey the floor of the bay, around the car and the target, or use another bay."
_OTHER_BAY: Final = "Use a bay whose floor is within the limits, or have this floor made level."
# A plane takes no more than this of its height at a point from that point alone (project default): the corner
# of nine points in three rows bears 0.44.
MOST_LEVERAGE: Final = 0.9
Point = tuple[float, float, float]


def floor_survey(context: CheckContext) -> Outcome:
    """Arguments ``slope`` (deg), ``flatness`` (mm), ``not_older_than`` (months).

    Judges the last survey of the session's bay made before the session. It needs nine places, around the car
    and the target of a target_pose in the same procedure, and it must not be older than allowed nor be ended
    by a change of the floor. Reason codes: missing, survey_old, conflict, unreadable, uncertainty_unknown,
    outside_limit, undecided, instrument_not_capable.
    """
    slope, flatness = (_limit(context, name) for name in ("slope", "flatness"))
    draft = begin(context, f"The floor must slope {slope.text} and be flat to {flatness.text}")
    survey = _survey(context, draft)
    if survey is None:
        return draft.outcome()
    draft.rests_on(survey)
    draft.uses([survey.instrument])
    if not _still_holds(context, draft, survey):
        return draft.outcome()
    if not _readable(draft, survey) or not _enough(context, draft, survey.points):
        return draft.outcome()
    _judge(context, draft, survey)
    if draft.tally.verdict == MET:
        draft.say(f"The survey of bay {survey.bay} shows {_found_words(draft)}.")
    return draft.outcome()


def _limit(context: CheckContext, name: str) -> Limit:
    argument = context.proof.arguments.get(name)
    if not isinstance(argument, Limit):
        raise TypeError(f"{name} of proof {context.proof.id} is no limit")
    return argument


# ------------------------------------------------------------------ which survey


def _survey(context: CheckContext, draft: Draft) -> FloorSurvey | None:
    window, session = part_window(context), context.session
    bay = None if session is None else session.bay
    if window is None or bay is None:
        draft.not_shown("missing", "The session names no bay, so no floor is known.", _SURVEY, "desk")
        return None
    surveys = [item for item in live(context.facts.floor_surveys) if item.bay == bay]
    before = [item for item in surveys if happened_before(item.surveyed, window.start) != "false"]
    last = possibly_last(before, lambda item: item.surveyed)
    if not last:
        late = " The only survey on file was made after the session began." if surveys else ""
        draft.not_shown("missing", f"The floor of bay {bay} is not surveyed.{late}", _SURVEY)
        return None
    if len(last) > 1 or happened_before(last[0].surveyed, window.start) != "true":
        draft.rests_on(*last)
        draft.not_shown(
            "conflict",
            f"The clocks leave open which survey of bay {bay} was the last before the session.",
            _SURVEY,
        )
        return None
    return last[0]


def _still_holds(context: CheckContext, draft: Draft, survey: FloorSurvey) -> bool:
    """Young enough for the session, and the floor not changed since? Tells where not."""
    window = part_window(context)
    if window is None:
        return False
    asked = context.proof.arguments.get("not_older_than")
    months = math.floor(asked) if isinstance(asked, float | int) else survey.valid_months
    place = place_of(context)
    valid_to = add_months(local_dates(place, survey.surveyed)[0], min(months, survey.valid_months))
    used_on = local_dates(place, window.start)[1]
    if used_on > valid_to:
        draft.not_shown(
            "survey_old",
            f"The floor of bay {survey.bay} was surveyed at {clock_text(place, survey.surveyed)}; that "
            f"may be used until {valid_to.isoformat()}, and the session was on {used_on.isoformat()}.",
            _SURVEY,
        )
    if survey.voided_at is not None and not _over_before(window, survey):
        because = f" ({survey.void_reason})" if survey.void_reason else ""
        draft.not_shown(
            "survey_old",
            f"The survey of bay {survey.bay} was voided on "
            f"{_day(context, survey).isoformat()}{because}: the floor is no longer as surveyed.",
            _SURVEY,
        )
    return draft.tally.verdict == MET


def _day(context: CheckContext, survey: FloorSurvey) -> date:
    at = survey.voided_at or survey.received_at
    return place_of(context).local_date(at)


def _over_before(window: PartWindow, survey: FloorSurvey) -> bool:
    """Is the part shown to have ended before the floor was changed?"""
    return window.end is not None and survey.voided_at is not None and window.end.high < survey.voided_at


# ------------------------------------------------------------------ is it enough


def _readable(draft: Draft, survey: FloorSurvey) -> bool:
    numbers = [value for point in survey.points for value in point]
    if all(len(point) == 3 for point in survey.points) and all(math.isfinite(value) for value in numbers):
        return True
    draft.not_shown(
        "unreadable", f"The survey of bay {survey.bay} holds values that are no numbers.", _SURVEY
    )
    return False


def _enough(context: CheckContext, draft: Draft, points: tuple[Point, ...]) -> bool:
    """Nine places, not on one line, around the car and the target."""
    count = positions(points)
    draft.number("points", float(count), "count")
    if count < LEAST_POINTS:
        draft.not_shown(
            "missing", f"The survey has {count} places; at least {LEAST_POINTS} are needed.", _SURVEY
        )
        return False
    try:
        floor = floor_of(points, 0.0)
    except ValueError:
        draft.not_shown(
            "missing",
            "The points of the survey lie on one line: they say nothing of the floor beside it.",
            _SURVEY,
        )
        return False
    if to_six(floor.largest_leverage) > MOST_LEVERAGE:
        draft.not_shown(
            "missing",
            "One point of the survey alone bears its plane: nothing near it says what the floor does.",
            _SURVEY,
        )
        return False
    return _around(context, draft, floor)


def _around(context: CheckContext, draft: Draft, floor: Floor) -> bool:
    distances = tuple(_target_distances(context))
    if not distances:
        return True
    vehicle = context.facts.vehicle
    wheelbase, track = vehicle.wheelbase_mm, vehicle.front_track_mm
    if wheelbase is None or track is None:
        draft.not_shown(
            "missing",
            "Wheelbase and front track marks of the vehicle are not recorded, so it is not known how far the "
            "survey must reach.",
            "Record the wheelbase and the distance of the front track marks.",
            "desk",
        )
        return False
    needed_x, needed_y = to_six(wheelbase + max(distances)), to_six(track)
    span_x, span_y = to_six(floor.span_x_mm), to_six(floor.span_y_mm)
    if span_x >= needed_x and span_y >= needed_y:
        return True
    draft.not_shown(
        "missing",
        f"The survey spans {plain(span_x, 0, (needed_x,))} mm by {plain(span_y, 0, (needed_y,))} mm; around "
        f"car and target it must span {plain(needed_x, 0)} mm by {plain(needed_y, 0)} mm.",
        _SURVEY,
    )
    return False


def _target_distances(context: CheckContext) -> list[float]:
    """Nominal distances of the targets that the same procedure sets up, mm."""
    found = []
    for proof in with_alternatives(context.procedure.proofs):
        limit = proof.arguments.get("distance")
        if proof.check != "target_pose" or not isinstance(limit, Limit):
            continue
        ends = [end for end in (limit.lower, limit.upper) if end is not None]
        if ends:
            found.append(math.fsum(ends) / len(ends))
    return found


# ------------------------------------------------------------------ judging


def _judge(context: CheckContext, draft: Draft, survey: FloorSurvey) -> None:
    u_z = survey.u_z
    known = u_z is not None and math.isfinite(u_z) and u_z > 0.0 and survey.instrument is not None
    floor = floor_of(survey.points, u_z if known and u_z is not None else 0.0)
    for name, words, value, u, digits in (
        ("slope", "Slope of the floor", floor.slope_deg, floor.u_slope_deg, 3),
        ("flatness", "Flatness of the floor", floor.flatness_mm, floor.u_flatness_mm, 2),
    ):
        judge_value(
            draft,
            Named(name=name, words=words, digits=digits),
            (value, u if known else None),
            _limit(context, name),
            context.z,
            _OTHER_BAY,
        )
    draft.number("standard_deviation", floor.residual_sd_mm, "mm")
    draft.number("worst_point", floor.plane.residuals[floor.worst], "mm")
    if floor.uphill_deg is not None:
        draft.number("uphill_direction", floor.uphill_deg, "deg")
        draft.note(f"The floor rises {_direction(floor.uphill_deg)}.")
    draft.note(
        f"Farthest from the plane: the point at {_at(survey.points[floor.worst])}, "
        f"{_above(floor.plane.residuals[floor.worst])}; standard deviation "
        f"{plain(floor.residual_sd_mm, 2)} mm."
    )
    if floor.standing_out:
        spots = listed(_at(survey.points[index]) for index in floor.standing_out)
        draft.note(f"Standing out from all other points (a drain, a lift plate or a slip?): {spots}.")


def _at(point: Point) -> str:
    return f"x {plain(point[0], 0)} mm, y {plain(point[1], 0)} mm"


def _above(residual: float) -> str:
    return f"{plain(abs(residual), 2)} mm {'above' if residual >= 0 else 'below'} it"


def _direction(uphill_deg: float) -> str:
    """``towards +x, 13.0 deg to the left``."""
    side = "left" if uphill_deg >= 0 else "right"
    return f"{plain(abs(uphill_deg), 1)} deg to the {side} of the direction in which x runs"


def _found_words(draft: Draft) -> str:
    values = {number.name: number for number in draft.numbers}
    parts = []
    for name, words, digits in (("slope", "a slope of", 3), ("flatness", "a flatness of", 2)):
        number = values[name]
        edges = (number.lower, number.upper)
        parts.append(f"{words} {plain(number.value or 0.0, digits, edges)} {number.unit}")
    return listed(parts)
