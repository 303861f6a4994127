"""Data of the packet's charts and the tables that say the same in words: counted drive, voltage, climate."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any, Final

from jobs.packets.pages import times
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.words import sentence_case
from rules.checks.drive_review import review_drive
from rules.checks.session_track import SessionTrack
from rules.display import DECIMALS, unit_text
from rules.facts import ClimateLog, GlassSet, Place, VoltageLog, facts_held_at, live
from rules.packs.model import Proof
from rules.quantities import Limit
from rules.science.adhesive import LONGEST_GAP_S
from rules.science.log_time import bounds_in_log
from rules.science.track import Analysis
from rules.verdict import Finding

# More points than this a printed line cannot show (project default); each drawn point is a recorded one.
MOST_POINTS: Final = 4000
TICK_STEPS_S: Final = (60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 43200)
REASON_WORDS: Final = {
    "counts": "counts",
    "outside": "outside",
    "key_off": "key off",
    "gap": "gap",
    "slow": "slow",
    "fast": "fast",
    "uneven": "uneven",
    "turning": "turning",
    "low_sun": "sun low",
    "clock_open": "clock open",
    "short_run": "short",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A chart by name with its data, the sentence that stands in for it, and a table of the same facts."""

    name: str
    data: dict[str, Any]
    sentence: str
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    caption: str = ""


def chart_for(context: PageContext, finding: Finding, name: str) -> Chart | None:
    """The chart that belongs to one finding; None for checks that have none or logs that cannot be drawn."""
    if finding.check == "drive_log":
        return _drive_chart(context, finding, name)
    if finding.check == "voltage_log":
        return _voltage_chart(context, finding, name)
    if finding.check == "adhesive_ready":
        return _climate_chart(context, finding, name)
    return None


def _proof(context: PageContext, finding: Finding) -> Proof | None:
    return context.proofs.get((finding.pack, finding.edition, finding.procedure_id, finding.proof_id))


def _ticks(place: Place, start_s: float, length_s: float) -> list[tuple[float, str]]:
    """At most nine local clock times along ``length_s`` seconds from ``start_s`` (POSIX)."""
    step = next((s for s in TICK_STEPS_S if length_s / s <= 8), TICK_STEPS_S[-1])
    first = math.ceil(start_s / step) * step
    found = []
    at = first
    while at <= start_s + length_s:
        local = times.clock_text(place, datetime.fromtimestamp(at, tz=UTC))
        found.append((at - start_s, local))
        at += step
    return found


