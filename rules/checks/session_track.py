"""The drive of one session: its logs joined in order of time."""

from dataclasses import dataclass

from rules.checks.base import CheckContext
from rules.checks.freshness import of_session
from rules.facts import DriveLog, Fix, LogClock, Moment
from rules.science.motion import times_increase


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionTrack:
    """All fixes of a session's drive.

    ``in_order``: every fix is later than the one before it and all logs stand on one clock; only then may
    anything be computed from the track. ``start``, ``end``: first and last fix.
    """

    logs: tuple[DriveLog, ...]
    fixes: tuple[Fix, ...]
    clock: LogClock
    in_order: bool
    start: Moment
    end: Moment


def session_track(context: CheckContext) -> SessionTrack | None:
    """The joined drive logs of the governing session; None without any fix. A copy counts once."""
    own = of_session(
        context,
        [log for log in context.facts.drive_logs if log.fixes],
        lambda log: log.sessions,
        lambda log: log.clock.moment(log.fixes[0].t),
    )
    return join_logs(own)


def join_logs(logs: tuple[DriveLog, ...]) -> SessionTrack | None:
    """Logs joined by their times, whatever their order; time between them is time without fixes."""
    distinct: dict[tuple[Fix, ...], DriveLog] = {}
    for log in logs:
        if log.fixes:
            distinct.setdefault(log.fixes, log)
    if not distinct:
        return None
    ordered = tuple(sorted(distinct.values(), key=lambda log: (log.fixes[0].t, log.id)))
    fixes = tuple(fix for log in ordered for fix in log.fixes)
    clock = ordered[0].clock
    last = max(ordered, key=lambda log: log.fixes[-1].t)
    return SessionTrack(
        logs=ordered,
        fixes=fixes,
        clock=clock,
        in_order=all(log.clock == clock for log in ordered) and times_increase(fixes),
        start=clock.moment(ordered[0].fixes[0].t),
        end=last.clock.moment(last.fixes[-1].t),
    )
