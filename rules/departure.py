"""When the car left: by its delivery, or by the first road movement after it was signed out."""

from datetime import UTC, datetime
from typing import Final

from rules.checks.movements import RoadMovement, road_movements
from rules.facts import JobFacts, Moment, live, once
from rules.science.clocks import earliest, happened_before

# The facts are already those of one instant: no further cut by time.
_NO_CUT: Final = datetime(9999, 1, 1, tzinfo=UTC)


def first_release_at(facts: JobFacts) -> Moment | None:
    """The first release sign-off, fresh or not."""
    return earliest(item.at for item in live(facts.sign_offs) if item.role == "release")


@once
def departure(facts: JobFacts) -> Moment | None:
    """The moment of departure; None while the car has not left by the facts given.

    A session's own drive and a recorded sublet trip are no departure. Only movements shown to lie after a
    release sign-off count: earlier ones are judged by the adhesive and the order checks.
    """
    released = first_release_at(facts)
    moments = [
        item.start
        for item in road_movements(facts, _NO_CUT)
        if item.kind == "delivery"
        or (
            released is not None
            and happened_before(released, item.start) == "true"
            and not _is_recorded_trip(facts, item)
        )
    ]
    return earliest(moments)


def _is_recorded_trip(facts: JobFacts, movement: RoadMovement) -> bool:
    if movement.kind == "sublet":
        return True
    if movement.kind == "drive_log" and _is_session_drive(facts, movement):
        return True
    # Work that another business did here took the car nowhere.
    trips = [
        (item.out_at, item.back_at)
        for item in live(facts.sublet_trips)
        if item.out_at is not None and item.carried_how != "done_here"
    ]
    return any(_may_lie_in(movement.start, out_at, back_at) for out_at, back_at in trips)


def _is_session_drive(facts: JobFacts, movement: RoadMovement) -> bool:
    log = next(item for item in facts.drive_logs if item.id == movement.record_id)
    return bool(log.sessions) or any(
        _may_lie_in(movement.start, item.started, item.ended) for item in live(facts.sessions)
    )


def _may_lie_in(at: Moment, start: Moment | None, end: Moment | None) -> bool:
    """Is ``at`` not shown to lie outside [start, end]?"""
    if start is not None and happened_before(start, at) == "false":
        return False
    return end is None or happened_before(at, end) != "false"
