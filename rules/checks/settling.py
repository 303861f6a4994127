"""When an open proof can still be settled, by the situation: the session, the car, what is past."""

from dataclasses import replace

from rules.checks.base import CheckContext
from rules.checks.freshness import part_window
from rules.facts import JobFacts, live
from rules.verdict import MET, Outcome, Settle

CAR_GONE = "The car has left."
SESSION_OVER = "The session is over, so it takes a new one."


def in_situation(context: CheckContext, outcome: Outcome) -> Outcome:
    """The outcome with its class as the situation makes it.

    A check names the class with the session running and the car here. Once the session (or its part) is over,
    what needed the set-up needs the car again; once the car has left, what needed the car is past.
    """
    if outcome.verdict == MET:
        return outcome
    settle, why = _settle(context, outcome.settle)
    return replace(outcome, settle=settle, settle_why=why or outcome.settle_why)


def _settle(context: CheckContext, wanted: Settle) -> tuple[Settle, str]:
    if wanted in ("desk", "never"):
        return wanted, ""
    if context.car_gone:
        return "never", CAR_GONE
    if wanted == "car_here" or is_set_up(context):
        return wanted, ""
    return "car_here", "" if context.session is None else SESSION_OVER


def is_set_up(context: CheckContext) -> bool:
    """Does the session run, and has the part that the proof belongs to not ended yet?"""
    session = context.session
    if session is None or session.ended is not None:
        return False
    window = part_window(context)
    return window is None or window.end is None


def work_begun(facts: JobFacts) -> bool:
    """Has any repair operation begun? What was to be recorded before it can no longer be."""
    return any(item.started is not None or item.done is not None for item in live(facts.operations))
