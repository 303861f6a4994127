"""Claims about times beyond the clocks: receipt, slips, what physics allows; and every claim in words."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import combinations
from typing import Final

from rules.checks.curing import PaneCure, pane_cures
from rules.checks.known_times import KnownTimes, Link, RecordedEvent, microseconds
from rules.facts import (
    ClimateLog,
    Delivery,
    DriveLog,
    EvidenceItem,
    GlassSet,
    JobFacts,
    Photo,
    Place,
    Scan,
    Session,
    VoltageLog,
    live,
)
from rules.rounding import to_six
from rules.science.clocks import DEVICE_MARK
from rules.science.geodesy import distance_m
from rules.science.time_network import ORIGIN, TimeNetwork

# Project defaults, no source.
SETTING_PHOTO_WITHIN: Final = timedelta(minutes=5)
SHORTEST_SCAN: Final = timedelta(seconds=20)
FASTEST_KPH: Final = 130.0
# A session is noted at its shop although a road session may begin and end some way off.
SESSION_REACH_M: Final = 50_000.0
PHOTO_REACH_M: Final = 250.0
FIX_REACH_M: Final = 100.0
# Shorter ways are driven all the time; and the sphere is up to 0.6 % from the ellipsoid.
SHORTEST_WAY_M: Final = 5_000.0
SPHERE_SHARE: Final = 0.994
# What a photo of glass being set shows.
SETTING_SUBJECT: Final = "glass_being_set"

_HALF_SECOND: Final = timedelta(milliseconds=500)
_WHATS: Final = {
    "started": "start of",
    "ended": "end of",
    "done": "end of",
    "customer_told_at": "telling the owner of",
    "out_at": "departure of",
    "back_at": "return of",
    "first sample": "start of",
    "last sample": "end of",
}


# ------------------------------------------------------------------ words


def local_and_utc(place: Place, at: datetime) -> str:
    """``2026-07-14 16:40:00 UTC-06:00 (22:40:00 UTC)``; where the UTC date differs it is given too."""
    near = at + _HALF_SECOND
    minutes = place.offset_minutes(at)
    local, utc = place.local(near), near.replace(tzinfo=None)
    sign = "-" if minutes < 0 else "+"
    zone = f"UTC{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
    form = "%H:%M:%S" if utc.date() == local.date() else "%Y-%m-%d %H:%M:%S"
    return f"{local.strftime('%Y-%m-%d %H:%M:%S')} {zone} ({utc.strftime(form)} UTC)"


def clock_words(clock: str) -> str:
    """Whose clock it is, in plain words; a device by the first block of its id."""
    if not clock.startswith(DEVICE_MARK):
        return f"the {clock} clock"
    name, _, period = clock.removeprefix(DEVICE_MARK).partition("@")
    device = f"the clock of device {name.split('-')[0]}"
    return f"{device}, {period.replace('_', ' ')}" if period else device


def place_of_event(facts: JobFacts, event: RecordedEvent) -> Place:
    """The place of the session that an event belongs to, else of the job."""
    record = event.record
    if isinstance(record, Session):
        return record.place
    named = getattr(record, "session", None)
    found = next((item.place for item in facts.sessions if item.id == named), None)
    return found or facts.place


def event_words(event: RecordedEvent) -> str:
    """What happened, in plain words: ``end of the session (OV-FC-ROAD, attempt 1)``."""
    record, thing = event.record, _thing(event)
    if isinstance(record, GlassSet):
        return "setting of the glass"
    if isinstance(record, EvidenceItem):
        return f"taking of {thing}"
    last = event.what.rpartition(".")[2]
    head = _WHATS.get(last, "time of")
    return f"{head} {thing}"


def _thing(event: RecordedEvent) -> str:
    record = event.record
    if isinstance(record, EvidenceItem):
        return f"the {record.kind.replace('_', ' ')} (evidence {record.number})"
    if isinstance(record, Session):
        part = event.what.partition(".")[0] if "." in event.what else ""
        inside = f"{part.partition('[')[0].replace('_', ' ').rstrip('s')} of the " if part else ""
        return f"the {inside}session ({record.procedure_id}, attempt {record.attempt})"
    if isinstance(record, Scan):
        return f"the {record.stage.replace('_', ' ')} scan"
    detail = next((str(getattr(record, name)) for name in _DETAILS if getattr(record, name, "")), "")
    name = _NAMES.get(type(record).__name__, type(record).__name__.lower())
    return f"the {name} ({detail.replace('_', ' ').replace('tyre', 'tire')})" if detail else f"the {name}"


_DETAILS: Final = ("operation", "quantity", "role", "way", "sensor", "function", "number_read", "kind")
_NAMES: Final = {
    "OperationDone": "operation",
    "StateChange": "event",
    "IdentityReading": "identity reading",
    "FittedWay": "fitted sensor",
    "TextLookup": "look-up of the maker's text",
    "SubletTrip": "sublet trip",
    "SignOff": "signature",
    "LampRecord": "lamp record",
    "FunctionCheck": "function check",
    "TargetIdentity": "target number",
    "Closing": "closing of the operation list",
    "FloorSurvey": "floor survey",
    ClimateLog.__name__: "climate log",
    VoltageLog.__name__: "voltage log",
    DriveLog.__name__: "drive log",
    Delivery.__name__: "hand-over",
}


def claim_words(facts: JobFacts, link: Link) -> str:
    """One claim in plain words; empty where it is only the drift of a clock."""
    event, place = link.event, place_of_event(facts, link.event)
    name, slip = event_words(event), event.record.slip if isinstance(event.record, Photo) else None
    if link.kind in ("low", "high"):
        return _interval_words(place, event, is_low=link.kind == "low")
    if link.kind == "reading":
        clock = clock_words(event.moment.clock)
        return f"{clock} showed {local_and_utc(place, event.moment.reading)} at the {name}"
    if link.kind == "follows" and link.other is not None:
        return f"the {name} did not come before the {event_words(link.other)}"
    if link.kind == "received":
        received = local_and_utc(facts.place, event.record.received_at)
        return f"the server had received the {name} at {received}"
    if link.kind == "slip" and slip is not None:
        return f"{_thing(event)} shows a slip issued {local_and_utc(facts.place, slip.issued_at)}"
    return link.words


def _interval_words(place: Place, event: RecordedEvent, *, is_low: bool) -> str:
    moment, name = event.moment, event_words(event)
    at = local_and_utc(place, moment.low if is_low else moment.high)
    side = "not before " if is_low else "not after "
    known = "" if moment.low == moment.high else side
    return f"the {name} was {known}at {at} by {clock_words(moment.clock)}".replace(f"{side}at ", side)


# ------------------------------------------------------------------ receipt and slips


def add_receipts(network: TimeNetwork[Link], events: Sequence[RecordedEvent]) -> None:
    """What the server received had happened; the end of a session or trip came in later than its record."""
    for event in events:
        record = event.record
        if event.what == "back_at" or (isinstance(record, Session) and event.what != "started"):
            continue
        if not event.own_interval:
            continue  # the clock's offset there is only carried over from the first sample
        network.at_most(ORIGIN, event.key, microseconds(record.received_at), Link("received", event))


def add_slips(network: TimeNetwork[Link], events: Sequence[RecordedEvent]) -> None:
    """A photo that shows a slip of ours was taken after the slip's issue."""
    for event in events:
        slip = event.record.slip if isinstance(event.record, Photo) else None
        if slip is not None and slip.authentic:
            network.at_least(ORIGIN, event.key, microseconds(slip.issued_at), Link("slip", event))


