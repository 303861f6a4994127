"""Where an event lies on the time axis of a log, whose clock may differ from the event's."""

from rules.facts import LogClock, Moment

Bounds = tuple[float, float]


def bounds_in_log(moment: Moment, clock: LogClock) -> Bounds:
    """Earliest and latest reading (POSIX seconds) the log's clock can have shown at the event.

    On the log's own device clock the reading itself is known, whatever the clock's offset is.
    """
    if moment.clock == clock.clock and moment.clock.startswith("device:"):
        reading = moment.reading.timestamp()
        return reading, reading + moment.resolution_s
    return moment.low.timestamp() + clock.offset_low_s, moment.high.timestamp() + clock.offset_high_s


def join(parts: list[Bounds]) -> tuple[Bounds, ...]:
    """The union of closed intervals, in order, touching ones as one."""
    joined: list[Bounds] = []
    for start, end in sorted(parts):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        elif end >= start:
            joined.append((start, end))
    return tuple(joined)


def without(part: Bounds, removed: tuple[Bounds, ...]) -> tuple[Bounds, ...]:
    """What is left of ``part`` when the joined, ordered intervals ``removed`` are taken out."""
    left: list[Bounds] = []
    start, end = part
    for cut_start, cut_end in removed:
        if cut_end <= start or cut_start >= end:
            continue
        if cut_start > start:
            left.append((start, cut_start))
        start = max(start, cut_end)
    if end > start:
        left.append((start, end))
    return tuple(left)
