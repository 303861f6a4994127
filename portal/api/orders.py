"""Repair orders: opening one opens its job."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.selectors.api_jobs import list_orders
from jobs.services.entries import build_entry
from jobs.services.order_intake import OrderEntry, open_order
from portal.api.jobs import JobShape
from portal.api.shapes import MomentShape, OdometerShape
from portal.fields import ChoiceField, IdField, InstantField, JsonBody, NumberTextField, TextField
from portal.resource import Resource


class OdometerBody(JsonBody):
    """A shown mileage as typed."""

    value = NumberTextField()
    unit = ChoiceField(choices=["km", "mi"])
    resolution = NumberTextField(required=False)


class OrderBody(JsonBody):
    """One visit; ``location`` is its code, ``vehicle`` the id of a registered one."""

    id = IdField()
    job_id = IdField()
    number = TextField(max_length=40)
    location = TextField(max_length=4)
    vehicle = IdField()
    opened_at = InstantField()
    customer_name = TextField(max_length=120)
    customer_contact = TextField(max_length=200, required=False, allow_blank=True)
    payer = TextField(max_length=120, required=False, allow_blank=True)
    claim_number = TextField(max_length=60, required=False, allow_blank=True)
    odometer_in = OdometerBody()
    device = IdField(required=False)


class OrderShape(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    job = serializers.UUIDField(source="job.id")
    number = serializers.CharField()
    location = serializers.CharField(source="location.code")
    vehicle = serializers.UUIDField(source="vehicle_id")
    customer_name = serializers.CharField()
    customer_contact = serializers.CharField()
    payer = serializers.CharField()
    claim_number = serializers.CharField()
    opened = MomentShape()
    odometer_in = OdometerShape()
    received_at = serializers.DateTimeField()


class Orders(Resource):
    """Orders of the caller's locations, newest first; opening one answers with its job."""

    ordering = ("-received_at", "-id")

    @extend_schema(responses=OrderShape(many=True))
    def get(self, request: Request) -> Response:
        return self.page(list_orders(self.actor), OrderShape)

    @extend_schema(request=OrderBody, responses={201: JobShape})
    def post(self, request: Request) -> Response:
        entry = build_entry(OrderEntry, self.parse(OrderBody))
        job = open_order(actor=self.actor, as_of=self.as_of, entry=entry)
        headers = {"Location": f"/api/v1/jobs/{job.pk}"}
        return Response(JobShape(job).data, status=201, headers=headers)