# ------------------------------------------------------------------ what physics allows


def add_setting_photos(network: TimeNetwork[Link], facts: JobFacts, events: Sequence[RecordedEvent]) -> None:
    """A photo of glass being set is taken within five minutes of the setting."""
    by_key = {event.key: event for event in events}
    settings = live(facts.glass_sets)
    for event in events:
        photo = event.record
        if not isinstance(photo, Photo) or SETTING_SUBJECT not in photo.shows:
            continue
        own = [item for item in settings if photo.id in item.evidence]
        # With several panes and nothing to tie it to one of them, nobody knows whose setting it shows.
        for setting in own or (settings if len(settings) == 1 else ()):
            other = by_key.get(f"{setting.id}/set_at")
            if other is None:
                continue
            within = SETTING_PHOTO_WITHIN // timedelta(microseconds=1)
            words = f"{_thing(event)} was taken within 5 min of the {event_words(other)}"
            link = Link("physical", event, other, words)
            network.at_most(other.key, event.key, within, link)
            network.at_most(event.key, other.key, within, link)


def add_adhesive(
    network: TimeNetwork[Link], facts: JobFacts, known: KnownTimes, gate: tuple[datetime, float]
) -> None:
    """The minutes an adhesive asks for lie between its setting and a drive after it.

    Left out where the recorded times alone show an earlier drive: that is no contradiction but a drive too
    early, and is judged as one. The fewest minutes that the climate readings allow are taken.
    """
    if not live(facts.glass_sets) or not live(facts.drive_logs):
        return
    for cure in pane_cures(facts, *gate):
        minutes = _fewest_minutes(cure)
        set_at = next((e for e in known.events if e.key == f"{cure.setting.id}/set_at"), None)
        if minutes is None or set_at is None:
            continue
        for event in known.events:
            if not isinstance(event.record, DriveLog) or event.what != "first sample":
                continue
            apart = known.span(set_at.moment, event.moment)
            if apart.is_not_negative != "true" or apart.at_most(timedelta(minutes=minutes)) == "true":
                continue
            words = (
                f"the adhesive asks for at least {minutes} min between the {event_words(set_at)} and the "
                f"{event_words(event)}"
            )
            link = Link("physical", set_at, event, words)
            network.at_least(set_at.key, event.key, minutes * 60_000_000, link)


