"""Which target a record belongs to where a visit has several, and which readings of it serve a session."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, TypeVar

from rules.checks.base import CheckContext, PartWindow, RequiredProcedure
from rules.checks.freshness import (
    SpoilingEvent,
    anything,
    local_dates,
    part_window,
    place_of,
    serves,
    serving,
    spoiling_events,
)
from rules.checks.stale_words import why_stale
from rules.facts import Moment, Reading, Session, TargetIdentity, live
from rules.science.clocks import earliest, fresh, happened_before, shown_strictly_before
from rules.verdict import Reason, Truth, not_shown

TargetT = TypeVar("TargetT", Reading, TargetIdentity)

POSE_CHECK: Final = "target_pose"
IDENTITY_CHECK: Final = "target_identity"


# ------------------------------------------------------------------ whose target


def of_this_target(
    context: CheckContext, records: Iterable[TargetT], check: str
) -> tuple[tuple[TargetT, ...], bool]:
    """The records about the target of this procedure, and whether the clocks leave one of them open.

    A record belongs to the procedure it names, or whose session it names. One that names neither belongs to
    the procedure of the first session that starts after it, among the required procedures that ask for a
    target; where only one asks, to that one.
    """
    rivals = [item for item in context.required.values() if _asks(item, check)]
    found, unsure = [], False
    for record in live(records):
        belongs = _belongs(context, record, rivals)
        if belongs == "true":
            found.append(record)
        unsure = unsure or belongs == "unknown"
    return tuple(found), unsure


def _asks(required: RequiredProcedure, check: str) -> bool:
    return any(
        item.check == check for proof in required.procedure.proofs for item in (proof, *proof.alternatives)
    )


def _belongs(
    context: CheckContext, record: Reading | TargetIdentity, rivals: list[RequiredProcedure]
) -> Truth:
    own = context.procedure.id
    if record.procedure_id is not None:
        return "true" if record.procedure_id == own else "false"
    named = next((item for item in context.facts.sessions if item.id == record.session), None)
    if named is not None:
        return "true" if named.procedure_id == own else "false"
    others = {item.procedure.id for item in rivals} - {own}
    if not others:
        return "true"
    sessions = [item for item in live(context.facts.sessions) if item.procedure_id in {own, *others}]
    return _first_after(record.at, sessions, own)


def _first_after(at: Moment, sessions: list[Session], own: str) -> Truth:
    """Does the first session that starts after ``at`` belong to the procedure ``own``?"""
    after = [item for item in sessions if happened_before(at, item.started) == "true"]
    perhaps = [item for item in sessions if happened_before(at, item.started) != "false"]
    first = earliest(item.started for item in after)
    possible = [item for item in perhaps if first is None or not shown_strictly_before(first, item.started)]
    owners = {item.procedure_id for item in possible}
    if not after or own not in owners:
        # Before no session for sure: it may still be, where a clock is vague.
        return "unknown" if own in owners else "false"
    return "true" if owners == {own} else "unknown"


# ------------------------------------------------------------------ which readings serve


@dataclass(frozen=True, slots=True, kw_only=True)
class Sets:
    """All readings of one quantity that serve, set after set; or the reason why none does."""

    readings: tuple[Reading, ...] = ()
    reason: Reason | None = None


def serving_sets(context: CheckContext, quantity: str) -> Sets:
    """Every reading of a target's quantity that is shown to serve the session part.

    Readings shown to be spoiled, of another day or later than the start of the part are left out. One that
    the clocks leave open could contradict the others, so then none serves.
    Reason codes: missing, evidence_stale.
    """
    taken = [item for item in context.facts.readings if item.quantity == quantity]
    own, unsure = of_this_target(context, taken, POSE_CHECK)
    window = part_window(context)
    if window is None or not (own or unsure):
        return Sets(reason=not_shown("missing"))
    states = [(item, _state(context, item.at, window)) for item in own]
    serving_now = tuple(item for item, state in states if state == "true")
    if unsure or not serving_now or any(state == "unknown" for _, state in states):
        return Sets(reason=not_shown("evidence_stale"))
    return Sets(readings=serving_now)


def serving_one(
    context: CheckContext, quantity: str, place: str | None = None, *, of_the_car: bool = False
) -> tuple[Reading | None, Reason | None]:
    """The last reading of another quantity that serves, or why none does (missing, evidence_stale).

    ``of_the_car``: a reading that names no procedure is about the car, so it serves every target.
    """
    taken = [
        item
        for item in context.facts.readings
        if item.quantity == quantity and (place is None or item.place == place)
    ]
    if of_the_car:
        own = tuple(item for item in live(taken) if item.procedure_id in (None, context.procedure.id))
        unsure = False
    else:
        own, unsure = of_this_target(context, taken, POSE_CHECK)
    if unsure:
        return None, not_shown("evidence_stale")
    return last_serving(context, own)


def last_serving(context: CheckContext, readings: Iterable[Reading]) -> tuple[Reading | None, Reason | None]:
    """The last of the readings if it serves; of sets read at one time the one with the highest number.

    Two different values of one set, read at one time, contradict each other: ``conflict``.
    """
    own = sorted(live(readings), key=lambda item: item.set_no)
    found, reason = serving(context, own, _taken, anything)
    if found is None:
        return None, reason
    same = (
        item for item in own if (item.at, item.set_no, item.place) == (found.at, found.set_no, found.place)
    )
    if any(item.value != found.value for item in same):
        return None, not_shown("conflict")
    return found, None


def not_serving(
    context: CheckContext, words: str, reason: Reason | None, quantity: str, place: str | None = None
) -> str:
    """Why no reading of a quantity serves, as a sentence: not on record, or what speaks against the last."""
    if reason is None or reason.code == "missing":
        return f"The {words} is not on record."
    if reason.code == "conflict":
        return f"The {words} is on record with two values for one time."
    taken = [
        item
        for item in context.facts.readings
        if item.quantity == quantity and (place is None or item.place == place)
    ]
    return f"The {words} on record does not serve this session. {why_stale(context, taken, _taken)}".strip()


def _taken(reading: Reading) -> Moment:
    return reading.at


def _state(context: CheckContext, taken: Moment, window: PartWindow) -> Truth:
    """Does a value taken then serve: shown, shown not to, or open?"""
    if serves(context, taken, window):
        return "true"
    if happened_before(taken, window.start) == "false" or _of_another_day(context, taken, window.start):
        return "false"
    if _too_old(context, taken, window.start):
        return "false"
    kinds = context.proof.broken_by
    spoilers = [event for event in spoiling_events(context.facts) if event.kind in kinds]
    if any(_surely_spoils(event, taken, window) for event in spoilers):
        return "false"
    return "unknown"


def _too_old(context: CheckContext, taken: Moment, start: Moment) -> bool:
    """With a time limit: is the reading shown to be older, or of an earlier visit that does not count?"""
    limit_s = context.proof.fresh_for_s
    if limit_s is None:
        return False
    earlier = happened_before(context.facts.opened, taken) == "false"
    return fresh(taken, start, limit_s) == "false" or (earlier and not context.proof.earlier_visit)


def _of_another_day(context: CheckContext, taken: Moment, start: Moment) -> bool:
    """Without a time limit a reading serves its own day: is it shown to be of another?"""
    if context.proof.fresh_for_s is not None:
        return False
    place = place_of(context)
    return local_dates(place, taken)[1] < local_dates(place, start)[0]


def _surely_spoils(event: SpoilingEvent, taken: Moment, window: PartWindow) -> bool:
    """Did the event begin for sure after the reading and before the part's start?"""
    return (
        happened_before(taken, event.start) == "true" and happened_before(event.start, window.start) == "true"
    )
