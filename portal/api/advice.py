"""Advice on a job: moving a stand, what to measure next, whether the car can go home today."""

from typing import Any
from uuid import UUID

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_job_for
from jobs.services.advice import advice_of
from portal.errors import RequestProblem
from portal.home_entries import NAMES, BadEntryError, entered
from portal.resource import Resource
from rules.canonical import to_plain
from rules.explain import readable

FLOAT, DATETIME = OpenApiTypes.FLOAT, OpenApiTypes.DATETIME


class MoveShape(serializers.Serializer[Any]):
    """How to move the stand so that the bar stands on its line, in mm and degrees."""

    towards_car_mm = serializers.FloatField()
    to_right_mm = serializers.FloatField()
    turn_anticlockwise_deg = serializers.FloatField()
    raise_mm = serializers.FloatField(allow_null=True)
    words = serializers.CharField()


class ZoneShape(serializers.Serializer[Any]):
    """One quantity under an option: its expected uncertainty and accept zone, and today's value."""

    quantity = serializers.ChoiceField(choices=["distance", "sideways", "yaw"])
    unit = serializers.CharField()
    u = serializers.FloatField()
    accept_lower = serializers.FloatField(allow_null=True)
    accept_upper = serializers.FloatField(allow_null=True)
    value = serializers.FloatField()
    inside = serializers.BooleanField()


class OptionShape(serializers.Serializer[Any]):
    """One further measurement, the minutes it takes, and whether it would probably settle the target."""

    name = serializers.CharField()
    minutes = serializers.IntegerField()
    zones = ZoneShape(many=True)
    settles = serializers.BooleanField()
    words = serializers.CharField()


class TargetShape(serializers.Serializer[Any]):
    """What to do about one target whose position is not met; ``open_quantities`` are those not met."""

    procedure_id = serializers.CharField()
    proof_id = serializers.CharField()
    move = MoveShape()
    options = OptionShape(many=True)
    open_quantities = serializers.ListField(child=serializers.CharField())
    sentence = serializers.CharField()


class StepShape(serializers.Serializer[Any]):
    """One step that the answer weighs: the instant it gives, in words, and where that comes from."""

    name = serializers.CharField()
    at = serializers.DateTimeField(allow_null=True)
    words = serializers.CharField()
    # The framework takes declared fields off the class: the name clashes for the type checker only.
    source = serializers.CharField()  # type: ignore[assignment]


class HomeShape(serializers.Serializer[Any]):
    """``window``: leave from ``earliest`` to ``latest``; ``not_today`` and ``cannot_tell`` give a reason."""

    answer = serializers.ChoiceField(choices=["window", "not_today", "cannot_tell"])
    earliest = serializers.DateTimeField(allow_null=True)
    latest = serializers.DateTimeField(allow_null=True)
    spare_s = serializers.FloatField(allow_null=True)
    back_at = serializers.DateTimeField(allow_null=True)
    sentence = serializers.CharField()
    reason = serializers.CharField()
    steps = StepShape(many=True)


class AdviceShape(serializers.Serializer[Any]):
    """Advice from the last judgement and what was entered. No verdict rests on it, and it certifies nothing.

    Follow the adhesive maker's data sheet, obey traffic law; the vehicle maker's service information
    prevails.
    """

    asked_at = serializers.DateTimeField()
    gate_at = serializers.DateTimeField()
    targets = TargetShape(many=True)
    home = HomeShape()


class Advice(Resource):
    """Advice on the job as it stands now; what is not entered is taken as the description of each says."""

    parameters = NAMES

    @extend_schema(
        parameters=[
            OpenApiParameter(
                "way_minutes", OpenApiTypes.FLOAT, description="To the road, one way; 0 to 240."
            ),
            OpenApiParameter("work_minutes", OpenApiTypes.FLOAT, description="Before the drive; 0 to 1440."),
            OpenApiParameter("bay_free_at", OpenApiTypes.DATETIME, description="Now if left out."),
            OpenApiParameter("shift_until", OpenApiTypes.DATETIME, description="No end if left out."),
            OpenApiParameter(
                "forecast_temp_c", OpenApiTypes.FLOAT, description="Coldest to come; -60 to 60."
            ),
            OpenApiParameter(
                "forecast_rh_percent", OpenApiTypes.FLOAT, description="Driest to come; 0 to 100."
            ),
        ],
        responses=AdviceShape,
    )
    def get(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        try:
            given = entered(request.query_params, now=self.as_of)
        except BadEntryError as error:
            raise RequestProblem("bad_parameter", str(error), parameter=error.name) from error
        shaped: dict[str, Any] = to_plain(advice_of(job=job, as_of=self.as_of, entered=given))
        home = shaped["home"]
        home["sentence"], home["reason"] = readable(home["sentence"]), readable(home["reason"])
        return Response(shaped)
