"""Capture devices (tablets, phones, scan devices' clocks) and what is known of their clocks."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.places import Location
from jobs.models.tenancy import TenantModel


class Device(TenantModel):
    """A capture device. ``equipment`` names the instrument that carries this clock, where it is one."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    location = models.ForeignKey(
        Location, on_delete=models.PROTECT, null=True, blank=True, related_name="devices"
    )
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=30, default="tablet")
    equipment = models.ForeignKey(
        "jobs.Equipment", on_delete=models.PROTECT, null=True, blank=True, related_name="clocks"
    )
    enrolled_at = models.DateTimeField()
    enrolled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    revoked_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name


class ClockObservation(TenantModel):
    """Device minus true time lay in [offset_low_s, offset_high_s] (s) when it showed ``device_reads``.

    ``how``: network_exchange, photo_of_screen or satellite_time.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    device = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="clock_observations")
    device_reads = models.DateTimeField()
    true_low = models.DateTimeField()
    true_high = models.DateTimeField()
    offset_low_s = models.FloatField()
    offset_high_s = models.FloatField()
    how = models.CharField(max_length=20)
    evidence = models.ForeignKey(
        "jobs.Evidence", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    exchange = models.JSONField(default=dict, blank=True)
    received_at = models.DateTimeField()
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(true_low__lte=models.F("true_high"))
                & models.Q(offset_low_s__lte=models.F("offset_high_s")),
                name="clock_observation_is_interval",
            )
        ]
        indexes: ClassVar = [models.Index(fields=("device", "received_at"), name="clock_by_device")]
