"""Instruments: which there are and when each falls due."""

from datetime import timedelta
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.selectors.api_equipment import list_due, list_equipment
from portal.errors import RequestProblem
from portal.resource import Resource

LONGEST_LOOK_AHEAD_DAYS = 3660


class EquipmentShape(serializers.Serializer[Any]):
    """An instrument; ``due_on`` is computed from its certificates and our interval, not from its label."""

    id = serializers.UUIDField()
    tag = serializers.CharField()
    cls = serializers.CharField()
    maker = serializers.CharField()
    model = serializers.CharField()
    serial = serializers.CharField()
    home_location = serializers.CharField(source="home_location.code", allow_null=True, default=None)
    state = serializers.CharField()
    needs_certificate = serializers.BooleanField()
    interval_months = serializers.IntegerField(allow_null=True)
    in_service_from = serializers.DateField()
    due_on = serializers.DateField(allow_null=True)


class EquipmentList(Resource):
    """Instruments and tools of the caller's locations, by tag."""

    ordering = ("tag", "id")
    parameters = frozenset({"cls"})

    @extend_schema(
        parameters=[OpenApiParameter("cls", OpenApiTypes.STR)], responses=EquipmentShape(many=True)
    )
    def get(self, request: Request) -> Response:
        rows = list_equipment(self.actor, cls=request.query_params.get("cls"))
        return self.page(rows, EquipmentShape)


class EquipmentDue(Resource):
    """Instruments due within ``days`` from today, and those overdue."""

    ordering = ("due_on", "id")
    parameters = frozenset({"days"})

    @extend_schema(
        parameters=[OpenApiParameter("days", OpenApiTypes.INT, description="0 to 3660; 30 if left out.")],
        responses=EquipmentShape(many=True),
    )
    def get(self, request: Request) -> Response:
        days = _days(request.query_params.get("days", "30"))
        until = self.as_of.date() + timedelta(days=days)
        return self.page(list_due(self.actor, until=until), EquipmentShape)


def _days(text: str) -> int:
    is_number = text.isascii() and text.isdigit() and len(text) <= 4
    if not is_number or int(text) > LONGEST_LOOK_AHEAD_DAYS:
        raise RequestProblem("bad_parameter", "days is a whole number from 0 to 3660.", parameter="days")
    return int(text)