def _fewest_minutes(cure: PaneCure) -> int | None:
    found = [item.minutes for item in (cure.cautious, cure.hopeful) if item is not None]
    known = [minutes for minutes in found if minutes is not None]
    return min(known, default=None)


def add_scans(network: TimeNetwork[Link], events: Sequence[RecordedEvent], known: KnownTimes) -> None:
    """A scan lasts twenty seconds at least, so two ends of scans of one device lie that far apart."""
    ends = [event for event in events if isinstance(event.record, Scan) and event.what == "ended"]
    for first, second in combinations(ends, 2):
        if not _same_device(first, second):
            continue
        for a, b in ((first, second), (second, first)):
            if known.happened_before(a.moment, b.moment) != "true":
                continue
            if known.happened_before(b.moment, a.moment) == "true":
                continue
            words = f"{_thing(b)} began after {_thing(a)} and lasted at least {SHORTEST_SCAN.seconds} s"
            least = SHORTEST_SCAN // timedelta(microseconds=1)
            network.at_least(a.key, b.key, least, Link("physical", b, a, words))


def _same_device(first: RecordedEvent, second: RecordedEvent) -> bool:
    a, b = getattr(first.record, "device", None), getattr(second.record, "device", None)
    return a is not None and a == b


# ------------------------------------------------------------------ travel


@dataclass(frozen=True, slots=True, kw_only=True)
class Whereabouts:
    """Where an event was: a point and how far off it may have been (m); ``name`` in words."""

    event: RecordedEvent
    lat: float
    lon: float
    reach_m: float
    name: str


