"""When and where: events as intervals of true time, clocks, places with their own zone history, records."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Self


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """An event's true time, known as the closed interval [low, high]; ``reading`` is what ``clock`` showed.

    ``clock`` is ``server``, ``satellite`` or ``device:<id>``. Two moments on one clock share its unknown
    offset, so their order may be shown by their readings although their absolute times are not.
    ``resolution_s``: the reading stands for [reading, reading + resolution_s).
    """

    low: datetime
    high: datetime
    reading: datetime
    clock: str
    resolution_s: float = 0.0

    @classmethod
    def exact(cls, at: datetime, clock: str = "server") -> Self:
        return cls(low=at, high=at, reading=at, clock=clock)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogClock:
    """A log's clock: device minus true lies in [offset_low_s, offset_high_s], so true = reading - offset."""

    clock: str
    offset_low_s: float
    offset_high_s: float

    def moment(self, t: float) -> Moment:
        """The moment at which this clock showed ``t`` (POSIX seconds)."""
        reading = datetime.fromtimestamp(t, tz=UTC)
        return Moment(
            low=reading - timedelta(seconds=self.offset_high_s),
            high=reading - timedelta(seconds=self.offset_low_s),
            reading=reading,
            clock=self.clock,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """What every recorded row has.

    Attributes:
        id: the row's id.
        sha256: hash of the row's content (or of the file's bytes), as signatures cover it.
        received_at: when the server held it (UTC); only what was held at the gate instant counts.
        evidence: ids of evidence files it was taken from or is shown by.
        ended_at: when it stopped counting, if it did.
        ended_how: ``set_aside``, ``corrected`` or ``withdrawn``.
    """

    id: str
    sha256: str
    received_at: datetime
    evidence: tuple[str, ...] = ()
    ended_at: datetime | None = None
    ended_how: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OffsetFrom:
    """From instant ``at`` on, local time is UTC + ``minutes``."""

    at: datetime
    minutes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A location; ``offsets`` is the zone history the job can need: no zone database is asked here."""

    code: str
    name: str
    tz: str
    lat: float
    lon: float
    photo_radius_m: float
    offsets: tuple[OffsetFrom, ...]

    def offset_minutes(self, at: datetime) -> int:
        """Minutes east of UTC at ``at``; before the first entry the first one is used."""
        chosen = self.offsets[0].minutes
        for entry in self.offsets:
            if entry.at > at:
                break
            chosen = entry.minutes
        return chosen

    def local(self, at: datetime) -> datetime:
        """Local wall time as a naive datetime."""
        return (at + timedelta(minutes=self.offset_minutes(at))).astimezone(UTC).replace(tzinfo=None)

    def local_date(self, at: datetime) -> date:
        shifted = at + timedelta(minutes=self.offset_minutes(at))
        return (shifted if at.tzinfo is UTC else shifted.astimezone(UTC)).date()
