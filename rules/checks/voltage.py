"""voltage_log: the supply voltage through the whole session, by one or several logs."""

import math
from dataclasses import dataclass
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, plain, seconds
from rules.checks.freshness import of_session, part_window, perhaps_of_session
from rules.checks.sentences import begin
from rules.display import with_unit
from rules.facts import LogClock, Moment, Session, VoltageLog
from rules.packs.model import Argument
from rules.quantities import Limit
from rules.rounding import to_six
from rules.science.log_time import Bounds, bounds_in_log
from rules.science.voltage import (
    Window,
    crank_windows,
    extremes,
    gaps,
    lasting,
    steps_in_order,
    stretches,
)
from rules.verdict import Number, Outcome

# Where a pack leaves it out (project defaults), seconds.
DEFAULT_LONGEST_GAP_S: Final = 10.0
DEFAULT_IGNORE_S: Final = 2.0
_AGAIN: Final = "Repeat the session with the supply supported and the logger running throughout."


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Arguments of the proof: limit in V, times in s, and how many cranks may be taken out."""

    limit: Limit
    ignore_shorter_than_s: float
    longest_gap_s: float
    cranks: int
    crank_longest_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One log: ``sure`` lies inside the session whatever the clocks, ``widest`` covers all of it."""

    log: VoltageLog
    u: float
    sure: Window | None
    widest: Window


def voltage_log(context: CheckContext) -> Outcome:
    """The voltage must stay within ``limit``; stretches up to ``ignore_shorter_than`` are only noted.

    Other arguments: longest_gap, crank_windows, crank_longest. Judged at three levels, the limit and the
    limit plus and minus the guard z u. Reason codes: missing, uncertainty_unknown, time_order, unreadable,
    conflict, outside_limit, undecided, gap_could_hide, order_unprovable.
    """
    draft = begin(context, _required(context))
    settings = _settings(context)
    filed = context.facts.voltage_logs
    logs = tuple(log for log in of_session(context, filed, _sessions_of, _start) if log.samples)
    if not logs or context.session is None:
        draft.not_shown(
            "missing",
            "There is no voltage log for this session.",
            "File the voltage log; where none was made, repeat the session with the logger running.",
            "desk",
        )
        return draft.outcome()
    draft.rests_on(*logs)
    draft.uses(log.instrument for log in logs)
    parts = [part for part in (_part(context, draft, log, settings) for log in logs) if part is not None]
    for part in parts:
        _levels(draft, part, settings, context.z)
    if parts and len(parts) == len(logs):
        _gaps(draft, parts, settings)
    own = {log.id for log in logs}
    for log in perhaps_of_session(context, filed, _sessions_of, _start):
        if log.id not in own and any(not _inside(volts, settings.limit) for _, volts in log.samples):
            draft.rests_on(log)
            draft.not_shown(
                "order_unprovable",
                f"Another log leaves {settings.limit.text}, and the clocks do not show that it is about "
                "another session.",
                "Say to which session the log belongs.",
                "desk",
            )
    if not draft.tally.reasons:
        draft.say(f"The supply stayed {_asked(settings.limit)} through the whole session{_extremes(draft)}.")
    return draft.outcome()


def _required(context: CheckContext) -> str:
    limit = context.proof.arguments.get("limit")
    text = limit.text if isinstance(limit, Limit) else "within its limit"
    return f"The supply must stay {text} through the whole session"


def _inside(volts: float, limit: Limit) -> bool:
    return (limit.lower is None or volts >= limit.lower) and (limit.upper is None or volts <= limit.upper)


def _sessions_of(log: VoltageLog) -> tuple[str, ...]:
    return log.sessions


def _start(log: VoltageLog) -> Moment:
    return log.clock.moment(log.samples[0][0] if log.samples else 0.0)


