"""Sessions: one attempt at one procedure, its parts and what the key did meanwhile."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.places import Bay, Location
from jobs.models.record import JobRecord, MomentField
from jobs.models.tenancy import TenantModel


class Session(JobRecord):
    """One attempt. The end is written once, over empty fields; ``end_received_at``: when the server held it.

    ``started`` and ``ended`` are the session's own times (``ended_at`` is when the record stopped counting).
    ``tool`` is the scan device; ``results`` maps a place to its result where a procedure asks each.
    """

    procedure_id = models.CharField(max_length=80)
    attempt = models.PositiveSmallIntegerField(default=1)
    location = models.ForeignKey(Location, on_delete=models.PROTECT, related_name="+")
    bay = models.ForeignKey(Bay, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    performed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    observer = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    performer_org = models.CharField(max_length=120, blank=True, default="")
    tool = models.ForeignKey(
        "jobs.Equipment", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    device_software = models.CharField(max_length=80, blank=True, default="")
    started = MomentField()
    ended = MomentField(null=True, blank=True)
    end_received_at = models.DateTimeField(null=True, blank=True)
    result = models.CharField(max_length=10, blank=True, default="")
    result_text = models.TextField(blank=True, default="")
    results = models.JSONField(default=dict, blank=True)
    reuses_part_of = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    version = models.PositiveIntegerField(default=1)

    class Meta(JobRecord.Meta):
        constraints: ClassVar = [
            *JobRecord.Meta.constraints,
            models.UniqueConstraint(
                fields=("organisation", "job", "procedure_id", "attempt"), name="session_attempt_once"
            ),
            models.CheckConstraint(
                condition=models.Q(result__in=("", "completed", "failed", "abandoned")), name="session_result"
            ),
        ]


class SessionPart(TenantModel):
    """One part (still, road) of a two-part session, with its own times and result."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    session = models.ForeignKey(Session, on_delete=models.PROTECT, related_name="parts")
    part = models.CharField(max_length=5)
    started = MomentField()
    ended = MomentField(null=True, blank=True)
    result = models.CharField(max_length=10, blank=True, default="")
    received_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "session", "part"), name="session_part_once"),
            models.CheckConstraint(condition=models.Q(part__in=("still", "road")), name="session_part_name"),
        ]


class KeyEvent(TenantModel):
    """The ignition key went on, off or to crank while a session ran."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    session = models.ForeignKey(Session, on_delete=models.PROTECT, related_name="key_events")
    at = MomentField()
    state = models.CharField(max_length=5)
    received_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(state__in=("on", "off", "crank")), name="key_event_state"
            )
        ]