def whereabouts(facts: JobFacts, events: Sequence[RecordedEvent]) -> Iterator[Whereabouts]:
    """Events whose position is on record: photos, scans that a positioned photo shows, drives, sessions."""
    photos = {item.id: item for item in live(facts.photos) if item.lat is not None and item.lon is not None}
    for event in events:
        record = event.record
        if isinstance(record, Session):
            yield _at_place(event, record.place)
        elif isinstance(record, DriveLog):
            fix = record.fixes[0 if event.what == "first sample" else -1]
            reach = FIX_REACH_M + (fix.accuracy_m or 0.0)
            yield Whereabouts(event=event, lat=fix.lat, lon=fix.lon, reach_m=reach, name="its own position")
        elif event.what in ("captured", "ended"):
            shown = [photos[name] for name in (record.id, *record.evidence) if name in photos]
            if shown:
                yield _at_photo(event, shown[0])


def _at_place(event: RecordedEvent, place: Place) -> Whereabouts:
    reach = place.photo_radius_m + SESSION_REACH_M
    return Whereabouts(event=event, lat=place.lat, lon=place.lon, reach_m=reach, name=place.name)


def _at_photo(event: RecordedEvent, photo: Photo) -> Whereabouts:
    return Whereabouts(
        event=event,
        lat=photo.lat or 0.0,
        lon=photo.lon or 0.0,
        reach_m=PHOTO_REACH_M + (photo.accuracy_m or 0.0),
        name=f"the position of evidence {photo.number}",
    )


def add_travel(
    network: TimeNetwork[Link], facts: JobFacts, events: Sequence[RecordedEvent], known: KnownTimes
) -> None:
    """Between two places the car drives no faster than 130 km/h.

    Which of two events came first is not assumed: the claim is made only where the recorded times leave room
    for neither way round.
    """
    found = [one for one in whereabouts(facts, events) if _is_point(one)]
    if not found or not _far_apart(found):
        return
    for a, b in combinations(found, 2):
        way_m = to_six(SPHERE_SHARE * distance_m(a.lat, a.lon, b.lat, b.lon) - a.reach_m - b.reach_m)
        if a.event.record is b.event.record or way_m < SHORTEST_WAY_M:
            continue
        least = timedelta(seconds=to_six(way_m / 1000.0 / FASTEST_KPH * 3600.0))
        apart = known.span(a.event.moment, b.event.moment)
        if apart.high >= least or -apart.low >= least:
            continue
        _add_way(network, (a, b) if apart.high >= -apart.low else (b, a), way_m, least)


def _is_point(one: Whereabouts) -> bool:
    return all(math.isfinite(value) for value in (one.lat, one.lon, one.reach_m)) and one.reach_m >= 0


def _far_apart(found: Sequence[Whereabouts]) -> bool:
    """Is any one of them far from the first at all? Mostly none is, and no pair need be looked at."""
    first = found[0]
    return any(distance_m(first.lat, first.lon, one.lat, one.lon) > SHORTEST_WAY_M / 2 for one in found)


def _add_way(
    network: TimeNetwork[Link], ends: tuple[Whereabouts, Whereabouts], way_m: float, least: timedelta
) -> None:
    a, b = ends
    us = least // timedelta(microseconds=1)
    words = (
        f"between the {event_words(a.event)} ({a.name}) and the {event_words(b.event)} ({b.name}) lie at "
        f"least {way_m / 1000.0:.0f} km, which take {duration(us)} at {FASTEST_KPH:.0f} km/h"
    )
    network.at_least(a.event.key, b.event.key, us, Link("physical", a.event, b.event, words))


def duration(us: int) -> str:
    """``66 min 10 s``; from ten hours on ``26 h 05 min``; parts of a second only below two minutes."""
    whole = (us + 500_000) // 1_000_000
    if us < 120_000_000 and us % 1_000_000:
        return f"{us / 1_000_000:.6f}".rstrip("0") + " s"
    minutes, rest = divmod(whole, 60)
    if minutes >= 600:
        return f"{minutes // 60} h {minutes % 60:02d} min"
    if not minutes:
        return f"{rest} s"
    return f"{minutes} min {rest} s" if rest else f"{minutes} min"
