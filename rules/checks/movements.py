"""Road movements of the car: drives, driven trips, entered movements, delivery, odometer changes."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final, Literal

from rules.facts import DriveLog, Fix, JobFacts, Moment, Reading, SubletTrip, live, once
from rules.rounding import to_six
from rules.science.clocks import MIXED_CLOCK, earliest, happened_before, latest, shown_strictly_before, span
from rules.science.motion import lengths_m, times_increase

Kind = Literal["drive_log", "sublet", "vehicle_moved", "delivery", "odometer"]
# Track length against odometer: scale error, and speed through time without fixes (project defaults).
TRACK_SCALE: Final = 0.03
GAP_SPEED_KPH: Final = 130.0
DEFAULT_LONGEST_GAP_S: Final = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadMovement:
    """One movement on the road.

    ``start``: when it began; for an odometer change the whole time between its two readings. ``end``: when
    it ended, as far as known. ``record_id``: the record that shows it. ``what``: in plain words.
    """

    kind: Kind
    start: Moment
    end: Moment | None
    record_id: str
    what: str


@once
def road_movements(facts: JobFacts, gate_at: datetime) -> tuple[RoadMovement, ...]:
    """Every road movement of this visit that the record shows, by its earliest time.

    What lies after the gate instant is left out. An odometer change that no other movement explains is a
    movement at an unknown moment between its two readings.
    """
    known = [*_drives(facts), *_trips(facts, gate_at), *_entered(facts), *_delivery(facts)]
    known += _odometer_changes(facts, known)
    seen = [movement for movement in known if movement.start.low <= gate_at]
    return tuple(
        sorted(seen, key=lambda movement: (movement.start.low, movement.start.high, movement.record_id))
    )


def first_road_movement(facts: JobFacts, gate_at: datetime) -> Moment | None:
    """The first road movement after the last setting of bonded glass; without a setting, the first of all."""
    set_at = latest(item.set_at for item in live(facts.glass_sets))
    moments = [movement.start for movement in road_movements(facts, gate_at)]
    if set_at is not None:
        moments = [start for start in moments if happened_before(set_at, start) != "false"]
    return earliest(moments)


def movements_after(movements: Sequence[RoadMovement], event: Moment) -> tuple[RoadMovement, ...]:
    """Those that are not shown to have begun before the event."""
    return tuple(item for item in movements if happened_before(event, item.start) != "false")


def _drives(facts: JobFacts) -> list[RoadMovement]:
    return [
        RoadMovement(
            kind="drive_log",
            start=log.clock.moment(log.fixes[0].t),
            end=log.clock.moment(log.fixes[-1].t),
            record_id=log.id,
            what="the drive log starts",
        )
        for log in live(facts.drive_logs)
        if log.fixes
    ]


def _trips(facts: JobFacts, gate_at: datetime) -> list[RoadMovement]:
    """A driven trip: the way out, and the way back at an unknown moment between leaving and return."""
    found: list[RoadMovement] = []
    for trip in live(facts.sublet_trips):
        if trip.carried_how != "driven":
            continue
        out = trip.out_at or _any_time(facts, gate_at, trip)
        whole = RoadMovement(
            kind="sublet",
            start=out,
            end=trip.back_at,
            record_id=trip.id,
            what=f"the car was driven to {trip.to_org}",
        )
        found.append(whole)
        if trip.back_at is not None:
            way_back = f"the car was driven back from {trip.to_org}"
            found.append(replace(whole, start=_span_of(out, trip.back_at), what=way_back))
    return found


def _any_time(facts: JobFacts, gate_at: datetime, trip: SubletTrip) -> Moment:
    """Where the time of leaving is not recorded: any moment of the visit until the return, or until now."""
    end = max(gate_at if trip.back_at is None else trip.back_at.high, facts.opened.low)
    return Moment(low=facts.opened.low, high=end, reading=end, clock=MIXED_CLOCK)


def _entered(facts: JobFacts) -> list[RoadMovement]:
    return [
        RoadMovement(
            kind="vehicle_moved",
            start=item.at,
            end=item.at,
            record_id=item.id,
            what="the car was moved on the road",
        )
        for item in live(facts.state_changes)
        if item.kind == "vehicle_moved" and item.on_road
    ]


def _delivery(facts: JobFacts) -> list[RoadMovement]:
    delivery = facts.delivery
    if delivery is None or delivery.ended_at is not None:
        return []
    return [
        RoadMovement(
            kind="delivery",
            start=delivery.at,
            end=delivery.at,
            record_id=delivery.id,
            what="the car was delivered",
        )
    ]


# ------------------------------------------------------------------ odometer


@once
def odometer_readings(facts: JobFacts) -> tuple[Reading, ...]:
    """Live odometer readings (km), in the order of their times."""
    found = [reading for reading in live(facts.readings) if reading.quantity == "odometer"]
    return tuple(sorted(found, key=lambda item: (item.at.low, item.at.high, item.value, item.id)))


def _odometer_changes(facts: JobFacts, known: Sequence[RoadMovement]) -> list[RoadMovement]:
    logs = {log.id: log for log in live(facts.drive_logs)}
    readings = odometer_readings(facts)
    found: list[RoadMovement] = []
    for first, second in itertools.pairwise(readings):
        if to_six(second.value - first.value) == 0:
            continue
        between = [item for item in known if _between(item, first.at, second.at)]
        if not _explained(first, second, between, logs):
            found.append(
                RoadMovement(
                    kind="odometer",
                    start=_span_of(first.at, second.at),
                    end=second.at,
                    record_id=second.id,
                    what=f"the odometer went from {first.value:g} km to {second.value:g} km",
                )
            )
    return found


def _between(movement: RoadMovement, first: Moment, second: Moment) -> bool:
    """Not shown to lie before the first or after the second reading."""
    end = movement.end or movement.start
    return happened_before(first, end) != "false" and happened_before(movement.start, second) != "false"


def _explained(
    first: Reading, second: Reading, between: Sequence[RoadMovement], logs: dict[str, DriveLog]
) -> bool:
    """A movement of unknown length explains any increase; drive logs explain no more than their length."""
    if second.value < first.value:
        return False
    # A delivery is where the way home begins: it explains nothing that was read before it or at it.
    ways = [
        item for item in between if item.kind != "delivery" or shown_strictly_before(item.start, second.at)
    ]
    if any(item.kind != "drive_log" for item in ways):
        return True
    reach = math.fsum([longest_track_km(logs[item.record_id]) for item in ways])
    least = second.value - first.value - (first.resolution or 0.0)
    return bool(ways) and to_six(least) <= to_six(reach)


def longest_track_km(log: DriveLog) -> float:
    """The longest way (km) the track allows: scale error and fast driving through gaps included."""
    if not times_increase(log.fixes):
        return 0.0
    length, gap_s = track_length(log.fixes, DEFAULT_LONGEST_GAP_S)
    return length * (1 + TRACK_SCALE) + gap_s * GAP_SPEED_KPH / 3600.0


def track_length(fixes: Sequence[Fix], longest_gap_s: float) -> tuple[float, float]:
    """Length of the whole track (km), gaps bridged at mean speed, and its seconds in gaps."""
    length_km = math.fsum(lengths_m(fixes)) / 1000.0
    steps = [b.t - a.t for a, b in itertools.pairwise(fixes)]
    return length_km, math.fsum(step for step in steps if to_six(step) > longest_gap_s)


def _span_of(first: Moment, second: Moment) -> Moment:
    """An unknown moment between two readings; on one clock it keeps that clock."""
    low, high = min(first.low, second.low), max(first.high, second.high)
    apart = (second.reading - first.reading).total_seconds() + second.resolution_s
    if first.clock == second.clock and apart >= 0:
        return Moment(low=low, high=high, reading=first.reading, clock=first.clock, resolution_s=apart)
    return Moment(low=low, high=high, reading=first.reading, clock=MIXED_CLOCK)


def driven_before(
    movements: Sequence[RoadMovement], at: Moment, within: timedelta
) -> tuple[RoadMovement, ...]:
    """Movements not shown to have ended longer than ``within`` before ``at``, nor to begin after it.

    An odometer change is left out: nobody knows when it was. A driven trip that is not yet back counts.
    """
    found: list[RoadMovement] = []
    for movement in movements:
        if movement.kind == "odometer" or shown_strictly_before(at, movement.start):
            continue
        end = movement.end
        if end is not None and span(end, at).low > within:
            continue
        found.append(movement)
    return tuple(found)