def _thinned(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """At most ``MOST_POINTS`` points; of each group the lowest and the highest stay, so no peak is lost."""
    if len(points) <= MOST_POINTS:
        return list(points)
    size = math.ceil(len(points) / (MOST_POINTS // 2))
    kept: list[tuple[float, float]] = []
    for start in range(0, len(points), size):
        group = points[start : start + size]
        kept += sorted({min(group, key=lambda p: p[1]), max(group, key=lambda p: p[1])})
    return kept


def _lines(points: Iterable[tuple[float, float]], longest_gap_s: float) -> list[list[tuple[float, float]]]:
    """The points as unbroken lines: nothing is drawn across a gap."""
    lines: list[list[tuple[float, float]]] = []
    last = -math.inf
    for at, value in points:
        if at - last > longest_gap_s:
            lines.append([])
        lines[-1].append((at, value))
        last = at
    return lines


# ------------------------------------------------------------------ drive


def _drive_chart(context: PageContext, finding: Finding, name: str) -> Chart | None:
    edition = context.edition(finding.pack, finding.edition)
    session = context.sessions.get(finding.session_id or "")
    if edition is None or session is None:
        return None
    gate_at = context.assessment.gate_at
    review = review_drive(facts_held_at(context.facts, gate_at), edition, session.id, gate_at)
    if review is None or len(review.track.fixes) < 2:
        return None
    track, limits, analysis = review.track, review.limits, review.analysis
    start = track.fixes[0].t
    curve = _speeds(track)
    levels = []
    for value, words in ((limits.v_min_kph, "at least"), (limits.v_max_kph, "at most")):
        if value is not None:
            levels.append((value, f"{words}\n{value:g} km/h"))
    parts = _stretches(analysis, start)
    length = track.fixes[-1].t - start
    top = max([speed for _, speed in curve] + [level for level, _ in levels]) * 1.12 + 1
    return Chart(
        name=name,
        data={
            "kind": "drive",
            "span": (0.0, length),
            "top": top,
            "ticks": _ticks(session.place, start, length),
            "curve": curve,
            "lines": [_thinned(line) for line in _lines(curve, limits.longest_gap_s)],
            "limits": levels,
            "stretches": parts,
        },
        sentence=finding.outcome.sentence,
        head=("From", "To", "Length", "What it is"),
        rows=tuple(_drive_row(session.place, start, part) for part in parts),
        caption="Line: speed. Filled: counts. Hatched: does not count. Between dashed lines: no position. "
        f"Times {times.zone_text(session.place, session.started.high)}.",
    )


def _speeds(track: SessionTrack) -> list[tuple[float, float]]:
    start = track.fixes[0].t
    known = [(fix.t - start, fix.speed_kph) for fix in track.fixes if fix.speed_kph is not None]
    return [(at, speed) for at, speed in known]


def _stretches(analysis: Analysis, start: float) -> list[dict[str, Any]]:
    """Neighbouring steps with one reason joined; seconds on those that count and on gaps."""
    parts: list[dict[str, Any]] = []
    for step in analysis.steps:
        if parts and parts[-1]["kind"] == step.reason and step.reason != "gap":
            parts[-1]["end"] = step.end_s - start
        else:
            parts.append({"kind": step.reason, "start": step.start_s - start, "end": step.end_s - start})
    for part in parts:
        seconds = part["end"] - part["start"]
        words = REASON_WORDS.get(part["kind"], part["kind"])
        part["label"] = f"{seconds:g} s" if part["kind"] == "counts" else words
        part["named"] = seconds >= 5 or part["kind"] in ("gap", "key_off", "counts")
    return parts


def _drive_row(place: Place, start: float, part: dict[str, Any]) -> tuple[str, ...]:
    low = datetime.fromtimestamp(start + part["start"], tz=UTC)
    high = datetime.fromtimestamp(start + part["end"], tz=UTC)
    words = "counts" if part["kind"] == "counts" else f"does not count: {REASON_WORDS.get(part['kind'])}"
    return (
        times.clock_text(place, low, True),
        times.clock_text(place, high, True),
        f"{part['end'] - part['start']:g} s",
        words,
    )


# ------------------------------------------------------------------ voltage


def _voltage_chart(context: PageContext, finding: Finding, name: str) -> Chart | None:
    proof = _proof(context, finding)
    session = context.sessions.get(finding.session_id or "")
    logs = [log for log in context.facts.voltage_logs if log.id in finding.outcome.evidence and log.samples]
    limit = None if proof is None else proof.arguments.get("limit")
    if session is None or len(logs) != 1 or not isinstance(limit, Limit):
        return None
    log = logs[0]
    start, end = log.samples[0][0], log.samples[-1][0]
    window = _session_window(log, finding, context)
    low, high = min(start, window[0]), max(end, window[1])
    points = [(t - low, v) for t, v in log.samples]
    values = [v for _, v in points] + [b for b in (limit.lower, limit.upper) if b is not None]
    room = (max(values) - min(values)) * 0.12 + 0.1
    gap = _seconds(proof, "longest_gap", 10.0)
    inside = [v for t, v in log.samples if window[0] <= t <= window[1]]
    return Chart(
        name=name,
        data={
            "kind": "voltage",
            "span": (0.0, max(high - low, 1.0)),
            "range": (min(values) - room, max(values) + room),
            "ticks": _ticks(session.place, low, high - low),
            "session": (window[0] - low, window[1] - low),
            "gaps": _gaps(points, gap, window, low),
            "guards": [(b, 1.645 * log.u) for b in (limit.lower, limit.upper) if b is not None and log.u],
            "lines": [_thinned(line) for line in _lines(points, gap)],
            "limits": _voltage_levels(limit),
            "marks": [(t - low, event.replace("_", " ")) for t, event in log.events[:12]],
        },
        sentence=finding.outcome.sentence,
        head=("In the session", "V"),
        rows=(("lowest sample", f"{min(inside):.2f}"), ("highest sample", f"{max(inside):.2f}"))
        if inside
        else (),
        caption="Line: supply voltage. Grey ground: the session. Hatched: no samples close enough together. "
        f"Times {times.zone_text(session.place, session.started.high)}, by the logger's clock.",
    )


def _voltage_levels(limit: Limit) -> list[tuple[float, str]]:
    found = []
    for value, words in ((limit.lower, "at least"), (limit.upper, "at most")):
        if value is not None:
            found.append((value, f"{words}\n{value:.1f} V"))
    return found


def _session_window(log: VoltageLog, finding: Finding, context: PageContext) -> tuple[float, float]:
    session = context.sessions[finding.session_id or ""]
    start = bounds_in_log(session.started, log.clock)[0]
    end = log.samples[-1][0] if session.ended is None else bounds_in_log(session.ended, log.clock)[1]
    return start, max(end, start)


def _seconds(proof: Proof | None, key: str, default: float) -> float:
    value = None if proof is None else proof.arguments.get(key)
    return float(value) if isinstance(value, int | float) else default


def _gaps(
    points: Sequence[tuple[float, float]], longest_s: float, window: tuple[float, float], low: float
) -> list[tuple[float, float]]:
    edges = [window[0] - low, *(t for t, _ in points), window[1] - low]
    return [(a, b) for a, b in pairwise(edges) if b - a > longest_s]


# ------------------------------------------------------------------ climate


def _climate_chart(context: PageContext, finding: Finding, name: str) -> Chart | None:
    glass = [item for item in live(context.facts.glass_sets) if item.adhesive is not None]
    if not glass:
        return None
    last = max(glass, key=lambda item: item.set_at.high)
    log = next((item for item in live(context.facts.climate_logs) if item.id == last.climate_log_id), None)
    if log is None or len(log.samples) < 2:
        return None
    return _climate(context, finding, name, last, log)


def _climate(context: PageContext, finding: Finding, name: str, glass: GlassSet, log: ClimateLog) -> Chart:
    start, end = log.samples[0][0], log.samples[-1][0]
    set_s = bounds_in_log(glass.set_at, log.clock)[1]
    sheet = next(
        (s for s in context.facts.adhesive_sheets if glass.adhesive and s.product == glass.adhesive.product),
        None,
    )
    cells = sheet.cells if sheet else ()
    ready = context.assessment.ready
    marks = [(set_s - start, f"set {times.clock_text(context.place, glass.set_at.high)}")]
    if ready is not None and ready.ready_cautious is not None:
        at = ready.ready_cautious.timestamp()
        marks.append((at - start, f"ready {times.clock_text(context.place, ready.ready_cautious)}"))
    last = max([end - start] + [at for at, _ in marks]) * 1.04
    temps = [(t - start, temp) for t, temp, _ in log.samples]
    humidity = [(t - start, rh) for t, _, rh in log.samples]
    return Chart(
        name=name,
        data={
            "kind": "climate",
            "span": (0.0, last),
            "ticks": _ticks(context.place, start, last),
            "marks": marks,
            "temp": _panel(
                temps, sorted({e for c in cells for e in (c.temp_from, c.temp_to)}), set_s - start, "degC"
            ),
            "rh": _panel(humidity, sorted({c.rh_from for c in cells}), set_s - start, "percent"),
        },
        sentence=finding.outcome.sentence,
        head=("After setting", "°C", "% RH"),
        rows=_climate_rows(log, set_s),
        caption="Line: readings. Dashed blue steps: lowest reading since setting. Dashed black: edges of "
        f"the bands. Times {times.zone_text(context.place, glass.set_at.high)}. "
        f"Readings may lie at most {LONGEST_GAP_S / 60:g} min apart.",
    )


def _panel(curve: list[tuple[float, float]], bands: list[float], since: float, unit: str) -> dict[str, Any]:
    values = [value for _, value in curve]
    room = max((max(values) - min(values)) * 0.3, 2.0)
    low, high = min(values) - room, max(values) + room
    near = [edge for edge in bands if low - 12 <= edge <= high + 12]
    low, high = min([low, *(edge - 1 for edge in near)]), max([high, *(edge + 1 for edge in near)])
    lowest: list[tuple[float, float]] = []
    for at, value in curve:
        if at >= since and (not lowest or value < lowest[-1][1]):
            lowest.append((at, value))
    if lowest:
        lowest.append((curve[-1][0], lowest[-1][1]))
    sign = unit_text(unit)
    return {
        "range": (low, high + (high - low) * 0.18),
        "bands": [(edge, f"band edge\n{edge:g} {sign}") for edge in near],
        "curve": _thinned(curve),
        "lowest": lowest,
    }


def _climate_rows(log: ClimateLog, set_s: float) -> tuple[tuple[str, ...], ...]:
    after = [(temp, rh) for t, temp, rh in log.samples if t >= set_s]
    if not after:
        return ()
    rows = []
    for words, pick in (("lowest reading", min), ("highest reading", max)):
        temp = pick(value for value, _ in after)
        rh = pick(value for _, value in after)
        rows.append((sentence_case(words), f"{temp:.{DECIMALS['degC']}f}", f"{rh:.{DECIMALS['percent']}f}"))
    return tuple(rows)
