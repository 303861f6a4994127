"""Times as typed, turned into recorded moments by what is known of the clock that showed them."""

import uuid
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from jobs.facts.clocks import (
    LocalReading,
    SeenOffset,
    is_local_time,
    moment_from,
    offset_at,
    read_local,
    read_set_time,
)
from jobs.models import ClockObservation, Device, RecordedMoment
from jobs.services import values
from jobs.services.values import refused
from rules.facts import Moment

# A well-set clock may run ahead of ours by the length of one exchange; beyond it a claim lies in the future.
FUTURE_SLACK: Final = timedelta(seconds=2)


def clock_name(device: Device | None) -> str:
    """A clock of its own for every reading that names no device: two such readings share nothing."""
    return f"device:{device.pk}" if device is not None else f"device:unnamed-{uuid.uuid4()}"


def seen_offsets(device: Device | None) -> list[SeenOffset]:
    if device is None:
        return []
    return [
        SeenOffset(
            reads=row.device_reads,
            low_s=row.offset_low_s,
            high_s=row.offset_high_s,
            received_at=row.received_at,
        )
        for row in ClockObservation.objects.filter(device=device)
    ]


def read_moment(text: str, *, field: str, device: Device | None, as_of: datetime) -> RecordedMoment:
    """An RFC 3339 instant shown by ``device``'s clock.

    Raises:
        Refused: ``bad_instant``; ``instant_in_future`` where even the earliest true time lies after receipt.
    """
    reading = LocalReading(reading=values.read_instant(text, field), resolution_s=0.0)
    return recorded(reading, text=text, field=field, device=device, as_of=as_of)


def read_optional(text: str, *, field: str, device: Device | None, as_of: datetime) -> RecordedMoment | None:
    return read_moment(text, field=field, device=device, as_of=as_of) if text else None


def read_or_now(text: str, *, field: str, device: Device | None, as_of: datetime) -> RecordedMoment:
    """For acts done at the portal itself: no text means the server's own moment."""
    if not text:
        return RecordedMoment.exact(as_of)
    return read_moment(text, field=field, device=device, as_of=as_of)


def read_set_at(
    text: str, *, recorded_at: datetime, zone: ZoneInfo, device: Device | None, as_of: datetime
) -> RecordedMoment:
    """When glass was set: RFC 3339, or ``hh:mm`` local meaning "not later than", before ``recorded_at``."""
    if is_local_time(text):
        reading = read_set_time(text, recorded=recorded_at, zone=zone)
    else:
        reading = LocalReading(reading=values.read_instant(text, "set_at"), resolution_s=0.0)
    return recorded(reading, text=text, field="set_at", device=device, as_of=as_of)


def read_clock_text(
    text: str, *, field: str, zone: ZoneInfo, device: Device | None, as_of: datetime
) -> RecordedMoment:
    """What a device's display showed: RFC 3339, or local ``2026-05-05T14:05`` with or without seconds.

    A display cuts off: hh:mm stands for the whole minute, hh:mm:ss for the whole second.
    """
    try:
        wall = datetime.fromisoformat(text)
    except ValueError as error:
        raise refused("bad_clock_text", field, f"{field} must look like 2026-05-05T14:05.") from error
    if wall.tzinfo is not None:
        return read_moment(text, field=field, device=device, as_of=as_of)
    step_s = 60.0 if len(text) == len("2026-05-05T14:05") else 1.0
    reading = read_local(wall, zone, resolution_s=step_s)
    return recorded(reading, text=text, field=field, device=device, as_of=as_of)


def recorded(
    reading: LocalReading, *, text: str, field: str, device: Device | None, as_of: datetime
) -> RecordedMoment:
    """The moment of a reading by ``device``'s clock as far as it is known at ``as_of``."""
    offset = offset_at(seen_offsets(device), reading.reading, as_of)
    if reading.reading - timedelta(seconds=offset.high_s) > as_of + FUTURE_SLACK:
        raise refused("instant_in_future", field, f"{field} lies in the future.")
    clock = clock_name(device)
    moment = moment_from(
        reading=reading.reading,
        clock=clock,
        offset=offset,
        received_at=as_of,
        resolution_s=reading.resolution_s,
    )
    return _kept(text, moment, clock)


def _kept(text: str, moment: Moment, clock: str) -> RecordedMoment:
    """As stored: under the device's own name, since what is known of its clock may change."""
    return RecordedMoment(
        text=text,
        reading=moment.reading,
        clock=clock,
        low=moment.low,
        high=moment.high,
        resolution_s=moment.resolution_s,
    )
