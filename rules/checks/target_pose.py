"""target_pose: distance, sideways position and yaw of a target from tape readings; its height and tilt."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, listed
from rules.checks.one_reading import Named, judge_value, limit_words, value_words
from rules.checks.sentences import begin
from rules.checks.target_height import judge_height, judge_tilt
from rules.checks.target_tape import FRONT, Tape, nominal_of, tape_of
from rules.checks.target_words import SET_UP_ANEW, change_words
from rules.checks.thrust import Thrust, thrust_for
from rules.conformity import decide_limit
from rules.packs.signed import as_judged
from rules.quantities import Limit
from rules.rounding import to_six
from rules.science.pose import sideways_u
from rules.science.target_advice import Quantity, SetUp, Stands, advise
from rules.science.thrust import ThrustLine
from rules.verdict import MET, NOT_MET, Number, Outcome

THRUST_LINE: Final = "thrust_line"
MM_PER_M: Final = 1000.0
_SIDEWAYS: Final[Mapping[bool, str]] = {True: "the thrust line", False: "the middle of the car"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A quantity with its u and its limit, in mm or deg."""

    named: Named
    value: float
    u: float
    limit: Limit


def target_pose(context: CheckContext) -> Outcome:
    """Where the target stands, and whether it is where it should be.

    Limits: ``distance``, ``sideways``, ``yaw``, ``height``, ``bar_tilt``; the last three may be left out.
    Other arguments: ``measured_from`` (front_axle_marks or rear_axle_marks), ``bar_length`` (mm),
    ``centred_on`` (thrust_line, or left out for the car's middle). All sets of distances that serve are
    averaged; of every other quantity the last reading counts. Readings that disagree withhold all that rests
    on the tape; without a thrust line, distance is still judged; height and tilt are judged in any case.

    Reason codes: missing, evidence_stale, uncertainty_unknown, readings_disagree, no_redundancy, conflict,
    undecided, outside_limit, instrument_not_capable, unreadable.
    """
    draft = begin(context, _required(context))
    distance = _limit(context, "distance")
    if distance is None:
        raise TypeError("distance of target_pose is no limit")
    met = [*_judge_tape(context, draft, distance)]
    height, tilt = _limit(context, "height"), _limit(context, "bar_tilt")
    if height is not None:
        met.append(judge_height(context, draft, height, nominal_of(distance)))
    if tilt is not None:
        met.append(judge_tilt(context, draft, tilt))
    if draft.tally.verdict == MET:
        draft.say(f"The readings give {', '.join(words for words in met if words)}.")
    return draft.outcome()


def _limit(context: CheckContext, name: str) -> Limit | None:
    found = as_judged(context.proof, name, context.proof.arguments.get(name))
    return found if isinstance(found, Limit) else None


def _on_thrust_line(context: CheckContext) -> bool:
    return context.proof.arguments.get("centred_on") == THRUST_LINE


def _required(context: CheckContext) -> str:
    line = _SIDEWAYS[_on_thrust_line(context)]
    words = {
        "distance": "a distance of {}",
        "sideways": f"a sideways position of {{}} from {line}",
        "yaw": "a yaw of {}",
        "height": "a height of {}",
        "bar_tilt": "a tilt of its bar of {}",
    }
    limits = {name: _limit(context, name) for name in words}
    asked = [words[name].format(limit_words(limit)) for name, limit in limits.items() if limit is not None]
    return f"The target must stand at {listed(asked)}"


# ------------------------------------------------------------------ what the tape says


def _judge_tape(context: CheckContext, draft: Draft, distance: Limit) -> list[str]:
    """Judge distance, sideways position and yaw; the words of each that is met."""
    on_line = _on_thrust_line(context)
    thrust = thrust_for(context) if on_line else None
    tape = tape_of(context, draft, distance, on_thrust_line=on_line)
    if thrust is not None:
        draft.rests_on(*thrust.readings)
        draft.uses(reading.instrument for reading in thrust.readings)
        for fault in thrust.faults:
            draft.open(fault.reason, fault.sentence, fault.change, "car_here", _NO_LINE)
    if tape is None:
        return []
    _keep_position(draft, tape)
    draft.number("measured_from_front", 1.0 if from_front(context) else 0.0, "count")
    if thrust is not None and thrust.line is not None:
        line = thrust.line
        draft.numbers.append(
            Number(name="thrust_angle", value=to_six(line.angle_deg), unit="deg", u=to_six(line.u_deg))
        )
    measured = _measured(context, tape, thrust, distance)
    if tape.pose.degrees_of_freedom < 1:
        # Nothing checks three readings, so nothing is decided on them.
        for item in measured.values():
            draft.numbers.append(
                Number(name=item.named.name, value=to_six(item.value), unit=item.limit.unit, u=to_six(item.u))
            )
        return []
    return _judge_measured(context, draft, measured, set_up_of(context, tape, thrust, measured))


_NO_LINE: Final = "Without the thrust line, sideways position and yaw are not shown."


