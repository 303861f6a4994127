"""Supply voltage, counted minutes of a drive, the odometer, and the sun, worked out from their logs."""

import math
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from itertools import pairwise

from jobs.packets.pages import times
from jobs.packets.pages.worked.desk import Paper
from jobs.packets.pages.worked.lines import Sum, Table, Worked, fig, made, total
from rules.checks.drive_review import DriveReview, review_drive
from rules.checks.voltage import DEFAULT_IGNORE_S, DEFAULT_LONGEST_GAP_S
from rules.facts import Place, VoltageLog
from rules.science.log_time import bounds_in_log
from rules.science.sun import J2000_S, position_deg
from rules.science.voltage import Window, stretches

MOST_STRETCHES = 12
UNCOUNTED = {
    "outside": "outside the session",
    "key_off": "key off",
    "gap": "no positions",
    "slow": "slower than asked",
    "fast": "faster than asked",
    "uneven": "changing speed",
    "turning": "turning",
    "low_sun": "sun too low",
    "clock_open": "clocks leave it open",
    "short_run": "runs too short",
}


# ------------------------------------------------------------------ voltage


def voltage(paper: Paper) -> Worked:
    """Lowest and highest sample, and each stretch beyond the three levels with its crossings."""
    rules = (
        "straight line between samples, none across a step longer than the longest gap; crossing of a level: "
        "t = t1 + (t2 − t1) × (level − v1) / (v2 − v1)",
        "not met: a stretch below L − g (above U + g) longer than the allowance; not shown: a stretch below "
        "L + g (above U − g) longer than it, or a gap; single shorter dips are notes",
    )
    logs = [item for item in paper.records if isinstance(item, VoltageLog) and item.samples]
    tables, sums = [], []
    for log in logs:
        found = _stretches(paper, log)
        tables.append(found[0])
        sums += found[1]
    return Worked(rules=rules, tables=tuple(tables), sums=tuple(sums), words=(_settings_words(paper),))


def _settings_words(paper: Paper) -> str:
    gap, short = (
        _seconds(paper, "longest_gap", DEFAULT_LONGEST_GAP_S),
        _seconds(paper, "ignore_shorter_than", DEFAULT_IGNORE_S),
    )
    return f"Longest gap {fig(gap)} s; stretches up to {fig(short)} s are only noted."


def _seconds(paper: Paper, name: str, default: float) -> float:
    value = None if paper.proof is None else paper.proof.arguments.get(name)
    return float(value) if isinstance(value, int | float) else default


def _stretches(paper: Paper, log: VoltageLog) -> tuple[Table, list[Sum]]:
    limit, session = paper.limit("limit"), paper.session
    window = Window(start=log.samples[0][0], end=log.samples[-1][0])
    if session is not None:
        end = log.samples[-1][0] if session.ended is None else bounds_in_log(session.ended, log.clock)[1]
        window = Window(start=bounds_in_log(session.started, log.clock)[0], end=end)
    guard = paper.desk.z * (log.u or 0.0)
    gap = _seconds(paper, "longest_gap", DEFAULT_LONGEST_GAP_S)
    rows: list[tuple[str, ...]] = []
    sums: list[Sum] = []
    levels = []
    if limit is not None and limit.lower is not None:
        levels += [
            (limit.lower + k * guard, name, "below") for k, name in ((-1, "L − g"), (0, "L"), (1, "L + g"))
        ]
    if limit is not None and limit.upper is not None:
        levels += [
            (limit.upper + k * guard, name, "above") for k, name in ((1, "U + g"), (0, "U"), (-1, "U − g"))
        ]
    for level, name, side in levels:
        found = stretches(log.samples, window, gap, **{side: level})
        for start, end in found[:MOST_STRETCHES]:
            sums += _crossings(log, level, name, (start, end))
            rows.append(
                (f"{side} {name} = {fig(level, 4)} V", fig(start - log.samples[0][0], 3),
                 fig(end - log.samples[0][0], 3), f"{fig(end - start, 3)} s")
            )  # fmt: skip
        if not found:
            rows.append((f"{side} {name} = {fig(level, 4)} V", "never", "", "0 s"))
        if len(found) > MOST_STRETCHES:
            rows.append((f"{side} {name}", f"{len(found) - MOST_STRETCHES} more, see the log", "", ""))
    inside = [(t, v) for t, v in log.samples if window.start <= t <= window.end]
    widest = max((b[0] - a[0] for a, b in pairwise(inside)), default=0.0)
    caption = (
        f"{len(inside)} of {len(log.samples)} samples lie in the session; widest step between them "
        f"{fig(widest, 3)} s; seconds are counted from the first sample, "
        f"{times.clock_text(paper.context.place, _at(log.samples[0][0]), True)} "
        "by the logger"
    )
    table = Table(
        caption=caption, head=("Stretch", "From, s", "To, s", "Length"), rows=tuple(rows), wide="40%"
    )
    return table, sums


def _at(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds, tz=UTC)


