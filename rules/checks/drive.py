"""drive_log: how much of a drive counts, whether it is enough, and what gaps could hide."""

import math
from dataclasses import dataclass
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, listed, seconds
from rules.checks.freshness import part_record
from rules.checks.odometer import odometer_verdict
from rules.checks.sentences import begin
from rules.checks.session_track import SessionTrack, session_track
from rules.facts import Moment, Session
from rules.packs.model import Argument, Proof
from rules.quantities import Limit
from rules.rounding import to_six
from rules.science.log_time import Bounds, bounds_in_log
from rules.science.track import Analysis, DriveLimits, DriveTime, Run, analyse, counted_between
from rules.verdict import MET, Outcome, Reason, not_met, not_shown

# The longest step that is no gap, where a pack leaves it out (project default), seconds.
DEFAULT_LONGEST_GAP_S: Final = 3.0
GLARE_SHARE: Final = 0.10
NO_DRIVE_LOG: Final = "There is no drive log for this session."
FILE_DRIVE_LOG: Final = "File the drive log; where none was made, drive the session again with a log."
_DRIVE_AGAIN: Final = "Drive the road session again, as a new attempt."
_WORDS: Final = {
    "outside": "outside the session",
    "key_off": "with the key off",
    "gap": "without positions",
    "slow": "slower than asked",
    "fast": "faster than asked",
    "uneven": "at changing speed",
    "turning": "turning",
    "low_sun": "with the sun too low",
    "clock_open": "where the clocks leave open whether the session was running",
    "short_run": "in stretches too short to count",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Needs:
    """Seconds that must count in all, and in the longest stretch; None where the pack asks for none."""

    total: Limit | None
    longest: Limit | None

    def total_reached(self, value_s: float) -> bool:
        return _reaches(value_s, self.total)

    def longest_reached(self, value_s: float) -> bool:
        return _reaches(value_s, self.longest)

    def both_reached(self, total_s: float, longest_s: float) -> bool:
        return self.total_reached(total_s) and self.longest_reached(longest_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class CountedTime:
    """Seconds that count in all and in the longest stretch: surely (low), and with what gaps could hide."""

    low_s: float
    longest_low_s: float
    high_s: float
    longest_high_s: float


def reason_of(needs: Needs, counted: CountedTime, *, typical_only: bool) -> Reason | None:
    """Why the counted time does not show the drive; None where it does.

    Codes: too_short (not met: even with the gaps it is too little), gap_could_hide (not shown).
    ``typical_only``: the stated time is only typical, and the device reported completion.
    """
    if typical_only or needs.both_reached(counted.low_s, counted.longest_low_s):
        return None
    if not needs.both_reached(counted.high_s, counted.longest_high_s):
        return not_met("too_short")
    return not_shown("gap_could_hide")


def _reaches(value: float, limit: Limit | None) -> bool:
    if limit is None or limit.lower is None:
        return True
    return value > limit.lower or (value == limit.lower and limit.lower_included)


def drive_log(context: CheckContext) -> Outcome:
    """Enough of the drive must count, in long enough stretches.

    Arguments: speed, total_time, longest_stretch, shortest_counted, speed_change, turn_rate, longest_gap,
    sun_above, time_is. Speeds and seconds are compared plainly, without guard. Reason codes: missing,
    time_order, conflict, reuse_exact, too_short, gap_could_hide.
    """
    draft = begin(context, _required(context))
    track = session_track(context)
    if track is None or context.session is None:
        draft.not_shown("missing", NO_DRIVE_LOG, FILE_DRIVE_LOG, "desk")
        return draft.outcome()
    draft.rests_on(*track.logs)
    _reused(draft, track)
    if not track.in_order:
        draft.not_shown(
            "time_order",
            "The times in the drive log do not run forward: nothing can be counted.",
            _DRIVE_AGAIN,
        )
        return draft.outcome()
    analysis = analyse_session(context, track, context.session)
    if analysis.speed_conflict:
        draft.not_shown(
            "conflict",
            "The speeds in the log and the speeds that follow from its positions differ by more than 15 %.",
            _DRIVE_AGAIN,
        )
    tell_numbers(draft, analysis)
    _weigh(draft, context, context.session, analysis)
    _notes(draft, context.session, track, analysis)
    return draft.outcome()


def _required(context: CheckContext) -> str:
    needs, speed = needs_of(context.proof), _limit(context.proof.arguments.get("speed"))
    total = "Enough" if needs.total is None else needs.total.text[0].upper() + needs.total.text[1:]
    stretch = "" if needs.longest is None else f", {needs.longest.text} of it in one stretch"
    return f"{total} of the drive must count{stretch}{'' if speed is None else f', {speed.text}'}"


def _reused(draft: Draft, track: SessionTrack) -> None:
    for log in track.logs:
        others = [item for item in log.reuse if item.same_bytes and not item.same_job]
        if any(item.decision != "different" for item in others):
            draft.not_met(
                "reuse_exact",
                "The same track, byte for byte, is filed on another job.",
                "A quality reviewer says to which of the jobs the track belongs.",
                "desk",
            )


# ------------------------------------------------------------------ arguments, session time


def limits_of(proof: Proof) -> DriveLimits:
    """The limits of one drive proof, in km/h, m/s2, deg/s, s and deg."""
    speed = _limit(proof.arguments.get("speed"))
    change, turn = _limit(proof.arguments.get("speed_change")), _limit(proof.arguments.get("turn_rate"))
    return DriveLimits(
        v_min_kph=speed.lower if speed else None,
        v_max_kph=speed.upper if speed else None,
        speed_change_mps2=change.upper if change else None,
        turn_rate_dps=turn.upper if turn else None,
        longest_gap_s=_number(proof.arguments.get("longest_gap"), DEFAULT_LONGEST_GAP_S),
        shortest_counted_s=_number(proof.arguments.get("shortest_counted"), 0.0),
        sun_above_deg=_optional(proof.arguments.get("sun_above")),
        v_min_included=speed.lower_included if speed else True,
        v_max_included=speed.upper_included if speed else True,
    )


def needs_of(proof: Proof) -> Needs:
    """Seconds asked for by ``total_time`` and ``longest_stretch``."""
    return Needs(
        total=_limit(proof.arguments.get("total_time")),
        longest=_limit(proof.arguments.get("longest_stretch")),
    )


def _limit(argument: Argument | None) -> Limit | None:
    return argument if isinstance(argument, Limit) else None


def _optional(argument: Argument | None) -> float | None:
    return float(argument) if isinstance(argument, int | float) else None


def _number(argument: Argument | None, default: float) -> float:
    found = _optional(argument)
    return default if found is None else found


def analyse_session(context: CheckContext, track: SessionTrack, session: Session) -> Analysis:
    """Every step of the session's drive with its reason; packets and charts use the same function."""
    time = session_time(session, track, edges_are_gaps=odometer_verdict(context, track) != MET)
    return analyse(track.fixes, limits_of(context.proof), time)


def session_time(session: Session, track: SessionTrack, *, edges_are_gaps: bool) -> DriveTime:
    """The session, or its road part, and its key-off times on the log's clock.

    Fixes carry satellite time, the session a tablet's: the bounds say how far each edge may lie off. A step
    counts only where it is surely inside, and may count in the second pass where it is possibly inside.
    """
    part = part_record(session, "road")
    start, end = (session.started, session.ended) if part is None else (part.started, part.ended)
    clock = track.clock
    return DriveTime(
        start=bounds_in_log(start, clock),
        end=None if end is None else bounds_in_log(end, clock),
        key_off=tuple((bounds_in_log(off, clock), _on(on, track)) for off, on in key_off_times(session)),
        edges_are_gaps=edges_are_gaps,
        offset_low_s=clock.offset_low_s,
        offset_high_s=clock.offset_high_s,
    )


def _on(moment: Moment | None, track: SessionTrack) -> Bounds:
    return (math.inf, math.inf) if moment is None else bounds_in_log(moment, track.clock)


def key_off_times(session: Session) -> tuple[tuple[Moment, Moment | None], ...]:
    """Each time the key went off, with the time it came on again; None where it stayed off."""
    found: list[tuple[Moment, Moment | None]] = []
    off: Moment | None = None
    for event in sorted(session.key_events, key=lambda item: (item.at.reading, item.state != "off")):
        if event.state == "off":
            off = off or event.at
        elif off is not None:
            found.append((off, event.at))
            off = None
    if off is not None:
        found.append((off, None))
    return tuple(found)


# ------------------------------------------------------------------ numbers, verdict, notes


def tell_numbers(draft: Draft, analysis: Analysis) -> None:
    """Counted seconds, each run, both passes, and the uncounted seconds by reason."""
    draft.number("counted_s", analysis.counted_s, "s")
    draft.number("longest_s", analysis.longest_s, "s")
    draft.number("high_s", analysis.high_s, "s")
    draft.number("longest_high_s", analysis.longest_high_s, "s")
    for place, run in enumerate(analysis.runs, 1):
        draft.number(f"run_{place}_s", run.seconds, "s")
    for reason, amount in analysis.uncounted:
        draft.number(f"uncounted_{reason}_s", amount, "s")
    draft.number("distance_km", analysis.distance_m / 1000.0, "km")
    draft.number("track_km", analysis.track_m / 1000.0, "km")


def _weigh(draft: Draft, context: CheckContext, session: Session, analysis: Analysis) -> None:
    needs = needs_of(context.proof)
    counted = CountedTime(
        low_s=analysis.counted_s,
        longest_low_s=analysis.longest_s,
        high_s=analysis.high_s,
        longest_high_s=analysis.longest_high_s,
    )
    typical = context.proof.arguments.get("time_is") == "indicative" and session.result == "completed"
    reason = reason_of(needs, counted, typical_only=typical)
    told = _told(analysis, needs)
    if needs.both_reached(analysis.counted_s, analysis.longest_s):
        draft.say(f"{told} That is enough.")
    elif reason is None:
        draft.say(f"{told} The stated time is only typical, and the device reported completion.")
        draft.note("The counted time is shorter than the typical time the pack states.")
    elif reason.code == "too_short":
        draft.not_met("too_short", f"{_shortfall(analysis, needs)} {told}", _DRIVE_AGAIN)
    else:
        draft.not_shown(
            "gap_could_hide",
            f"{told} With everything that the gaps could hide it would be {seconds(analysis.high_s)}, the "
            f"longest stretch {seconds(analysis.longest_high_s)}: so neither can be shown.",
            _DRIVE_AGAIN,
        )


def _told(analysis: Analysis, needs: Needs) -> str:
    runs = _runs(analysis.runs)
    asked, stretch = _needed(needs.total), _needed(needs.longest)
    return (
        f"{seconds(analysis.counted_s)} counted{asked}{runs}; longest stretch "
        f"{seconds(analysis.longest_s)}{stretch}."
    )


def _needed(limit: Limit | None) -> str:
    return "" if limit is None or limit.lower is None else f", {seconds(limit.lower)} needed"


def _lower(limit: Limit | None) -> float:
    return 0.0 if limit is None or limit.lower is None else limit.lower


def _runs(runs: tuple[Run, ...]) -> str:
    if not runs:
        return ""
    return " (" + listed(seconds(run.seconds) for run in runs) + ")"


def _shortfall(analysis: Analysis, needs: Needs) -> str:
    """``Not met by 4 seconds: 596 s counted, 600 s needed.`` of the total first, else of the stretch."""
    if not needs.total_reached(analysis.high_s):
        counted, needed, what = analysis.counted_s, _lower(needs.total), "counted"
    else:
        counted, needed, what = analysis.longest_s, _lower(needs.longest), "in the longest stretch"
    short = f"{to_six(needed - counted):.6f}".rstrip("0").rstrip(".")
    unit = "second" if short == "1" else "seconds"
    return f"Not met by {short} {unit}: {seconds(counted)} {what}, {seconds(needed)} needed."


def _notes(draft: Draft, session: Session, track: SessionTrack, analysis: Analysis) -> None:
    for reason, amount in analysis.uncounted:
        draft.note(f"Not counted: {seconds(amount)} {_WORDS[reason]}.")
    for off, on in key_off_times(session):
        went, came = bounds_in_log(off, track.clock), _on(on, track)
        if went[0] >= track.fixes[-1].t or came[1] <= track.fixes[0].t:
            continue
        before = counted_between(analysis, -math.inf, went[0])
        after = counted_between(analysis, came[1], math.inf)
        draft.note(f"{seconds(before)} counted before the key was off, {seconds(after)} after.")
    if analysis.counted_s > 0 and analysis.glare_s > GLARE_SHARE * analysis.counted_s:
        draft.note(f"{seconds(analysis.glare_s)} of the counted time were driven towards a low sun.")
