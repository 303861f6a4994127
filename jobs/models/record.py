"""What every recorded row has: client-made id, receipt, content hash, correction, ending, and moments."""

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.backends.base.base import BaseDatabaseWrapper

from jobs.models.tenancy import TenantModel
from rules.facts import Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedMoment:
    """An event's time as it is stored: what was received, whose clock it is, and where true time lies.

    Attributes:
        text: exactly as received (RFC 3339 with offset, or ``hh:mm`` local).
        reading: the instant (UTC) that ``clock`` showed.
        clock: ``server``, ``satellite`` or ``device:<id>``.
        low, high: true time lies in [low, high] by what the server knew of the clock at receipt.
        resolution_s: the reading stands for [reading, reading + resolution_s).
    """

    text: str
    reading: datetime
    clock: str
    low: datetime
    high: datetime
    resolution_s: float = 0.0

    @classmethod
    def exact(cls, at: datetime) -> Self:
        """A moment by the server's own clock."""
        return cls(text=at.isoformat(), reading=at, clock="server", low=at, high=at)

    def moment(self) -> Moment:
        """The same as the judgement takes it."""
        return Moment(
            low=self.low,
            high=self.high,
            reading=self.reading,
            clock=self.clock,
            resolution_s=self.resolution_s,
        )

    def as_json(self) -> dict[str, str | float]:
        return {
            "text": self.text,
            "reading": self.reading.isoformat(),
            "clock": self.clock,
            "low": self.low.isoformat(),
            "high": self.high.isoformat(),
            "resolution_s": self.resolution_s,
        }

    @classmethod
    def from_json(cls, stored: dict[str, Any]) -> Self:
        return cls(
            text=stored["text"],
            reading=datetime.fromisoformat(stored["reading"]),
            clock=stored["clock"],
            low=datetime.fromisoformat(stored["low"]),
            high=datetime.fromisoformat(stored["high"]),
            resolution_s=stored["resolution_s"],
        )


class MomentField(models.JSONField):
    """A RecordedMoment in one JSON column. Migrations see a plain JSONField and import nothing of ours."""

    _pyi_private_set_type: RecordedMoment
    _pyi_private_get_type: RecordedMoment

    def deconstruct(self) -> Any:
        name, _, args, kwargs = super().deconstruct()
        return name, "django.db.models.JSONField", args, kwargs

    def from_db_value(self, value: Any, expression: Any, connection: BaseDatabaseWrapper) -> Any:
        stored = super().from_db_value(value, expression, connection)
        return RecordedMoment.from_json(stored) if isinstance(stored, dict) else stored

    def get_db_prep_value(self, value: Any, connection: BaseDatabaseWrapper, prepared: bool = False) -> Any:
        plain = value.as_json() if isinstance(value, RecordedMoment) else value
        return super().get_db_prep_value(plain, connection, prepared)

    def validate(self, value: Any, model_instance: models.Model | None) -> None:
        super().validate(value.as_json() if isinstance(value, RecordedMoment) else value, model_instance)


class Record(TenantModel):
    """A row that a verdict may rest on: never updated, only ended (once) and corrected by a newer row.

    ``evidence`` lists the ids of the evidence files it was taken from; being a column of the row itself it
    is as unchangeable as the row. ``created_by`` entered it; who did the work is the model's own field.
    """

    ENDINGS: ClassVar = ("set_aside", "corrected", "withdrawn")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    received_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    content_sha256 = models.CharField(max_length=64)
    evidence = models.JSONField(default=list, blank=True)
    corrects = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    correction_reason = models.TextField(blank=True, default="")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_how = models.CharField(max_length=10, blank=True, default="")
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    ended_reason = models.TextField(blank=True, default="")

    class Meta:
        abstract = True
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(ended_at__isnull=True, ended_how="", ended_by__isnull=True)
                | models.Q(
                    ended_at__isnull=False,
                    ended_by__isnull=False,
                    ended_how__in=("set_aside", "corrected", "withdrawn"),
                ),
                name="%(class)s_ending_is_whole",
            ),
            models.CheckConstraint(
                condition=models.Q(corrects__isnull=True) | ~models.Q(correction_reason=""),
                name="%(class)s_correction_has_reason",
            ),
        ]


class JobRecord(Record):
    """A record of one job. ``device`` is the capture device whose clock its moments were read from."""

    job = models.ForeignKey("jobs.Job", on_delete=models.PROTECT, related_name="%(class)ss")
    device = models.ForeignKey(
        "jobs.Device", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta(Record.Meta):
        abstract = True


class TimedJobRecord(JobRecord):
    """A record of one job that happened at one moment."""

    at = MomentField()

    class Meta(JobRecord.Meta):
        abstract = True
