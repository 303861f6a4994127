"""When the car left: by its delivery, or by the first road movement after it was signed out."""

from rules.facts import DriveLog, JobFacts, Moment, live
from rules.science.clocks import earliest, happened_before


def first_release_at(facts: JobFacts) -> Moment | None:
    """The first release sign-off, fresh or not."""
    return earliest(item.at for item in live(facts.sign_offs) if item.role == "release")


def departure(facts: JobFacts) -> Moment | None:
    """The moment of departure; None while the car has not left by the facts given.

    A session's own drive and a recorded sublet trip are no departure. Only movements shown to lie after a
    release sign-off count: earlier ones are judged by the adhesive and the order checks.
    """
    moments = [] if facts.delivery is None or facts.delivery.ended_at is not None else [facts.delivery.at]
    released = first_release_at(facts)
    if released is not None:
        moments += [
            at
            for at in _road_movements(facts)
            if happened_before(released, at) == "true" and not _on_sublet_trip(facts, at)
        ]
    return earliest(moments)


def _road_movements(facts: JobFacts) -> list[Moment]:
    moves = [item.at for item in live(facts.state_changes) if item.kind == "vehicle_moved" and item.on_road]
    return moves + [
        log.clock.moment(log.fixes[0].t)
        for log in live(facts.drive_logs)
        if log.fixes and not _is_session_drive(facts, log)
    ]


def _is_session_drive(facts: JobFacts, log: DriveLog) -> bool:
    if log.sessions:
        return True
    start = log.clock.moment(log.fixes[0].t)
    return any(
        happened_before(item.started, start) != "false"
        and (item.ended is None or happened_before(start, item.ended) != "false")
        for item in live(facts.sessions)
    )


def _on_sublet_trip(facts: JobFacts, at: Moment) -> bool:
    for trip in live(facts.sublet_trips):
        if trip.out_at is None or happened_before(trip.out_at, at) == "false":
            continue
        if trip.back_at is None or happened_before(at, trip.back_at) != "false":
            return True
    return False
