"""Checks on the order of events and on the time between two of them."""

from collections.abc import Mapping
from datetime import timedelta
from itertools import pairwise

from rules.checks.base import CheckContext, RequiredProcedure
from rules.checks.draft import Draft
from rules.checks.event_times import EventTime, event_time
from rules.checks.freshness import place_of
from rules.checks.sentences import begin, clock_text, names_argument, plain, word_argument, words
from rules.packs.model import Procedure, Proof, ordered_pairs
from rules.quantities import Limit
from rules.science.clocks import Span, happened_before, span
from rules.verdict import MET, NOT_MET, Outcome, Verdict, combine

ORDER_PROOF_ID = "order"


def needs_order(current: RequiredProcedure, required: Mapping[str, RequiredProcedure]) -> bool:
    """Has it an implicit proof of order: by its own list, by a clock, or by another's ``before``?"""
    if current.procedure.order or current.order_open:
        return True
    return bool(must_come_first(current, required))


def order_proof(procedure: Procedure) -> Proof:
    """The implicit proof of a procedure's ``order``; it can never be waived."""
    return Proof(
        id=ORDER_PROOF_ID,
        check="in_order",
        arguments={"events": procedure.order},
        waivable=False,
        waive_role=None,
        cite=procedure.cite,
    )


def must_come_first(
    current: RequiredProcedure, required: Mapping[str, RequiredProcedure]
) -> tuple[RequiredProcedure, ...]:
    """Required procedures whose trigger says that they come before this one."""
    here = current.procedure.id
    return tuple(
        other
        for other in required.values()
        if other.procedure.id != here and (other.procedure.id, here) in ordered_pairs(other.edition)
    )


def in_order(context: CheckContext) -> Outcome:
    """Each event at or before the next; and what must be completed first, was.

    Reasons: order_broken, order_unprovable, missing.
    """
    names = names_argument(context, "events")
    draft = begin(context, f"The events must follow each other: {words(names)}" if names else "Order")
    times = [event_time(context, name) for name in names]
    for item in times:
        if item.moment is None and not item.left_out:
            draft.not_shown("missing", f"There is no {plain(item.name)} on record.", _how_to_add(item.name))
    known = [item for item in times if item.moment is not None]
    for first, second in pairwise(known):
        _judge_pair(draft, context, first, second)
    if context.current.order_open and context.proof.id == ORDER_PROOF_ID:
        draft.not_shown(
            "order_unprovable",
            "The clocks leave open whether the session began after the work that calls for it.",
            "Record an observation of the device's clock, or repeat the session.",
        )
    for other in must_come_first(context.current, context.required):
        _judge_prerequisite(draft, context, other)
    if not draft.tally.reasons:
        draft.say(_in_words(context, known))
    return draft.outcome()


def _judge_pair(draft: Draft, context: CheckContext, first: EventTime, second: EventTime) -> None:
    a, b = first.moment, second.moment
    if a is None or b is None:
        return
    truth = happened_before(a, b)
    place = place_of(context)
    both = f"{plain(first.name)} ({clock_text(place, a)}) and {plain(second.name)} ({clock_text(place, b)})"
    if truth == "false":
        draft.not_met(
            "order_broken",
            f"Of {both}, the second came first.",
            f"Do again what {plain(second.name)} stands for, after {plain(first.name)}.",
        )
    elif truth == "unknown":
        draft.not_shown(
            "order_unprovable",
            f"Of {both}, the clocks do not show which came first.",
            "Record an observation of the device's clock, or repeat the later step.",
        )


def _judge_prerequisite(draft: Draft, context: CheckContext, other: RequiredProcedure) -> None:
    session, start = other.session, context.session
    title = other.procedure.title
    if start is None:
        return  # without a session every other proof of this procedure already says so
    verdict = _verdict_of(context, other)
    ended = None if session is None else session.ended
    truth = None if ended is None else happened_before(ended, start.started)
    change = f'Complete "{title}", then repeat this procedure.'
    if truth is None or truth == "false" or verdict == NOT_MET:
        draft.not_met("order_broken", f'"{title}" was not completed before this session began.', change)
    elif truth == "unknown" or verdict != MET:
        draft.not_shown(
            "order_unprovable",
            f'It is not shown that "{title}" was completed before this session began.',
            change,
        )


def _verdict_of(context: CheckContext, other: RequiredProcedure) -> Verdict:
    return combine(
        outcome.verdict
        for (procedure_id, proof_id), outcome in context.outcomes.items()
        if procedure_id == other.procedure.id and (procedure_id, proof_id) not in context.waived
    )


def _in_words(context: CheckContext, known: list[EventTime]) -> str:
    place = place_of(context)
    texts = [
        f"{plain(item.name)} {clock_text(place, item.moment)}" for item in known if item.moment is not None
    ]
    return (
        f"The record shows: {', then '.join(texts)}." if texts else "No event of the list has happened yet."
    )


_HOW_TO_ADD = {
    "before_scan": "It cannot be made up later; the proof of that scan may be waived where its pack says so.",
    "final_scan": "Scan all modules once more.",
    "final_signature": "The technician and the quality reviewer sign.",
    "repair_closed": "Record when each operation was done.",
    "adhesive_ready": "Wait until the adhesive is ready, with the climate log running.",
}


def _how_to_add(name: str) -> str:
    return _HOW_TO_ADD.get(name, f"Record {plain(name)}.")


# ------------------------------------------------------------------ time between two events


def within(context: CheckContext) -> Outcome:
    """``to`` minus ``from`` inside the limit, both ends included.

    Reasons: outside_limit, order_broken, order_unprovable, missing.
    """
    limit = context.proof.arguments.get("limit")
    if not isinstance(limit, Limit):
        raise TypeError(f"limit of proof {context.proof.id} is no limit")
    names = (word_argument(context, "from"), word_argument(context, "to"))
    draft = begin(context, f"From {plain(names[0])} to {plain(names[1])}: {limit.text}")
    start, end = (event_time(context, name).moment for name in names)
    if start is None or end is None:
        draft.not_shown("missing", "One of the two events is not on record.", "Record both events.")
        return draft.outcome()
    _judge_span(draft, limit, span(start, end))
    place = place_of(context)
    draft.say(f"The record shows {clock_text(place, start)} and {clock_text(place, end)}.")
    return draft.outcome()


def _judge_span(draft: Draft, limit: Limit, apart: Span) -> None:
    again = "Repeat the later part within the time."
    if apart.is_not_negative == "false":
        draft.not_met("order_broken", "The second event came first.", again)
        return
    low = None if limit.lower is None else timedelta(seconds=limit.lower)
    high = None if limit.upper is None else timedelta(seconds=limit.upper)
    too_long = high is not None and apart.low > high
    too_short = low is not None and apart.high < low
    if too_long or too_short:
        draft.not_met("outside_limit", "The time between them is outside the limit.", again)
        return
    inside = (high is None or apart.high <= high) and (low is None or apart.low >= low)
    if not inside or apart.is_not_negative != "true":
        draft.not_shown(
            "order_unprovable", "The clocks do not show whether the time is inside the limit.", again
        )
