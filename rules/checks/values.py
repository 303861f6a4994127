"""value, angle, learned_aim, point_position: each reading against its limit, every one of them there."""

from dataclasses import replace

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, listed
from rules.checks.one_reading import Named, judge_value, known_u, value_words
from rules.checks.sentences import begin, names_argument, plain, word_argument
from rules.checks.taken import Wanted, take, wanted
from rules.conformity import Decision
from rules.facts import Reading
from rules.packs.signed import as_judged
from rules.quantities import Limit
from rules.verdict import MET, Outcome

_AXES = ("yaw", "pitch", "roll")
_COORDINATES = ("along", "across", "height")


def value(context: CheckContext) -> Outcome:
    """Arguments ``of`` (a quantity), ``limit``, and ``place`` or ``each_of``; without either the place is the
    proof's id.

    Reason codes: missing, evidence_stale, conflict, unreadable, uncertainty_unknown, outside_limit,
    undecided, instrument_not_capable.
    """
    quantity = word_argument(context, "of")
    limit = limit_argument(context, "limit")
    places = names_argument(context, "each_of") or names_argument(context, "place")
    where = f" at {listed(plain(place) for place in places)}" if places else ""
    draft = begin(context, f"{plain(quantity).capitalize()}{where} must be {limit.text}")
    if places:
        asked = [replace(wanted(quantity, place), not_of_others=True) for place in places]
    else:
        asked = [own_place(context, quantity, plain(quantity))]
    shown = [_judge(context, draft, item, limit) for item in asked]
    _say_met(draft, shown)
    return draft.outcome()


def angle(context: CheckContext) -> Outcome:
    """As ``value``, for quantities in degrees."""
    return value(context)


def learned_aim(context: CheckContext) -> Outcome:
    """Arguments ``yaw``, ``pitch``, ``roll`` (limits in deg, at least one): what the vehicle says it learned.

    The readings are the session's own, at a place named after the proof, or at none where the procedure has
    one such proof only. Reason codes as ``value``.
    """
    return _each(context, _AXES, "learned_{}", "Learned aim")


def point_position(context: CheckContext) -> Outcome:
    """Arguments ``along``, ``across``, ``height`` (limits in mm, at least one), from the marks named by
    ``measured_from``: each axis by itself. Reason codes as ``value``."""
    return _each(context, _COORDINATES, "point_{}", f"Position of {plain(context.proof.id)}")


def _each(context: CheckContext, axes: tuple[str, ...], quantity: str, what: str) -> Outcome:
    limits = {axis: limit_argument(context, axis) for axis in axes if axis in context.proof.arguments}
    asked = listed(f"{axis} {limit.text}" for axis, limit in limits.items())
    draft = begin(context, f"{what}: {asked}")
    shown = [
        _judge(
            context,
            draft,
            own_place(context, quantity.format(axis), f"{plain(context.proof.id)} {axis}"),
            limit,
        )
        for axis, limit in limits.items()
    ]
    _say_met(draft, shown)
    return draft.outcome()


def limit_argument(context: CheckContext, name: str) -> Limit:
    """A proof's limit; without it the proof cannot be judged."""
    argument = as_judged(context.proof, name, context.proof.arguments.get(name))
    if not isinstance(argument, Limit):
        raise TypeError(f"{name} of proof {context.proof.id} is no limit")
    return argument


def own_place(context: CheckContext, quantity: str, words: str, number: int | None = None) -> Wanted:
    """The reading of a proof that names no place: at its own id, numbered where it asks for several."""
    proof = context.proof
    place = proof.id if number is None else f"{proof.id}_{number}"
    alone = len([item for item in context.procedure.proofs if item.check == proof.check]) == 1
    places = (place, "") if number is None and proof.check == "learned_aim" and alone else (place,)
    return Wanted(quantity=quantity, places=places, words=words, own_procedure=True)


def judge_reading(
    context: CheckContext, draft: Draft, reading: Reading, named: Named, limit: Limit
) -> Decision | None:
    """One reading against its limit; one in another unit than its limit is unreadable."""
    if reading.unit != limit.unit:
        draft.not_shown(
            "unreadable",
            f"{named.words}: read in {reading.unit}, the limit is in {limit.unit}.",
            f"Read it again in {limit.unit}.",
            "now",
        )
        return None
    change = f"Bring {named.words[0].lower()}{named.words[1:]} to {limit.text} and read it again."
    return judge_value(draft, named, (reading.value, known_u(reading)), limit, context.z, change)


def _judge(context: CheckContext, draft: Draft, asked: Wanted, limit: Limit) -> str:
    """The value in words where it is met, else empty."""
    reading = take(context, draft, asked)
    if reading is None:
        return ""
    words = asked.words[0].upper() + asked.words[1:]
    named = Named(name=asked.quantity if asked.own_procedure else asked.places[0], words=words)
    decision = judge_reading(context, draft, reading, named, limit)
    if decision is None or decision.verdict != MET:
        return ""
    return f"{asked.words} {value_words(named, reading.value, limit, decision)}"


def _say_met(draft: Draft, shown: list[str]) -> None:
    if draft.tally.verdict == MET:
        text = listed(shown)
        draft.say(f"Within the limits: {text}.")
