"""thrust_angle: the line the car travels along, from the toe of each rear wheel; also for target checks."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, plain
from rules.checks.freshness import LASTING_KINDS
from rules.checks.one_reading import Named, judge_value, known_u, limit_words
from rules.checks.sentences import begin
from rules.checks.stale_words import why_stale
from rules.checks.targets import last_serving
from rules.facts import Moment, Reading, live
from rules.packs.model import Proof
from rules.packs.signed import as_judged
from rules.quantities import Limit
from rules.rounding import to_six
from rules.science.thrust import ThrustLine, agrees_in_size, thrust_line
from rules.verdict import Outcome, Reason, not_shown

CHECK: Final = "thrust_angle"
# A printed thrust angle and the one computed from toe must agree in size to this (project default).
PRINTOUT_WITHIN_DEG: Final = 0.02
_READ_TOE: Final = "Read the toe of both rear wheels on the alignment rack."
_TRANSCRIBE: Final = "Transcribe the printout again, or measure the rear axle again."


@dataclass(frozen=True, slots=True, kw_only=True)
class ThrustFault:
    """Why there is no thrust line, in words, and what would change it."""

    reason: Reason
    sentence: str
    change: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Thrust:
    """The thrust line, or the faults that leave none; ``angle_deg`` alone where only its u is unknown."""

    line: ThrustLine | None
    angle_deg: float | None = None
    readings: tuple[Reading, ...] = ()
    faults: tuple[ThrustFault, ...] = ()


def thrust_angle(context: CheckContext) -> Outcome:
    """Argument ``limit``: of the angle between thrust line and body, deg, positive to the left.

    Reason codes: missing, evidence_stale, unreadable, uncertainty_unknown, conflict, outside_limit,
    undecided, instrument_not_capable.
    """
    limit = as_judged(context.proof, "limit", context.proof.arguments["limit"])
    if not isinstance(limit, Limit):
        raise TypeError("limit of thrust_angle is no limit")
    draft = begin(context, f"The thrust angle must be {limit_words(limit)}")
    found = thrust_of(context)
    draft.rests_on(*found.readings)
    draft.uses(reading.instrument for reading in found.readings)
    for fault in found.faults:
        draft.open(fault.reason, fault.sentence, fault.change, "car_here")
    if found.line is not None:
        _judge(draft, found.line, limit, context.z)
    elif found.angle_deg is not None:
        draft.number("thrust_angle", found.angle_deg, "deg")
    return draft.outcome()


def _judge(draft: Draft, line: ThrustLine, limit: Limit, z: float) -> None:
    named = Named(name="thrust_angle", words="Thrust angle", sides=("to the left", "to the right"), digits=3)
    change = "Correct the toe of the rear wheels and read it again."
    decision = judge_value(draft, named, (line.angle_deg, line.u_deg), limit, z, change)
    if decision.reason is None:
        side = "left" if line.angle_deg > 0 else "right"
        size = plain(abs(line.angle_deg), 3)
        draft.say(f"The toe of the rear wheels gives a thrust angle of {size} deg to the {side}.")


def thrust_for(context: CheckContext) -> Thrust:
    """The thrust line for another proof of the same procedure, as its thrust proof has it.

    A procedure without a thrust proof still needs toe readings that serve: of the same day, with no work on
    suspension or alignment since.
    """
    proofs = [proof for proof in _every_proof(context.procedure.proofs) if proof.check == CHECK]
    if proofs:
        return thrust_of(replace(context, proof=proofs[0]))
    return thrust_of(replace(context, proof=replace(context.proof, broken_by=(), fresh_for_s=None)))


def _every_proof(proofs: Iterable[Proof]) -> list[Proof]:
    return [item for proof in proofs for item in (proof, *proof.alternatives)]


def thrust_of(context: CheckContext) -> Thrust:
    """The thrust line by the freshness of the context's proof; work on the geometry always spoils a toe."""
    kinds = tuple(dict.fromkeys((*context.proof.broken_by, *sorted(LASTING_KINDS))))
    own = replace(context, proof=replace(context.proof, broken_by=kinds))
    faults: list[ThrustFault] = []
    left = _toe(own, "left", faults)
    right = _toe(own, "right", faults)
    if left is None or right is None:
        taken = tuple(item for item in (left, right) if item is not None)
        return Thrust(line=None, readings=taken, faults=tuple(faults))
    readings: tuple[Reading, ...] = (left, right)
    if left.set_no != right.set_no:
        return Thrust(line=None, readings=readings, faults=(_of_two_sets(left, right),))
    angle = (right.value - left.value) / 2.0
    printed, fault = _printed(own, angle)
    if printed is not None:
        readings = (left, right, printed)
    if fault is not None:
        return Thrust(line=None, readings=readings, faults=(fault,))
    if not all(math.isfinite(item.value) for item in (left, right)):
        return Thrust(line=None, readings=readings, faults=(_unreadable(),))
    u_left, u_right = known_u(left), known_u(right)
    if u_left is None or u_right is None or not math.isfinite(u_left + u_right):
        return Thrust(line=None, angle_deg=to_six(angle), readings=readings, faults=(_no_uncertainty(),))
    return Thrust(line=thrust_line(left.value, right.value, u_left, u_right), readings=readings)