def _settings(context: CheckContext) -> Settings:
    arguments = context.proof.arguments
    limit = arguments.get("limit")
    if not isinstance(limit, Limit):
        raise TypeError("the proof names no limit")
    return Settings(
        limit=limit,
        ignore_shorter_than_s=_number(arguments.get("ignore_shorter_than"), DEFAULT_IGNORE_S),
        longest_gap_s=_number(arguments.get("longest_gap"), DEFAULT_LONGEST_GAP_S),
        cranks=int(_number(arguments.get("crank_windows"), 0.0)),
        crank_longest_s=_number(arguments.get("crank_longest"), 0.0),
    )


def _number(argument: Argument | None, default: float) -> float:
    return float(argument) if isinstance(argument, int | float) else default


# ------------------------------------------------------------------ the session on the log's time axis


def _part(context: CheckContext, draft: Draft, log: VoltageLog, settings: Settings) -> Part | None:
    """The log with its windows; None, with a reason, where nothing can be computed."""
    if log.instrument is None or log.u is None or not 0 <= log.u < math.inf:
        draft.not_shown(
            "uncertainty_unknown",
            "The voltage log names no logger, so its uncertainty is unknown.",
            "Name the logger that made the log.",
            "desk",
        )
        return None
    if not all(math.isfinite(number) for sample in log.samples for number in sample):
        draft.not_shown("unreadable", "The voltage log holds values that are no numbers.", _AGAIN)
        return None
    if not steps_in_order(log.samples):
        draft.not_shown("time_order", "The times in the voltage log do not run forward.", _AGAIN)
        return None
    clock = aligned_clock(log, context.session)
    if clock is None:
        draft.not_shown(
            "conflict",
            "The key-on step in the voltage log and the key-on event of the session do not fit the clock of "
            "the logger.",
            "Observe the logger's clock again.",
            "desk",
        )
        return None
    return _windows(context, log, clock, settings)


def _windows(context: CheckContext, log: VoltageLog, clock: LogClock, settings: Settings) -> Part | None:
    window = part_window(context)
    if window is None or log.u is None:
        return None
    start = bounds_in_log(window.start, clock)
    last = log.samples[-1][0]
    end = (
        (last, max(last, context.gate_at.timestamp()))
        if window.end is None
        else bounds_in_log(window.end, clock)
    )
    removed, _ = crank_windows(log.events, settings.cranks, settings.crank_longest_s)
    sure = Window(start=start[1], end=end[0], removed=removed) if end[0] > start[1] else None
    return Part(log=log, u=log.u, sure=sure, widest=Window(start=start[0], end=end[1], removed=removed))


def aligned_clock(log: VoltageLog, session: Session | None) -> LogClock | None:
    """The log's clock, narrowed by the key-on step that log and session both hold exactly once.

    The step lies between the sample before the event and the event itself. None where the two cannot agree.
    """
    steps = [t for t, name in log.events if name == "key_on"]
    events = [] if session is None else [event for event in session.key_events if event.state == "on"]
    if len(steps) != 1 or len(events) != 1 or events[0].at.clock == log.clock.clock:
        return log.clock
    step, event = steps[0], events[0].at
    before = max((t for t, _ in log.samples if t < step), default=step)
    low = max(log.clock.offset_low_s, before - event.high.timestamp() - event.resolution_s)
    high = min(log.clock.offset_high_s, step - event.low.timestamp())
    if low > high:
        return None
    return LogClock(clock=log.clock.clock, offset_low_s=low, offset_high_s=high)


# ------------------------------------------------------------------ judging


def _levels(draft: Draft, part: Part, settings: Settings, z: float) -> None:
    guard = z * part.u
    limit = settings.limit
    if limit.lower is not None:
        _side(draft, part, settings, ("below", limit.lower, guard))
    if limit.upper is not None:
        _side(draft, part, settings, ("above", limit.upper, guard))
    found = extremes(part.log.samples, part.widest)
    if found is not None:
        for name, value in (("lowest_v", found[0]), ("highest_v", found[1])):
            draft.numbers.append(
                Number(
                    name=name,
                    value=to_six(value),
                    unit="V",
                    u=to_six(part.u),
                    guard=to_six(guard),
                    lower=limit.lower,
                    upper=limit.upper,
                )
            )
    _, refused = crank_windows(part.log.events, settings.cranks, settings.crank_longest_s)
    for start, end in refused:
        draft.note(
            f"A crank of {seconds(end - start)} is not taken out: longer or more than the pack allows."
        )


