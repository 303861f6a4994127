"""Order of events, time between events, freshness, and instruments in date, worked out."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from itertools import pairwise

from jobs.packets.pages import times
from jobs.packets.pages.words import plain
from jobs.packets.pages.worked.desk import Paper
from jobs.packets.pages.worked.lines import Table, Worked, fig
from rules.checks.event_times import EventTime, event_time
from rules.checks.freshness import part_window, place_of
from rules.checks.known_times import KnownTimes, known_times
from rules.facts import (
    ClimateLog,
    FloorSurvey,
    Moment,
    Place,
    Reading,
    Record,
    Scan,
    Statement,
    VoltageLog,
)
from rules.science.instruments import due_on

ORDER_WORDS = {"true": "shown", "false": "broken: the second came first", "unknown": "not shown"}


# ------------------------------------------------------------------ order


def order(paper: Paper) -> Worked:
    """Each event as an interval of true time, and each pair with the room between them."""
    argument = None if paper.proof is None else paper.proof.arguments.get("events")
    names = tuple(str(name) for name in argument) if isinstance(argument, tuple) else ()
    return _chain(paper, names)


def within(paper: Paper) -> Worked:
    """The shortest and the longest time between two events, against the limit."""
    arguments = {} if paper.proof is None else paper.proof.arguments
    names = tuple(str(arguments[key]) for key in ("from", "to") if key in arguments)
    return _chain(paper, names)


def _chain(paper: Paper, names: tuple[str, ...]) -> Worked:
    context = paper.check_context()
    rules = (
        "true time of an event read as R on a clock: [R − largest offset, R + resolution − smallest offset], "
        "offset = clock less true time; tightest bounds by shortest paths through all clocks and readings "
        "together (simple temporal network); two readings of one clock share its offset",
        "A before B is shown when the least of B − A is not negative, broken when the most of it is negative",
    )
    if context is None or not names:
        return Worked(rules=rules)
    known = known_times(context.facts)
    events = [event_time(context, name) for name in names]
    place = place_of(context)
    rows = tuple(_event_row(place, known, event) for event in events)
    table = Table(
        caption=f"Events, {_zone(place, events)}",
        head=("Event", "Clock showed", "Not before", "Not after", "By"),
        rows=rows,
        wide="24%",
    )
    pairs = tuple(_pairs(known, [event for event in events if event.moment is not None]))
    between = Table(
        caption="Room between neighbours: least and most of (second − first)",
        head=("First", "Second", "Least", "Most", "Order"),
        rows=pairs,
        wide="24%",
    )
    return Worked(rules=rules, tables=(table, between) if pairs else (table,))


def _zone(place: Place, events: list[EventTime]) -> str:
    first = next((event.moment for event in events if event.moment is not None), None)
    return "no zone" if first is None else times.zone_text(place, first.high)


def _event_row(place: Place, known: KnownTimes, event: EventTime) -> tuple[str, ...]:
    moment = event.moment
    if moment is None:
        return (plain(event.name), "left out" if event.left_out else "not on record", "", "", "")
    doubtful = ", clocks contradict each other" if known.is_doubtful(moment) else ""
    return (
        plain(event.name),
        times.short_instant(place, moment.reading, seconds=True),
        _exact(place, moment.low),
        _exact(place, moment.high),
        _clock(moment) + doubtful,
    )


def _clock(moment: Moment) -> str:
    return "a device" if moment.clock.startswith("device:") else moment.clock.replace("_", " ")


def _exact(place: Place, at: datetime) -> str:
    """Local time with as many decimals of a second as it has, at most three."""
    local = place.local(at)
    text = local.strftime("%H:%M:%S")
    rest = round(local.microsecond / 1000)
    return f"{text}.{rest:03d}".rstrip("0") if 0 < rest < 1000 else text


def _pairs(known: KnownTimes, events: list[EventTime]) -> Iterator[tuple[str, ...]]:
    for first, second in pairwise(events):
        if first.moment is None or second.moment is None:
            continue
        span = known.span(first.moment, second.moment)
        yield (
            plain(first.name),
            plain(second.name),
            _length(span.low),
            _length(span.high),
            ORDER_WORDS[known.happened_before(first.moment, second.moment)],
        )


def _length(apart: timedelta | None) -> str:
    if apart is None or abs(apart) >= timedelta(days=3650):
        return "not known"
    seconds = apart.total_seconds()
    text = f"{fig(round(seconds, 3))} s"
    return text if abs(seconds) < 120 else f"{text} ({_sign(seconds)}{times.duration(abs(seconds))})"


def _sign(seconds: float) -> str:
    return "−" if seconds < 0 else ""


# ------------------------------------------------------------------ freshness


def freshness(paper: Paper) -> Table | None:
    """How old each visit-wide value was when the part of the session began, where the pack sets a limit."""
    proof, context = paper.proof, paper.check_context()
    if proof is None or context is None or (proof.fresh_for_s is None and not proof.broken_by):
        return None
    window = part_window(context)
    rows = tuple(_ages(paper, window.start)) if window is not None else ()
    if not rows:
        return None
    allowed = "the same local day" if proof.fresh_for_s is None else times.duration(proof.fresh_for_s)
    spoilt = ""
    if proof.broken_by:
        spoilt = f"; spoilt by {', '.join(plain(kind) for kind in proof.broken_by)} in between"
    return Table(
        caption=f"Freshness: start of the session − taken ≤ {allowed}{spoilt}",
        head=("What", "Taken", "Session began", "Age"),
        rows=rows,
        wide="34%",
    )


def _ages(paper: Paper, start: Moment) -> Iterator[tuple[str, ...]]:
    place = paper.session.place if paper.session is not None else paper.context.place
    seen: set[tuple[str, Moment]] = set()
    for record in paper.records:
        at = _taken(record)
        if at is None:
            continue
        name = record.quantity if isinstance(record, Reading) else "statement"
        if (name, at) in seen:
            continue
        seen.add((name, at))
        age = (start.high - at.low).total_seconds()
        yield (
            plain(name).replace("tyre", "tire"),
            times.short_instant(place, at.low, seconds=True),
            times.short_instant(place, start.high, seconds=True),
            f"{_sign(age)}{times.duration(abs(age))}",
        )


def _taken(record: Record) -> Moment | None:
    return record.at if isinstance(record, Reading | Statement) else None


# ------------------------------------------------------------------ instruments in date


def instruments(paper: Paper) -> Worked:
    """Each instrument on each local day of use: calibrated on + interval = last valid day."""
    rows = tuple(_dates(paper))
    rules = (
        "last valid day = calibrated on + interval in months, cut to the end of the month; valid "
        "through that "
        "local day of the place of use; counted from the calibration, no grace",
    )
    table = Table(
        caption="Certificates against days of use",
        head=(
            "Instrument",
            "Used on",
            "Certificate",
            "Calibrated on",
            "Interval",
            "Last valid day",
            "In date",
        ),
        rows=rows,
    )
    return Worked(rules=rules, tables=(table,) if rows else ())


def _dates(paper: Paper) -> Iterator[tuple[str, ...]]:
    uses = dict.fromkeys(_uses(paper))
    for tag, day in sorted(uses):
        item = next((one for one in paper.facts.equipment if one.tag == tag), None)
        if item is None:
            yield (tag, times.day_text(day), "not on the instrument list", "", "", "", "not shown")
            continue
        if not item.needs_certificate:
            yield (tag, times.day_text(day), "none asked for", "", "", "", "as far as it goes")
            continue
        usable = [c for c in item.certificates if c.ended_at is None and c.calibrated_on <= day]
        newest = max(usable, key=lambda c: c.calibrated_on, default=None)
        if newest is None:
            yield (tag, times.day_text(day), "none on file", "", "", "", "not shown")
            continue
        due = due_on(newest, item.interval_months)
        yield (
            tag,
            times.day_text(day),
            newest.number,
            times.day_text(newest.calibrated_on),
            "none" if item.interval_months is None else f"{item.interval_months} months",
            "no end" if due is None else times.day_text(due),
            "yes" if due is None or day <= due else "no, overdue",
        )


def _uses(paper: Paper) -> Iterator[tuple[str, date]]:
    place = paper.context.place
    tags = set(paper.finding.outcome.instruments)
    for record in paper.records:
        found = _use(record)
        if found is None or found[0] not in tags:
            continue
        session = next(
            (s for s in paper.facts.sessions if isinstance(record, Reading) and s.id == record.session), None
        )
        yield found[0], (place if session is None else session.place).local_date(found[1].high)


def _use(record: Record) -> tuple[str, Moment] | None:
    if isinstance(record, Reading) and record.instrument:
        return record.instrument, record.at
    if isinstance(record, VoltageLog | ClimateLog) and record.instrument and record.samples:
        return record.instrument, record.clock.moment(record.samples[-1][0])
    if isinstance(record, Scan) and record.device:
        return record.device, record.ended
    if isinstance(record, FloorSurvey) and record.instrument:
        return record.instrument, record.surveyed
    return None