def _toe(context: CheckContext, side: str, faults: list[ThrustFault]) -> Reading | None:
    found = [item for item in context.facts.readings if item.quantity == f"rear_toe_{side}"]
    reading, reason = last_serving(context, found)
    if reading is None:
        faults.append(_no_toe(context, side, reason or not_shown("missing")))
    return reading


def _no_toe(context: CheckContext, side: str, reason: Reason) -> ThrustFault:
    if reason.code == "conflict":
        sentence = f"The toe of the {side} rear wheel is on record with two values for one time."
    elif reason.code != "missing":
        taken = [item for item in context.facts.readings if item.quantity == f"rear_toe_{side}"]
        why = why_stale(context, taken, _taken)
        sentence = f"The toe reading of the {side} rear wheel does not serve this session. {why}".strip()
    elif any(item.quantity == "rear_toe_total" for item in live(context.facts.readings)):
        sentence = (
            f"The toe of the {side} rear wheel by itself is not on record; the total toe of both wheels does "
            "not say which way the car travels."
        )
    else:
        sentence = f"The toe of the {side} rear wheel is not on record."
    return ThrustFault(reason=reason, sentence=sentence, change=_READ_TOE)


def _of_two_sets(left: Reading, right: Reading) -> ThrustFault:
    """One wheel as read before an adjustment and the other after it make no line."""
    return ThrustFault(
        reason=not_shown("conflict"),
        sentence=(
            f"The toe of the left and of the right rear wheel is of different sets ({left.set_no} and "
            f"{right.set_no}), so they need not be of one state of the car."
        ),
        change=_READ_TOE,
    )


def _no_uncertainty() -> ThrustFault:
    return ThrustFault(
        reason=not_shown("uncertainty_unknown"),
        sentence="The toe readings name no instrument with a method budget, so their uncertainty is unknown.",
        change=_READ_TOE,
    )


def _unreadable() -> ThrustFault:
    return ThrustFault(
        reason=not_shown("unreadable"),
        sentence="A toe reading on record is no number.",
        change=_READ_TOE,
    )


def _printed(context: CheckContext, angle: float) -> tuple[Reading | None, ThrustFault | None]:
    """The thrust angle as the rack printed it, and the fault if its size is another than that from toe."""
    found = [item for item in context.facts.readings if item.quantity == "thrust_printed"]
    printed, reason = last_serving(context, found)
    if reason is not None and reason.code == "conflict":
        sentence = "The thrust angle of the printout is on record with two values for one time."
        return None, ThrustFault(reason=reason, sentence=sentence, change=_TRANSCRIBE)
    if printed is None:
        # One that does not serve belongs to another state of the car.
        return None, None
    if agrees_in_size(printed.value, angle, PRINTOUT_WITHIN_DEG):
        return printed, None
    apart = to_six(abs(abs(printed.value) - abs(angle)))
    sentence = (
        f"The printout gives a thrust angle of {plain(abs(printed.value), 3)} deg, the toe of the rear "
        f"wheels one of {plain(abs(angle), 3)} deg: they differ by "
        f"{plain(apart, 3, (PRINTOUT_WITHIN_DEG,))} deg, and {PRINTOUT_WITHIN_DEG:g} deg is the most."
    )
    return printed, ThrustFault(reason=not_shown("conflict"), sentence=sentence, change=_TRANSCRIBE)


def _taken(reading: Reading) -> Moment:
    return reading.at
