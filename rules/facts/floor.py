"""Surveys of the floors of bays."""

from dataclasses import dataclass
from datetime import datetime

from rules.facts.moments import Moment, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorSurvey(Record):
    """Heights of one bay's floor.

    Attributes:
        bay: code of the bay.
        points: (x, y, z) in mm; x along the bay, y to the left, z up from any level.
        u_z: standard uncertainty of one height, mm; None where it is not known.
        valid_months: how long it may be used, by the organisation's own rule.
        voided_at: from when on the floor is no longer as surveyed; None while it is.
        void_held_at: when the server learned of that.
    """

    bay: str
    surveyed: Moment
    points: tuple[tuple[float, float, float], ...]
    u_z: float | None
    instrument: str | None
    valid_months: int
    voided_at: datetime | None = None
    void_held_at: datetime | None = None
    void_reason: str = ""
