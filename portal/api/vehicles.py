"""Vehicles: registered once, put right while no released job rests on them."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_vehicle_for
from jobs.services.entries import build_entry
from jobs.services.order_intake import VehicleChanges, VehicleEntry, change_vehicle, register_vehicle
from portal.etags import etag_of, matched_version
from portal.fields import (
    ChoiceField,
    DayField,
    IdField,
    JsonBody,
    NumberTextField,
    TextField,
    VinField,
    WholeNumberField,
    words_field,
)
from portal.resource import Resource


class VehicleChangesBody(JsonBody):
    """Fields that may be put right; lengths in mm and pressures in kPa, as typed. Never the VIN."""

    build_date = DayField(required=False)
    trim = TextField(max_length=60, required=False, allow_blank=True)
    plate = TextField(max_length=20, required=False, allow_blank=True)
    wheelbase_mm = NumberTextField(required=False)
    front_track_mm = NumberTextField(required=False)
    placard_front_kpa = NumberTextField(required=False)
    placard_rear_kpa = NumberTextField(required=False)
    tyre_size_placard = TextField(max_length=40, required=False, allow_blank=True)
    modifications = words_field(longest=200)


class VehicleBody(VehicleChangesBody):
    """A car as typed."""

    id = IdField()
    vin = VinField()
    make = TextField(max_length=60)
    model = TextField(max_length=60)
    model_year = WholeNumberField(min_value=1900, max_value=2200)
    market = TextField(min_length=2, max_length=2)
    check_digit_rule = ChoiceField(choices=["required", "advisory"], required=False)


class VehicleShape(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    vin = serializers.CharField()
    check_digit_rule = serializers.CharField()
    make = serializers.CharField()
    model = serializers.CharField()
    model_year = serializers.IntegerField()
    market = serializers.CharField()
    build_date = serializers.DateField(allow_null=True)
    trim = serializers.CharField()
    plate = serializers.CharField()
    wheelbase_mm = serializers.FloatField(allow_null=True)
    front_track_mm = serializers.FloatField(allow_null=True)
    placard_front_kpa = serializers.FloatField(allow_null=True)
    placard_rear_kpa = serializers.FloatField(allow_null=True)
    tyre_size_placard = serializers.CharField()
    modifications = serializers.ListField(child=serializers.CharField())
    version = serializers.IntegerField()


def _shaped(vehicle: Any, *, status: int = 200) -> Response:
    headers = {"ETag": etag_of(vehicle.version)}
    return Response(VehicleShape(vehicle).data, status=status, headers=headers)


class Vehicles(Resource):
    """Register a vehicle before its first order."""

    @extend_schema(request=VehicleBody, responses={201: VehicleShape})
    def post(self, request: Request) -> Response:
        entry = build_entry(VehicleEntry, self.parse(VehicleBody))
        return _shaped(register_vehicle(actor=self.actor, as_of=self.as_of, entry=entry), status=201)


class OneVehicle(Resource):
    """One vehicle; a change needs the ETag of what was read."""

    needs_if_match = frozenset({"PATCH"})

    @extend_schema(responses=VehicleShape)
    def get(self, request: Request, vehicle_id: UUID) -> Response:
        return _shaped(get_vehicle_for(self.actor, vehicle_id))

    @extend_schema(request=VehicleChangesBody, responses=VehicleShape)
    def patch(self, request: Request, vehicle_id: UUID) -> Response:
        vehicle = get_vehicle_for(self.actor, vehicle_id)
        version = matched_version(request, vehicle.version)
        changes = build_entry(VehicleChanges, self.parse(VehicleChangesBody))
        changed = change_vehicle(
            vehicle=vehicle, actor=self.actor, as_of=self.as_of, version=version, changes=changes
        )
        return _shaped(changed)
