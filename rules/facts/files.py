"""Evidence files and photos."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from rules.facts.measured import Reuse
from rules.facts.moments import Moment, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class SlipSeen:
    """A one-time slip code read from the picture: issued for ``job_id`` at ``issued_at`` (server time)."""

    job_id: str
    issued_at: datetime
    authentic: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceItem(Record):
    """One evidence file; ``captured`` brackets its capture, ``captured_how`` says where that comes from."""

    number: int
    kind: str
    stage: str
    media_type: str
    size_bytes: int
    by: str
    captured: Moment
    captured_how: str
    file_name: str = ""
    session: str | None = None
    shows: tuple[str, ...] = ()
    instrument: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo(EvidenceItem):
    width: int
    height: int
    laplacian_variance: float | None
    clipped_share: float | None
    readable: Literal["yes", "no", "not_judged"] = "not_judged"
    lat: float | None = None
    lon: float | None = None
    accuracy_m: float | None = None
    has_exif_time: bool = False
    slip: SlipSeen | None = None
    reuse: tuple[Reuse, ...] = ()
