"""All that was known of the devices' clocks at one instant, applied to the moments of one job."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Self
from uuid import UUID
from zoneinfo import ZoneInfo

from jobs.facts.clocks import (
    LocalReading,
    Offset,
    SeenOffset,
    log_clock_at,
    moment_from,
    offset_at,
    read_local,
)
from jobs.models import ClockObservation, RecordedMoment
from rules.facts import LogClock, Moment

DEVICE_MARK = "device:"


def device_id_of(clock: str) -> UUID | None:
    """The id of the device whose clock this is; None for the server, satellites and unnamed clocks."""
    try:
        return UUID(clock.removeprefix(DEVICE_MARK)) if clock.startswith(DEVICE_MARK) else None
    except ValueError:
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockBook:
    """Observed offsets by clock name.

    Moments are worked out anew from their readings: an observation made after the receipt of a record (a
    photo of the scan device's display in the evening) says as much about it as one made before.
    """

    seen: Mapping[str, tuple[SeenOffset, ...]]
    zone: ZoneInfo

    @classmethod
    def read(cls, device_ids: Iterable[UUID], *, zone: ZoneInfo, as_of: datetime) -> Self:
        """Observations of these devices that the server held at ``as_of``; one query."""
        seen: dict[str, list[SeenOffset]] = defaultdict(list)
        rows = ClockObservation.objects.filter(device__in=set(device_ids), received_at__lte=as_of)
        for row in rows.order_by("device_reads", "id"):
            seen[f"{DEVICE_MARK}{row.device_id}"].append(
                SeenOffset(
                    reads=row.device_reads,
                    low_s=row.offset_low_s,
                    high_s=row.offset_high_s,
                    received_at=row.received_at,
                )
            )
        return cls(seen={clock: tuple(rows_) for clock, rows_ in seen.items()}, zone=zone)

    def moment(self, stored: RecordedMoment, received_at: datetime) -> Moment:
        """A stored moment as it is known now."""
        if not stored.clock.startswith(DEVICE_MARK):
            return stored.moment()
        return self.shown(
            LocalReading(reading=stored.reading, resolution_s=stored.resolution_s),
            clock=stored.clock,
            received_at=received_at,
        )

    def optional(self, stored: RecordedMoment | None, received_at: datetime) -> Moment | None:
        return None if stored is None else self.moment(stored, received_at)

    def shown(self, reading: LocalReading, *, clock: str, received_at: datetime) -> Moment:
        """The moment at which ``clock`` showed this reading."""
        offset = offset_at(self.seen.get(clock, ()), reading.reading, received_at)
        return moment_from(
            reading=reading.reading,
            clock=_period(clock, offset, reading.reading),
            offset=offset,
            received_at=received_at,
            resolution_s=reading.resolution_s,
        )

    def displayed(self, text: str, *, clock: str, received_at: datetime) -> Moment:
        """A display's text, checked at receipt: RFC 3339, or local to the minute or second."""
        wall = datetime.fromisoformat(text)
        if wall.tzinfo is not None:
            reading = LocalReading(reading=wall.astimezone(UTC), resolution_s=0.0)
        else:
            step_s = 60.0 if len(text) == len("2026-05-05T14:05") else 1.0
            reading = read_local(wall, self.zone, resolution_s=step_s)
        return self.shown(reading, clock=clock, received_at=received_at)

    def log(self, clock: str, first_t: float, received_at: datetime) -> LogClock:
        """The clock of a log whose first sample it stamped ``first_t`` (POSIX seconds)."""
        reading = datetime.fromtimestamp(first_t, tz=UTC)
        offset = offset_at(self.seen.get(clock, ()), reading, received_at)
        name = _period(clock, offset, reading)
        return log_clock_at(name, offset, first=reading, received_at=received_at)


def _period(clock: str, offset: Offset, reading: datetime) -> str:
    """The clock's name, by period where it was seen to be set.

    A reading that may lie before or after a setting stands on a clock of its own.
    """
    if offset.was_set:
        return f"{clock}@{reading.isoformat()}"
    return f"{clock}@period {offset.period}" if offset.period else clock