def _crossings(log: VoltageLog, level: float, name: str, part: tuple[float, float]) -> Iterator[Sum]:
    """Where the straight line between two samples meets the level, at each end of a stretch."""
    first = log.samples[0][0]
    for word, at in (("begins", part[0]), ("ends", part[1])):
        pair = next(
            (
                (a, b)
                for a, b in pairwise(log.samples)
                if a[0] < at < b[0] and (a[1] - level) * (b[1] - level) < 0
            ),
            None,
        )
        if pair is None:
            continue
        (t1, v1), (t2, v2) = ((t - first, v) for t, v in pair)
        yield made(
            f"stretch beyond {name} {word}", "t1 + (t2 − t1) (level − v1) / (v2 − v1)",
            f"{fig(t1)} + ({fig(t2)} − {fig(t1)}) × ({fig(level, 6)} − {fig(v1)}) / ({fig(v2)} − {fig(v1)})",
            at - first, 3, "s",
        )  # fmt: skip


# ------------------------------------------------------------------ drive


def drive(paper: Paper) -> Worked:
    """Each run that counts, their sum, the longest; seconds that do not count, by reason."""
    rules = (
        "a step between two positions counts when none of these applies, the first that does "
        "names it: outside "
        "the session, key off, longer than the longest gap, slower, faster, speed change > limit "
        "(|v2 − v1| / 3.6 / dt), turn rate > limit, sun too low",
        "runs of counting steps shorter than the shortest counted are dropped; counted = sum of "
        "the runs kept; "
        "second pass: every gap counts too (what a gap could hide)",
        "met: counted ≥ needed and longest ≥ needed; not met: even with the gaps too short; "
        "otherwise not shown",
    )
    review = _review(paper)
    runs = [
        n.value for n in paper.finding.outcome.numbers if n.name.startswith("run_") and n.value is not None
    ]
    sums = [made("counted", "sum of the runs kept", total(runs), paper.value("counted_s"), 3, "s")]
    if runs:
        longest = "max(" + ", ".join(fig(run) for run in runs) + ", 0)"
        sums.append(made("longest run", "the largest", longest, paper.value("longest_s"), 3, "s"))
    lost = [
        (UNCOUNTED.get(n.name.removeprefix("uncounted_").removesuffix("_s"), n.name), n.value)
        for n in paper.finding.outcome.numbers
        if n.name.startswith("uncounted_") and n.value is not None
    ]
    tables: list[Table] = []
    if review is not None:
        sums += _whole(review, runs, [value for _, value in lost])
        tables.append(_runs(paper, review))
    if lost:
        rows = tuple((words, f"{fig(value)} s") for words, value in lost)
        tables.append(Table(caption="What does not count", head=("Reason", "Seconds"), rows=rows, wide="60%"))
    after = () if review is None else sun(paper, review)
    return Worked(rules=rules, tables=tuple(tables), sums=tuple(sums), after=after, words=(_needs(paper),))


def _needs(paper: Paper) -> str:
    counted, high = paper.value("counted_s"), paper.value("high_s")
    longest, longest_high = paper.value("longest_s"), paper.value("longest_high_s")
    parts = []
    for name, words, value, most in (
        ("total_time", "in all", counted, high),
        ("longest_stretch", "in one run", longest, longest_high),
    ):
        limit = paper.limit(name)
        if limit is not None and limit.lower is not None and value is not None and most is not None:
            sign = "≥" if value >= limit.lower else "<"
            text = f"{words}: {fig(value)} s {sign} {fig(limit.lower)} s needed"
            parts.append(text if most == value else f"{text}; with every gap counting {fig(most)} s")
    return f"{'. '.join(part[:1].upper() + part[1:] for part in parts)}." if parts else ""


def _review(paper: Paper) -> DriveReview | None:
    edition = paper.context.edition(paper.finding.pack, paper.finding.edition)
    if edition is None or paper.finding.session_id is None:
        return None
    return review_drive(paper.facts, edition, paper.finding.session_id, paper.context.assessment.gate_at)


def _whole(review: DriveReview, runs: Sequence[float], lost: Sequence[float]) -> Iterator[Sum]:
    first, last = review.track.fixes[0].t, review.track.fixes[-1].t
    steps = review.analysis.steps
    long = math.fsum(step.end_s - step.start_s for step in steps)
    if abs(long - (last - first)) < 1e-6:
        yield made(
            "the whole track", "counted + not counted = last position − first",
            f"{total(runs)} + {total(lost)}", long, 3, "s",
        )  # fmt: skip


def _runs(paper: Paper, review: DriveReview) -> Table:
    place = paper.session.place if paper.session is not None else paper.context.place
    rows = tuple(
        (
            times.clock_text(place, _at(run.start_s), True),
            times.clock_text(place, _at(run.end_s), True),
            f"{fig(run.seconds)} s",
            f"{fig(run.distance_m / 1000, 3)} km",
        )
        for run in review.analysis.runs
    )
    fixes = review.track.fixes
    zone = times.zone_text(place, _at(fixes[0].t))
    caption = (
        f"Runs that count, by the log's clock, {zone}; {len(fixes)} positions from "
        f"{times.clock_text(place, _at(fixes[0].t), True)} to "
        f"{times.clock_text(place, _at(fixes[-1].t), True)}; "
        "each position is in the log's file and in facts.json"
    )
    none = (("no run is long enough", "", "", ""),)
    return Table(caption=caption, head=("From", "To", "Length", "Way"), rows=rows or none)


