"""The time line drawn: a lane for each clock, bars of true time, what the clock showed, order arrows.

The same drawing stands in the packet and on the page: plain numbers here, one template, two palettes.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from jobs.packets.pages import times
from jobs.packets.pages.clocks import Clock
from rules.explain import readable
from rules.facts import JobFacts, Place
from rules.operation_names import plain_operation
from rules.timeline import TimelineEvent, events_in_order

# Units of the drawing: 1000 wide, the lanes' names at the left.
WIDE: Final = 1000.0
LEFT: Final = 172.0
RIGHT: Final = 986.0
TOP: Final = 30.0
ROW: Final = 17.0
MOST_ROWS: Final = 14
# About so wide is one letter of a label (project default).
LETTER: Final = 6.0
LONGEST_LABEL: Final = 34
STEPS_MIN: Final = (5, 10, 15, 30, 60, 120, 180, 240, 360)
# Events of one name and clock within this time stand in the drawing as one.
TOGETHER: Final = timedelta(minutes=3)
NEWS: Final = "time of the "

PRINT: Final[Mapping[str, str]] = {
    "ink": "#000000", "second": "#3A3A3A", "rule": "#B5B5B5", "ground": "#FFFFFF", "order": "#163F86",
    "font": "Packet Next",
}  # fmt: skip
SCREEN: Final[Mapping[str, str]] = {
    "ink": "var(--ink)", "second": "var(--ink-2)", "rule": "var(--rule)", "ground": "var(--surface)",
    "order": "var(--met)", "font": "inherit",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """Two instants by clock whose order is shown, or claims that cannot both be."""

    first_clock: str
    first_at: datetime
    second_clock: str
    second_at: datetime
    words: str
    holds: bool


@dataclass(slots=True, kw_only=True)
class Mark:
    """One event (or several of one name) in its lane; lengths in units of the drawing."""

    x1: float
    x2: float
    raw_x: float | None
    label: str
    label_x: float
    anchor: str
    y: float
    doubtful: bool

    @property
    def low_y(self) -> float:
        return self.y - 5

    @property
    def high_y(self) -> float:
        return self.y + 5

    @property
    def text_y(self) -> float:
        return self.y + 4

    @property
    def raw_left(self) -> float:
        return (self.raw_x or 0.0) - 3.5

    @property
    def raw_right(self) -> float:
        return (self.raw_x or 0.0) + 3.5


@dataclass(slots=True, kw_only=True)
class Lane:
    """``hidden``: marks without a label because there was no room."""

    name: str
    known: str
    top: float
    height: float
    marks: list[Mark]
    hidden: int

    @property
    def name_y(self) -> float:
        return self.top + 19

    @property
    def known_y(self) -> float:
        return self.top + 33


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrow:
    path: str
    head: str
    words: str
    holds: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DayDrawing:
    """One local day: ``sentence`` says what the drawing shows for those who do not see it."""

    head: str
    sentence: str
    width: float
    height: float
    ticks: tuple[tuple[float, str], ...]
    lanes: tuple[Lane, ...]
    arrows: tuple[Arrow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Together:
    name: str
    count: int
    clock: str
    low: datetime
    high: datetime
    reading: datetime
    doubtful: bool


def day_drawings(
    facts: JobFacts, clocks: tuple[Clock, ...], orders: Iterable[Order] = ()
) -> tuple[DayDrawing, ...]:
    """A drawing for each local day from the order's first; earlier days stand in the table only."""
    place = facts.place
    first = place.local_date(facts.opened.low)
    by_day: dict[date, list[TimelineEvent]] = {}
    for event in events_in_order(facts):
        day = place.local_date(event.low)
        if day >= first:
            by_day.setdefault(day, []).append(event)
    wanted = list(orders)
    return tuple(_drawing(place, day, events, clocks, wanted) for day, events in by_day.items())


def _drawing(
    place: Place, day: date, events: list[TimelineEvent], clocks: tuple[Clock, ...], orders: list[Order]
) -> DayDrawing:
    start, end = _window(place, events)
    scale = _Scale(start=start, end=end)
    lanes: list[Lane] = []
    by_key: dict[str, Lane] = {}
    top = TOP
    words = {clock.words: clock for clock in clocks}
    for clock in clocks:
        own = _joined([event for event in events if _clock_of(event, words) is clock])
        if not own:
            continue
        lane = _lane(clock, own, scale, top)
        lanes.append(lane)
        by_key[clock.key] = lane
        top += lane.height
    zone = times.zone_text(place, events[0].low)
    return DayDrawing(
        head=f"{times.weekday_text(day)}, {zone}",
        sentence=f"Drawing of {len(events)} times by {len(lanes)} clocks on "
        f"{times.weekday_text(day)}; the table "
        "lists every one of them.",
        width=WIDE,
        height=top + 8,
        ticks=_ticks(place, scale),
        lanes=tuple(lanes),
        arrows=tuple(_arrows(orders, scale, by_key)),
    )


def _clock_of(event: TimelineEvent, words: Mapping[str, Clock]) -> Clock | None:
    text = event.clock.removeprefix("the ").removeprefix("clock of ")
    return next((clock for key, clock in words.items() if key in text or clock.name == text), None)