def _keep_position(draft: Draft, tape: Tape) -> None:
    """What was read and solved, as numbers: enough to do the sum again."""
    pose = tape.pose
    if pose.degrees_of_freedom > 0:
        draft.number("chi_squared", pose.chi_squared, "ratio")
        draft.number("chi_squared_limit", pose.chi_squared_limit, "ratio")
    u_y, u_turn = math.sqrt(pose.covariance[1][1]), math.degrees(math.sqrt(pose.covariance[2][2]))
    draft.numbers.append(Number(name="across_body", value=to_six(pose.y), unit="mm", u=to_six(u_y)))
    turn = to_six(math.degrees(pose.psi))
    draft.numbers.append(Number(name="turn_to_body", value=turn, unit="deg", u=to_six(u_turn)))
    for item, residual, count in zip(tape.observations, pose.residuals, tape.counts, strict=True):
        draft.numbers.append(
            Number(name=f"read_{item.place}", value=to_six(item.distance), unit="mm", u=to_six(item.u))
        )
        draft.number(f"residual_{item.place}", residual, "mm")
        if count > 1:
            draft.number(f"count_{item.place}", float(count), "count")
    lengths = tape.lengths
    for name, value in (
        ("bar_length", lengths.bar),
        ("front_marks_apart", lengths.front_track),
        ("rear_marks_apart", lengths.rear_track),
        ("wheelbase", lengths.wheelbase),
    ):
        if value is not None:
            draft.number(name, value, "mm")
    draft.number("tape_scale_u", MM_PER_M * _scale(tape), "mm/m")


def _scale(tape: Tape) -> float:
    return max((u for item in tape.observations for _, u, _ in item.scale), default=0.0)


def _measured(
    context: CheckContext, tape: Tape, thrust: Thrust | None, distance: Limit
) -> dict[Quantity, Measured]:
    """Distance always; sideways position and yaw where there is a line to measure them from."""
    pose = tape.pose
    found: dict[Quantity, Measured] = {
        "distance": Measured(
            named=Named(name="distance", words="Distance of the target"),
            value=to_six(pose.x),
            u=math.sqrt(pose.covariance[0][0]),
            limit=distance,
        )
    }
    if thrust is not None and thrust.line is None:
        return found
    line = ThrustLine(angle_deg=0.0, u_deg=0.0) if thrust is None or thrust.line is None else thrust.line
    arm = pose.x + ((tape.lengths.wheelbase or 0.0) if from_front(context) else 0.0)
    u_line = math.radians(line.u_deg)
    sideways, yaw = _limit(context, "sideways"), _limit(context, "yaw")
    if sideways is not None:
        found["sideways"] = Measured(
            named=Named(
                name="sideways",
                words=f"Sideways position from {_SIDEWAYS[thrust is not None]}",
                sides=("to the left", "to the right"),
            ),
            value=to_six(pose.y - line.aside(arm)),
            u=sideways_u(pose, arm if thrust is not None else 0.0, u_line),
            limit=sideways,
        )
    if yaw is not None:
        found["yaw"] = Measured(
            named=Named(
                name="yaw", words="Yaw of the target", sides=("anticlockwise", "clockwise"), digits=3
            ),
            value=to_six(math.degrees(pose.psi) - line.angle_deg),
            u=math.degrees(math.hypot(math.sqrt(pose.covariance[2][2]), u_line)),
            limit=yaw,
        )
    return found


def _judge_measured(
    context: CheckContext, draft: Draft, measured: Mapping[Quantity, Measured], set_up: SetUp
) -> list[str]:
    decisions = {
        name: decide_limit(item.value, item.u, item.limit, context.z) for name, item in measured.items()
    }
    still_open = [name for name, decision in decisions.items() if decision.reason is not None]
    change = ""
    if still_open:
        undecided = all(decisions[name].verdict != NOT_MET for name in still_open)
        change = _advice(set_up, still_open, undecided=undecided)
    met = []
    for name, item in measured.items():
        decision = judge_value(draft, item.named, (item.value, item.u), item.limit, context.z, change)
        if decision.reason is None:
            met.append(f"{_MET_WORDS[name]} {value_words(item.named, item.value, item.limit, decision)}")
    return met


def _advice(set_up: SetUp, still_open: list[Quantity], *, undecided: bool) -> str:
    """What would change it; where nothing can be predicted the verdict stands without."""
    try:
        move, options = advise(set_up)
    except (ValueError, ArithmeticError):
        return SET_UP_ANEW
    return change_words(move, options, still_open, undecided=undecided)


_MET_WORDS: Final[Mapping[Quantity, str]] = {"distance": "distance", "sideways": "sideways", "yaw": "yaw"}


# ------------------------------------------------------------------ what advice rests on


def set_up_of(
    context: CheckContext, tape: Tape, thrust: Thrust | None, measured: Mapping[Quantity, Measured]
) -> SetUp:
    """The set-up as advice on it needs it."""
    line = None if thrust is None else thrust.line
    return SetUp(
        nominal=tape.nominal,
        from_front=from_front(context),
        bar=tape.lengths.bar,
        front_track=tape.lengths.front_track,
        rear_track=tape.lengths.rear_track,
        wheelbase=tape.lengths.wheelbase,
        read={
            item.place: (item.u, count) for item, count in zip(tape.observations, tape.counts, strict=True)
        },
        scale=_scale(tape),
        stands=Stands(x=tape.pose.x, y=tape.pose.y, turn_deg=math.degrees(tape.pose.psi)),
        thrust=None if line is None else (line.angle_deg, line.u_deg),
        limits={name: item.limit for name, item in measured.items()},
        values={name: item.value for name, item in measured.items()},
        z=context.z,
    )


def from_front(context: CheckContext) -> bool:
    """Is the target measured from the marks of the front axle?"""
    return context.proof.arguments.get("measured_from") == FRONT
