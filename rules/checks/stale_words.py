"""Why a record on file does not serve a session part, in words: age, clocks, what happened since."""

from collections.abc import Callable, Iterable
from typing import TypeVar

from rules.checks.base import CheckContext
from rules.checks.freshness import part_window, place_of, serves, spoiled_by
from rules.checks.sentences import clock_text, plain
from rules.facts import Moment, Record, live
from rules.science.clocks import fresh, happened_before

RecordT = TypeVar("RecordT", bound=Record)


def why_stale(
    context: CheckContext, records: Iterable[RecordT], moment_of: Callable[[RecordT], Moment]
) -> str:
    """``The last one is of 5 May 2026, 08:40; the session began 12:50: older than the 4 h allowed.``

    Empty where there is no record, or no session part that it could serve.
    """
    window = part_window(context)
    moments = sorted((moment_of(item) for item in live(records)), key=lambda at: (at.high, at.low))
    if window is None or not moments:
        return ""
    before = [at for at in moments if happened_before(at, window.start) == "true"]
    last = before[-1] if before else moments[-1]
    place = place_of(context)
    times = f"of {clock_text(place, last)}, and the session began {clock_text(place, window.start)}"
    return f"The last one is {times}: {_why(context, last, window.start)}."


def _why(context: CheckContext, taken: Moment, start: Moment) -> str:
    truth = happened_before(taken, start)
    if truth != "true":
        after = truth == "false"
        return "it was taken only after that" if after else "the clocks do not show that it was taken before"
    window = part_window(context)
    event = None if window is None else spoiled_by(context, taken, window)
    if event is not None:
        return f"{plain(event.kind)} lies between"
    if window is not None and serves(context, taken, window):
        return "the clocks, or its bay, leave open that it is the one that counts"
    return _why_old(context, taken, start)


def _why_old(context: CheckContext, taken: Moment, start: Moment) -> str:
    allowed_s = context.proof.fresh_for_s
    if allowed_s is None:
        return "it is not shown to be of the same day"
    if fresh(taken, start, allowed_s) != "true":
        return f"older than the {hours(allowed_s)} allowed"
    return "it is of an earlier visit"


def hours(span_s: float) -> str:
    """``4 h``, ``90 min`` or ``30 days``."""
    if span_s >= 172800 and span_s % 86400 == 0:
        return f"{span_s / 86400:g} days"
    return f"{span_s / 3600:g} h" if span_s >= 7200 else f"{span_s / 60:g} min"