def _side(draft: Draft, part: Part, settings: Settings, level: tuple[str, float, float]) -> None:
    """Beyond the limit by the guard for too long: not met; within the guard of it: not shown."""
    word, limit, guard = level
    outward = -guard if word == "below" else guard
    surely = () if part.sure is None else _found(part, settings, word, (limit + outward, part.sure))
    long_ones = lasting(surely, settings.ignore_shorter_than_s)
    near = _found(part, settings, word, (limit - outward, part.widest))
    long_near = lasting(near, settings.ignore_shorter_than_s)
    worst = max((to_six(end - start) for start, end in long_ones or long_near), default=0.0)
    if long_ones:
        draft.number(f"{word}_s", worst, "s")
        draft.not_met(
            "outside_limit",
            f"The supply was {word} {plain(limit, 2)} V by more than the guard of {plain(guard, 4)} V for "
            f"{seconds(worst)}; {seconds(settings.ignore_shorter_than_s)} is allowed.",
            _AGAIN,
        )
    elif long_near:
        draft.number(f"{word}_s", worst, "s")
        draft.not_shown(
            "undecided",
            f"For {seconds(worst)} the supply cannot be told apart from one {word} {plain(limit, 2)} V, "
            f"with a guard of {plain(guard, 4)} V.",
            _AGAIN,
        )
    for start, end in _found(part, settings, word, (limit, part.widest)):
        if to_six(end - start) <= settings.ignore_shorter_than_s:
            draft.note(f"{word.capitalize()} {plain(limit, 2)} V for {seconds(end - start)}.")


def _found(part: Part, settings: Settings, word: str, at: tuple[float, Window]) -> tuple[Bounds, ...]:
    level, window = at
    if word == "below":
        return stretches(part.log.samples, window, settings.longest_gap_s, below=level)
    return stretches(part.log.samples, window, settings.longest_gap_s, above=level)


def _gaps(draft: Draft, parts: list[Part], settings: Settings) -> None:
    """Time that no log covers; one log without gaps is enough, whatever another one misses."""
    if all(part.widest.end <= part.widest.start for part in parts):
        draft.not_shown(
            "gap_could_hide", "By its times the session took no time: nothing is covered.", _AGAIN
        )
        return
    missed = [gaps(part.log.samples, part.widest, settings.longest_gap_s) for part in parts]
    if not all(missed):
        return
    least = min(missed, key=_total)
    total = _total(least)
    draft.number("gap_s", total, "s")
    draft.not_shown(
        "gap_could_hide",
        f"For {seconds(total)} of the session there is no voltage reading; steps up to "
        f"{seconds(settings.longest_gap_s)} are allowed.",
        _AGAIN,
    )


def _total(found: tuple[Bounds, ...]) -> float:
    return to_six(math.fsum(end - start for start, end in found))


def _extremes(draft: Draft) -> str:
    """``: lowest 12.41 V, highest 14.12 V``, by all logs together."""
    numbers = [item for item in draft.numbers if item.value is not None]
    lows = [item for item in numbers if item.name == "lowest_v"]
    highs = [item for item in numbers if item.name == "highest_v"]
    if not lows or not highs:
        return ""
    low = min(lows, key=lambda item: item.value or 0.0)
    high = max(highs, key=lambda item: item.value or 0.0)
    return f": lowest {with_unit(low)}, highest {with_unit(high)}"


def _asked(limit: Limit) -> str:
    if limit.lower is None:
        return f"at or below {plain(limit.upper or 0.0, 1)} V"
    if limit.upper is None:
        return f"at or above {plain(limit.lower, 1)} V"
    return f"between {plain(limit.lower, 1)} V and {plain(limit.upper, 1)} V"
