"""Whether a car can go home today: what is asked, what is answered, and times as they are told."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Final, Literal

from rules.facts import Place

Answer = Literal["window", "not_today", "cannot_tell"]
MINUTE: Final = timedelta(minutes=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """One drive that is still to be made: seconds that must count, and the lowest sun it may count under."""

    procedure_id: str
    title: str
    needed_s: float
    sun_above_deg: float | None
    citation: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """When the adhesive is ready; ``at`` None where no time can be given, with the reason in ``words``."""

    at: datetime | None
    words: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Dated:
    """One instrument in use: in date today, and tomorrow, in words."""

    tag: str
    today: bool
    tomorrow: bool
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HomeQuestion:
    """What the answer rests on; times entered by hand are None where nobody entered them.

    Attributes:
        now: the instant of asking.
        place: the shop; the sun is taken as it stands there.
        ready: adhesive readiness, None without bonded glass.
        drives: the drives still to be made.
        ratio: trip time over counted time, with ``ratio_source`` in words.
        way_s: seconds from the shop to the road, and the same back; None where not entered.
        bay_free_at, shift_until: by hand.
        work_s: seconds of work in the bay still to come before the drive, by hand.
        instruments: those in use.
        past: open proofs that cannot be repaired any more, in words.
        unknown: what nobody can tell yet and has to be known first, in sentences.
    """

    now: datetime
    place: Place
    ready: Ready | None = None
    drives: tuple[Drive, ...] = ()
    ratio: float = 1.0
    ratio_source: str = ""
    way_s: float | None = None
    bay_free_at: datetime | None = None
    shift_until: datetime | None = None
    work_s: float = 0.0
    instruments: tuple[Dated, ...] = ()
    past: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One open step: what, the instant it gives (None where it gives none), in words, and where from."""

    name: str
    at: datetime | None
    words: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HomeAnswer:
    """``window``: leave from ``earliest`` to ``latest``; otherwise ``reason`` says why not.

    ``cannot_tell``: something is missing that the answer needs.

    ``earliest`` and ``latest`` are whole minutes, rounded to the safe side. It is advice computed from what
    was recorded and entered: it certifies nothing, and no verdict rests on it.
    """

    answer: Answer
    earliest: datetime | None
    latest: datetime | None
    spare_s: float | None
    back_at: datetime | None
    sentence: str
    reason: str
    steps: tuple[Step, ...]


def clock(question: HomeQuestion, at: datetime) -> str:
    """``17:41``, with its day where that is not today."""
    local = question.place.local(at)
    return f"{local:%H:%M}" if same_day(question, at) else f"{local:%H:%M on %Y-%m-%d}"


def same_day(question: HomeQuestion, at: datetime) -> bool:
    """Is it of the local day of asking?"""
    return question.place.local_date(at) == question.place.local_date(question.now)


def end_of_day(question: HomeQuestion) -> datetime:
    """Local midnight; on a day on which the offset changes, by the offset of now."""
    local = question.place.local(question.now)
    midnight = datetime.combine(local.date() + timedelta(days=1), time())
    return question.now + (midnight - local)


def ceil_minute(at: datetime) -> datetime:
    """The next whole minute; parts of a second are the width of a clock, not a begun minute."""
    whole = (at + timedelta(milliseconds=500)).replace(microsecond=0)
    return whole if not whole.second else whole.replace(second=0) + MINUTE


def floor_minute(at: datetime) -> datetime:
    """The minute that has begun."""
    return at.replace(second=0, microsecond=0)
