"""Locations, bays and the surveys of their floors."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.record import MomentField, Record
from jobs.models.tenancy import TenantModel


class Location(TenantModel):
    """One shop. ``tz`` is an IANA name; ``photo_radius_m`` is a project default, no source."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    code = models.CharField(max_length=4)
    name = models.CharField(max_length=120)
    address = models.TextField(blank=True, default="")
    lat = models.FloatField()
    lon = models.FloatField()
    tz = models.CharField(max_length=64)
    photo_radius_m = models.PositiveIntegerField(default=250)
    active_from = models.DateField()
    active_to = models.DateField(null=True, blank=True)
    licence_numbers = models.JSONField(default=list, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "code"), name="location_code_once"),
            models.CheckConstraint(
                condition=models.Q(lat__gte=-90, lat__lte=90, lon__gte=-180, lon__lte=180),
                name="location_on_earth",
            ),
            models.CheckConstraint(
                condition=models.Q(photo_radius_m__gte=50, photo_radius_m__lte=2000),
                name="location_photo_radius",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Bay(TenantModel):
    """A bay; ``use`` lists static_camera, radar, surround, glass, alignment."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    location = models.ForeignKey(Location, on_delete=models.PROTECT, related_name="bays")
    code = models.CharField(max_length=20)
    length_mm = models.PositiveIntegerField()
    width_mm = models.PositiveIntegerField()
    height_mm = models.PositiveIntegerField()
    use = models.JSONField(default=list, blank=True)
    axis_bearing_deg = models.FloatField(null=True, blank=True)
    light_sources = models.TextField(blank=True, default="")
    wall_notes = models.TextField(blank=True, default="")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "code"), name="bay_code_once"),
            models.CheckConstraint(
                condition=models.Q(length_mm__gt=0, width_mm__gt=0, height_mm__gt=0), name="bay_has_size"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class BayFloorSurvey(Record):
    """Heights of a bay's floor: ``points`` is a list of [x_mm, y_mm, z_mm]; ``computed`` what was derived.

    ``u_z_mm`` is 0 where no method budget was known: then nothing can be shown with it. ``voided_at``: from
    when on the floor is no longer as surveyed; ``void_recorded_at``: when the server learned of that.
    """

    bay = models.ForeignKey(Bay, on_delete=models.PROTECT, related_name="floor_surveys")
    surveyed = MomentField()
    surveyed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    instrument = models.ForeignKey("jobs.Equipment", on_delete=models.PROTECT, related_name="+")
    points = models.JSONField()
    u_z_mm = models.FloatField()
    grid_note = models.TextField(blank=True, default="")
    file = models.ForeignKey(
        "jobs.Evidence", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    computed = models.JSONField(default=dict, blank=True)
    valid_months = models.PositiveSmallIntegerField(default=12)
    voided_at = models.DateTimeField(null=True, blank=True)
    void_reason = models.TextField(blank=True, default="")
    void_recorded_at = models.DateTimeField(null=True, blank=True)
