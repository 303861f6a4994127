"""Vehicles, the ways their identity was read, and which sensors were found fitted."""

import uuid
from typing import Any, ClassVar

from django.conf import settings
from django.db import models

from jobs.models.record import TimedJobRecord
from jobs.models.tenancy import TenantModel


class Vehicle(TenantModel):
    """A car as typed at intake; ``vin_reversed`` lets the last eight characters be searched by an index."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    vin = models.CharField(max_length=17)
    vin_reversed = models.CharField(max_length=17, editable=False)
    check_digit_rule = models.CharField(max_length=8, default="required")
    make = models.CharField(max_length=60)
    model = models.CharField(max_length=60)
    model_year = models.PositiveSmallIntegerField()
    build_date = models.DateField(null=True, blank=True)
    market = models.CharField(max_length=2)
    trim = models.CharField(max_length=60, blank=True, default="")
    plate = models.CharField(max_length=20, blank=True, default="")
    wheelbase_mm = models.FloatField(null=True, blank=True)
    front_track_mm = models.FloatField(null=True, blank=True)
    placard_front_kpa = models.FloatField(null=True, blank=True)
    placard_rear_kpa = models.FloatField(null=True, blank=True)
    tyre_size_placard = models.CharField(max_length=40, blank=True, default="")
    modifications = models.JSONField(default=list, blank=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(check_digit_rule__in=("required", "advisory")),
                name="vehicle_check_digit_rule",
            )
        ]
        indexes: ClassVar = [
            models.Index(fields=("organisation", "vin"), name="vehicle_vin"),
            models.Index(fields=("organisation", "vin_reversed"), name="vehicle_vin_tail"),
        ]

    def __str__(self) -> str:
        return self.vin

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.vin_reversed = self.vin[::-1]
        super().save(*args, **kwargs)


class IdentityReading(TimedJobRecord):
    """``way``: typed, vin_plate_photo, vin_label_photo or scan; ``vin_read`` exactly as read."""

    way = models.CharField(max_length=20)
    module = models.CharField(max_length=80, blank=True, default="")
    vin_read = models.CharField(max_length=40)
    read_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")


class FittedWay(TimedJobRecord):
    """One way (build_data, sight, scan_module, owner_statement) in which a sensor was found fitted or not."""

    sensor = models.CharField(max_length=40)
    state = models.CharField(max_length=8)
    way = models.CharField(max_length=20)
    found_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta(TimedJobRecord.Meta):
        constraints: ClassVar = [
            *TimedJobRecord.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(state__in=("yes", "no", "unknown")), name="fitted_way_state"
            ),
        ]