# ------------------------------------------------------------------ sun


def sun(paper: Paper, review: DriveReview) -> tuple[Table, ...]:
    """The sun's height at both ends of each run that counts, where the pack asks for daylight."""
    limit = review.limits.sun_above_deg
    if limit is None:
        return ()
    place = paper.session.place if paper.session is not None else paper.context.place
    moments = [at for run in review.analysis.runs for at in (run.start_s, run.end_s)]
    fixes = {fix.t: fix for fix in review.track.fixes}
    rows = []
    for at in moments:
        fix = fixes.get(at)
        if fix is not None:
            rows.append(_sun_row(place, at, fix.lat, fix.lon))
    if not rows:
        return ()
    caption = (
        f"Height of the sun (needed: {fig(limit)}° or more): sin h = sin lat sin δ + cos lat cos δ cos H; "
        "declination δ and hour angle H by the low-precision formulas of the Astronomical "
        "Almanac, good to 0.1°"
    )
    head = ("Local time", "Latitude", "Longitude", "δ, deg", "H, deg", "Height h, deg")
    return (Table(caption=caption, head=head, rows=tuple(rows)),)


def _sun_row(place: Place, at: float, lat: float, lon: float) -> tuple[str, ...]:
    declination, hour = sun_angles(at, lon)
    height, _ = position_deg(at, lat, lon)
    return (
        times.clock_text(place, _at(at), True),
        fig(lat, 4),
        fig(lon, 4),
        fig(declination, 3),
        fig(hour, 3),
        fig(height, 2),
    )


def sun_angles(at_s: float, lon: float) -> tuple[float, float]:
    """Declination and hour angle (deg, −180 to 180): the steps on the way to the height that is judged."""
    days = (at_s - J2000_S) / 86400.0
    anomaly = math.radians((357.528 + 0.9856003 * days) % 360.0)
    longitude = (280.460 + 0.9856474 * days) % 360.0
    ecliptic = math.radians(longitude + 1.915 * math.sin(anomaly) + 0.020 * math.sin(2 * anomaly))
    tilt = math.radians(23.439 - 0.0000004 * days)
    ascension = math.degrees(math.atan2(math.cos(tilt) * math.sin(ecliptic), math.cos(ecliptic)))
    declination = math.degrees(math.asin(math.sin(tilt) * math.sin(ecliptic)))
    sidereal = (280.46062 + 360.98564737 * days) % 360.0
    hour = (sidereal + lon - ascension + 180.0) % 360.0 - 180.0
    return declination, hour


# ------------------------------------------------------------------ odometer


def odometer(paper: Paper) -> Worked:
    """The odometer's way and the track's length as intervals, and whether they overlap."""
    rules = (
        "a display that cuts off at steps of r: the true way lies in (O2 − O1 − r, O2 − O1 + r)",
        "length of the track S: sum of mean speed × seconds of every step, gaps bridged "
        "(haversine where there "
        "is no speed); true way in [S (1 − p), S (1 + p) + gap seconds × 130 km/h]; met: the two overlap",
    )
    read = sorted((r for r in paper.readings if r.quantity == "odometer"), key=lambda item: item.at.low)
    way, track, gap = paper.numbers.get("odometer_km"), paper.numbers.get("track_km"), paper.value("gap_s")
    sums: list[Sum] = []
    if len(read) >= 2 and way is not None and way.lower is not None and way.upper is not None:
        first, last = read[0], read[-1]
        step = max(first.resolution or 0.0, last.resolution or 0.0)
        between = f"{fig(last.value)} − {fig(first.value)}"
        sums.append(made("odometer, at least", "O2 − O1 − r", f"{between} − {fig(step)}", way.lower, 3, "km"))
        sums.append(made("odometer, at most", "O2 − O1 + r", f"{between} + {fig(step)}", way.upper, 3, "km"))
    share = _share(paper)
    if track is not None and track.value is not None and gap is not None:
        sums.append(
            made(
                "track, at least",
                "S (1 − p)",
                f"{fig(track.value)} × (1 − {fig(share)})",
                track.lower,
                4,
                "km",
            )
        )
        sums.append(
            made("track, at most", "S (1 + p) + gap × 130 / 3600",
                 f"{fig(track.value)} × (1 + {fig(share)}) + {fig(gap)} × 130 / 3600", track.upper, 4, "km")
        )  # fmt: skip
    return Worked(rules=rules, sums=tuple(sums))


def _share(paper: Paper) -> float:
    value = None if paper.proof is None else paper.proof.arguments.get("scale")
    return float(value) / 100 if isinstance(value, int | float) else 0.03
