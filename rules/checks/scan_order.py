"""Whether a final scan is shown to have ended after the repair and after the last governing session."""

from typing import Literal

from rules.checks.base import CheckContext
from rules.facts import Moment, Scan, live
from rules.science.clocks import happened_before
from rules.work_list import listed_operations

Place = Literal["after", "before", "open", "repair_open"]


def place_of_final(context: CheckContext, scan: Scan) -> Place:
    """``after`` or ``before`` what it must follow, ``open`` where clocks or a running session leave it so.

    ``repair_open``: an operation on the list is not recorded as done, so nothing can be shown.
    """
    orders = [happened_before(at, scan.ended) for at in _must_follow(context)]
    if "false" in orders:
        return "before"
    if "unknown" in orders or _session_runs(context):
        return "open"
    return "repair_open" if _repair_open(context) else "after"


def shown_too_early(context: CheckContext, scan: Scan) -> bool:
    """Is it shown to have ended before the repair was closed or before the last governing session?"""
    return place_of_final(context, scan) == "before"


def _must_follow(context: CheckContext) -> list[Moment]:
    ends = [item.done for item in live(context.facts.operations) if item.done is not None]
    for required in context.required.values():
        session = required.session
        if session is not None and session.ended is not None:
            ends.append(session.ended)
    return ends


def _session_runs(context: CheckContext) -> bool:
    sessions = (required.session for required in context.required.values())
    return any(session is not None and session.ended is None for session in sessions)


def _repair_open(context: CheckContext) -> bool:
    listed = listed_operations(context.facts)
    undone = any(item.done is None for item in live(context.facts.operations))
    return undone or any(not item.is_done for item in listed)