def _window(place: Place, events: list[TimelineEvent]) -> tuple[datetime, datetime]:
    """From the whole hour before the first time to the one after the last; unknown clocks do not widen it."""
    sharp = [event for event in events if event.high - event.low < timedelta(hours=6)] or events
    low = min(event.low for event in sharp)
    high = max(event.high for event in sharp)
    offset = timedelta(minutes=place.offset_minutes(low))
    begin = (low + offset).replace(minute=0, second=0, microsecond=0) - offset
    last = (high + offset).replace(minute=0, second=0, microsecond=0) - offset + timedelta(hours=1)
    return begin, min(max(last, begin + timedelta(hours=1)), begin + timedelta(hours=26))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scale:
    start: datetime
    end: datetime

    def x(self, at: datetime) -> float:
        share = (at - self.start) / (self.end - self.start)
        return round(LEFT + min(max(share, 0.0), 1.0) * (RIGHT - LEFT), 1)

    def shows(self, at: datetime) -> bool:
        return self.start <= at <= self.end


def _ticks(place: Place, scale: _Scale) -> tuple[tuple[float, str], ...]:
    minutes = (scale.end - scale.start).total_seconds() / 60
    step = next((one for one in STEPS_MIN if minutes / one <= 10), STEPS_MIN[-1])
    found, at = [], scale.start
    while at <= scale.end:
        found.append((scale.x(at), times.clock_text(place, at)))
        at += timedelta(minutes=step)
    return tuple(found)


def _joined(events: list[TimelineEvent]) -> list[_Together]:
    """Events of one name close together as one, with their number."""
    found: list[_Together] = []
    for event in events:
        name = event_label(event)
        last = next((item for item in reversed(found) if item.name == name), None)
        if last is not None and event.low - last.low <= TOGETHER:
            found[found.index(last)] = _Together(
                name=name,
                count=last.count + 1,
                clock=last.clock,
                low=last.low,
                high=max(last.high, event.high),
                reading=last.reading,
                doubtful=last.doubtful or event.doubtful,
            )
            continue
        found.append(
            _Together(
                name=name, count=1, clock=event.clock, low=event.low, high=event.high, reading=event.reading,
                doubtful=event.doubtful,
            )
        )  # fmt: skip
    return found


def event_label(event: TimelineEvent) -> str:
    """A short name for the drawing: ``final scan ended``, ``reading: tire pressure``."""
    text = readable(event.name.removeprefix(NEWS))
    head, mark, rest = text.partition(" (")
    inside = rest.removesuffix(")")
    if mark and "." in inside:
        text = f"{head}: {plain_operation(inside)}"
    elif head.startswith(("taking of the photo", "taking of the file")):
        text = head.replace("taking of the ", "")
    for place in ("front left", "front right", "rear left", "rear right"):
        text = text.replace(f" {place}", "")
    for side in ("d LL", "d LR", "d RL", "d RR", "b LL", "b LR", "b RL", "b RR"):
        text = text.replace(f" {side}", "")
    return text


def _lane(clock: Clock, events: list[_Together], scale: _Scale, top: float) -> Lane:
    ends = [0.0] * MOST_ROWS
    marks: list[Mark] = []
    hidden = used = 0
    for event in events:
        x1, x2 = scale.x(event.low), scale.x(event.high)
        text = event.name if event.count == 1 else f"{event.name}, {event.count} times"
        label = text if len(text) <= LONGEST_LABEL else text[: LONGEST_LABEL - 1].rstrip() + "…"
        wide = len(label) * LETTER + 8
        right = x2 + 7 + wide <= RIGHT + 6
        begin = x1 - 4 if right else x1 - 7 - wide
        row = next((place for place, end in enumerate(ends) if end <= begin), None)
        if row is None:
            hidden += 1
            row, label = MOST_ROWS - 1, ""
        else:
            ends[row] = (x2 + 7 + wide) if right else x2 + 6
        used = max(used, row)
        raw = scale.x(event.reading) if scale.shows(event.reading) else None
        apart = raw is not None and min(abs(raw - x1), abs(raw - x2)) > 4 and not x1 <= raw <= x2
        marks.append(
            Mark(
                x1=x1,
                x2=max(x2, x1 + 1.6),
                raw_x=raw if apart else None,
                label=label,
                label_x=round(x2 + 6, 1) if right else round(x1 - 6, 1),
                anchor="start" if right else "end",
                y=round(top + 15 + row * ROW, 1),
                doubtful=event.doubtful,
            )
        )
    height = max(40.0, (used + 1) * ROW + 12)
    return Lane(name=clock.name, known=clock.known, top=top, height=height, marks=marks, hidden=hidden)


def _arrows(orders: list[Order], scale: _Scale, lanes: Mapping[str, Lane]) -> Iterator[Arrow]:
    """Curves from the end of the first event's bar to the start of the second's."""
    for number, order in enumerate(orders):
        first, second = lanes.get(order.first_clock), lanes.get(order.second_clock)
        shown = scale.shows(order.first_at) and scale.shows(order.second_at)
        # Within one lane the order can be read off; a contradiction is drawn all the same.
        if first is None or second is None or not shown or (first is second and order.holds):
            continue
        x1, x2 = scale.x(order.first_at), scale.x(order.second_at)
        y1, y2 = _height_at(first, x1, 1), _height_at(second, x2, -1)
        down = y2 >= y1
        tip = y2 - 6 if down else y2 + 6
        back = tip - 7 if down else tip + 7
        bend = 16 + 7 * (number % 3)
        middle = round((y1 + tip) / 2, 1)
        yield Arrow(
            path=f"M{x1} {y1}C{x1 + bend} {middle} {x2 - bend} {middle} {x2} {tip}",
            head=f"M{x2} {tip}L{round(x2 - 4, 1)} {back}L{round(x2 + 4, 1)} {back}Z",
            words=order.words,
            holds=order.holds,
        )


def _height_at(lane: Lane, x: float, side: int) -> float:
    """The height of the bar that ends (side 1) or begins (side -1) nearest to ``x``."""
    nearest = min(lane.marks, key=lambda mark: abs((mark.x2 if side > 0 else mark.x1) - x))
    return nearest.y
