"""Advice on every target of a job whose position is not shown or not met, from the finding's own numbers."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from rules.advice.next_measurement import Option
from rules.advice.next_measurement import told as options_told
from rules.advice.stand import StandMove
from rules.advice.stand import told as move_told
from rules.checks.target_pose import MM_PER_M
from rules.checks.target_words import change_words
from rules.conformity import decide_limit
from rules.quantities import Limit
from rules.result import Assessment
from rules.science.target_advice import QUANTITIES, Quantity, SetUp, Stands, advise
from rules.verdict import MET, NOT_MET, Finding, Number

CHECK: Final = "target_pose"
_READ: Final = "read_"


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetAdvice:
    """What to do about one target. ``open_quantities``: those not met; ``sentence`` in plain words."""

    procedure_id: str
    proof_id: str
    move: StandMove
    options: tuple[Option, ...]
    open_quantities: tuple[str, ...]
    sentence: str


def target_advice(assessment: Assessment) -> tuple[TargetAdvice, ...]:
    """Advice for each finding on a target's position that is not met, in the order of the findings."""
    found = (advice_for(item) for item in assessment.findings)
    return tuple(item for item in found if item is not None)


def advice_for(finding: Finding) -> TargetAdvice | None:
    """Advice for one finding; None where it is met or where no position was solved.

    Everything is taken from the numbers of the outcome, so a judgement on file gives the same advice as on
    the day.
    """
    if finding.check != CHECK or finding.verdict == MET:
        return None
    numbers = {number.name: number for number in finding.outcome.numbers}
    set_up = _set_up(numbers)
    if set_up is None:
        return None
    try:
        move, options = advise(set_up)
    except (ValueError, ArithmeticError):
        return None
    verdicts = {
        name: decide_limit(value, numbers[name].u, set_up.limits[name], set_up.z).verdict
        for name, value in set_up.values.items()
    }
    still_open = [name for name in QUANTITIES if verdicts.get(name, MET) != MET]
    rise, height_open = _rise(numbers.get("height"), set_up.z)
    sentence = ""
    if still_open:
        undecided = all(verdicts[name] != NOT_MET for name in still_open)
        sentence = change_words(move, options, still_open, undecided=undecided)
    return TargetAdvice(
        procedure_id=finding.procedure_id,
        proof_id=finding.proof_id,
        move=move_told(move, raise_mm=rise),
        options=options_told(options),
        open_quantities=(*still_open, *(("height",) if height_open else ())),
        sentence=sentence or finding.outcome.change,
    )


def _set_up(numbers: Mapping[str, Number]) -> SetUp | None:
    """The set-up behind the numbers; None unless a position was solved and judged."""
    needed = ("distance", "across_body", "turn_to_body", "bar_length", "tape_scale_u", "measured_from_front")
    found = {name: _value(numbers, name) for name in needed}
    if any(value is None for value in found.values()):
        return None
    judged: dict[Quantity, Number] = {
        name: numbers[name] for name in QUANTITIES if name in numbers and numbers[name].guard is not None
    }
    distance = judged.get("distance")
    if distance is None or not distance.u:
        return None
    values = {name: number.value for name, number in judged.items() if number.value is not None}
    return SetUp(
        nominal=_middle(distance),
        from_front=found["measured_from_front"] == 1.0,
        bar=found["bar_length"] or 0.0,
        front_track=_value(numbers, "front_marks_apart"),
        rear_track=_value(numbers, "rear_marks_apart"),
        wheelbase=_value(numbers, "wheelbase"),
        read=_read(numbers),
        scale=(found["tape_scale_u"] or 0.0) / MM_PER_M,
        stands=Stands(
            x=distance.value or 0.0,
            y=found["across_body"] or 0.0,
            turn_deg=found["turn_to_body"] or 0.0,
        ),
        thrust=_thrust(numbers.get("thrust_angle")),
        limits={name: _limit(judged[name]) for name in values},
        values=values,
        # Guard over u, both rounded to six decimals, gives the factor back to four.
        z=round((distance.guard or 0.0) / distance.u, 4),
    )


def _value(numbers: Mapping[str, Number], name: str) -> float | None:
    return numbers[name].value if name in numbers else None


def _limit(number: Number) -> Limit:
    return Limit(lower=number.lower, upper=number.upper, unit=number.unit, text="")


def _middle(number: Number) -> float:
    if number.lower is not None and number.upper is not None:
        return (number.lower + number.upper) / 2.0
    return number.lower if number.lower is not None else (number.upper or 0.0)


def _read(numbers: Mapping[str, Number]) -> dict[str, tuple[float, int]]:
    read: dict[str, tuple[float, int]] = {}
    for name, number in numbers.items():
        if name.startswith(_READ) and number.u is not None:
            place = name.removeprefix(_READ)
            read[place] = (number.u, int(_value(numbers, f"count_{place}") or 1.0))
    return read


def _thrust(number: Number | None) -> tuple[float, float] | None:
    if number is None or number.value is None or number.u is None:
        return None
    return number.value, number.u


def _rise(number: Number | None, z: float) -> tuple[float | None, bool]:
    """How much higher the target should stand, and whether its height is open."""
    if number is None or number.value is None or number.u is None:
        return None, False
    is_open = decide_limit(number.value, number.u, _limit(number), z).verdict != MET
    return _middle(number) - number.value, is_open
