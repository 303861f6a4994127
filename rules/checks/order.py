"""Checks on the order of events and on the time between two of them."""

from collections.abc import Iterable, Mapping
from datetime import timedelta
from itertools import pairwise
from typing import Final

from rules.checks.base import CheckContext, RequiredProcedure
from rules.checks.draft import Draft
from rules.checks.event_times import EventTime, event_time
from rules.checks.freshness import place_of
from rules.checks.known_times import KnownTimes, known_times
from rules.checks.sentences import begin, clock_text, names_argument, plain, word_argument, words
from rules.checks.settling import work_begun
from rules.facts import Moment
from rules.packs.model import Procedure, Proof, ordered_pairs
from rules.quantities import Limit
from rules.science.clocks import Span
from rules.verdict import MET, NOT_MET, Outcome, Settle, Verdict, combine

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
    draft = begin(context, _required(names))
    times = [event_time(context, name) for name in names]
    for item in times:
        if item.moment is None and not item.left_out:
            draft.not_shown(
                "missing", f"There is no {plain(item.name)} on record.", *_how_to_add(context, item.name)
            )
    known = [item for item in times if item.moment is not None]
    shown = known_times(context.facts)
    for first, second in pairwise(known):
        _judge_pair(draft, context, shown, (first, second))
    _rest_on_events(draft, shown, known)
    if context.current.order_open and context.proof.id == ORDER_PROOF_ID:
        draft.not_shown(
            "order_unprovable",
            "The clocks leave open whether the session began after the work that calls for it.",
            "Compare the device's clock with the server's; where that does not show it, repeat the session.",
            "desk",
        )
    for other in must_come_first(context.current, context.required):
        _judge_prerequisite(draft, context, shown, other)
    if not draft.tally.reasons:
        draft.say(_in_words(context, known))
    return draft.outcome()


def _required(names: tuple[str, ...]) -> str:
    if not names:
        return "What must be completed first must be completed before this session begins"
    return f"The events must follow each other: {words(names)}"


def _judge_pair(
    draft: Draft, context: CheckContext, shown: KnownTimes, pair: tuple[EventTime, EventTime]
) -> None:
    first, second = pair
    a, b = first.moment, second.moment
    if a is None or b is None:
        return
    truth = shown.happened_before(a, b)
    place = place_of(context)
    both = f"{plain(first.name)} ({clock_text(place, a)}) and {plain(second.name)} ({clock_text(place, b)})"
    if truth == "false":
        draft.not_met(
            "order_broken",
            f"Of {both}, the second came first.",
            *_how_to_repeat(first.name, second.name),
        )
    elif truth == "unknown":
        draft.not_shown(
            "order_unprovable",
            f"Of {both}, {_why_open(shown, a, b)}.",
            "Compare the device's clock with the server's; where that does not show it, do the later again.",
            "desk",
        )


def _rest_on_events(draft: Draft, shown: KnownTimes, events: Iterable[EventTime]) -> None:
    for event in events:
        for record_id in () if event.moment is None else shown.records_at(event.moment):
            draft.rests_on_id(record_id)


def _why_open(shown: KnownTimes, *moments: Moment) -> str:
    if any(shown.is_doubtful(moment) for moment in moments):
        return "the clocks contradict each other, so they do not show which came first"
    return "the clocks do not show which came first"


def _judge_prerequisite(
    draft: Draft, context: CheckContext, shown: KnownTimes, other: RequiredProcedure
) -> None:
    session, start = other.session, context.session
    title = other.procedure.title
    if start is None:
        return  # without a session every other proof of this procedure already says so
    verdict = _verdict_of(context, other)
    ended = None if session is None else session.ended
    truth = None if ended is None else shown.happened_before(ended, start.started)
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


_HOW_TO_ADD: Final[Mapping[str, tuple[str, Settle]]] = {
    "before_scan": ("Scan all modules before the work begins.", "car_here"),
    "final_scan": ("Scan all modules once more.", "car_here"),
    "final_signature": ("The technician and the quality reviewer sign.", "desk"),
    "repair_closed": ("Record when each operation was done.", "desk"),
    "adhesive_ready": ("Wait until the adhesive is ready, with the climate log running.", "car_here"),
    "session_end": ("Record the end of the session.", "now"),
    "still_end": ("Record the end of the part standing still.", "now"),
    "road_end": ("Record the end of the part on the road.", "now"),
    "drive_start": ("File the drive log.", "desk"),
    "drive_end": ("File the drive log.", "desk"),
}
_PAST: Final = ("first_operation", "repair_closed", "adhesive_ready", "any_road_drive", "delivery")


def _how_to_add(context: CheckContext, name: str) -> tuple[str, Settle]:
    if name == "before_scan" and work_begun(context.facts):
        return (
            "It cannot be made up later; the proof of that scan may be waived where its pack says so.",
            "never",
        )
    return _HOW_TO_ADD.get(name, (f"Record {plain(name)}.", "now"))


def _how_to_repeat(first: str, second: str) -> tuple[str, Settle]:
    """What can be done once the second of two events came first."""
    if second in _PAST:
        return f"This cannot be made up for: {plain(second)} came before {plain(first)}.", "never"
    if second in ("final_signature", "release"):
        return "Sign again, now that everything before it is there.", "desk"
    return f"Repeat {plain(second)}, after {plain(first)}.", "car_here"


# ------------------------------------------------------------------ time between two events


def within(context: CheckContext) -> Outcome:
    """``to`` minus ``from`` inside the limit, both ends included.

    Reasons: outside_limit, order_broken, order_unprovable, missing.
    """
    limit = context.proof.arguments.get("limit")
    if not isinstance(limit, Limit):
        raise TypeError(f"limit of proof {context.proof.id} is no limit")
    names = (word_argument(context, "from"), word_argument(context, "to"))
    draft = begin(context, f"From {plain(names[0])} to {plain(names[1])} it must be {limit.text}")
    shown, times = known_times(context.facts), [event_time(context, name) for name in names]
    _rest_on_events(draft, shown, times)
    start, end = (item.moment for item in times)
    if start is None or end is None:
        unknown = [name for name, at in zip(names, (start, end), strict=True) if at is None]
        draft.not_shown(
            "missing", f"There is no {words(unknown)} on record.", *_how_to_add(context, unknown[0])
        )
        return draft.outcome()
    _judge_span(draft, limit, shown.span(start, end))
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
