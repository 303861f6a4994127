"""Bays: surveys of their floors."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_bay_for, get_survey_for
from jobs.selectors.floor_surveys import list_surveys
from jobs.services.entries import build_entry
from jobs.services.floor_survey import MOST_POINTS, SurveyEntry, VoidEntry, record_survey, void_survey
from portal.api.shapes import MomentShape, Receipt, created
from portal.fields import (
    IdField,
    InstantField,
    JsonBody,
    ManyField,
    NumberTextField,
    TextField,
    WholeNumberField,
)
from portal.resource import Resource


class SurveyPoint(JsonBody):
    """One point: x along the bay, y to the left, z up from any level; text, so that digits stay as typed."""

    x = NumberTextField()
    y = NumberTextField()
    z = NumberTextField()


class SurveyBody(JsonBody):
    """Heights of a floor at nine or more places; ``instrument`` is a tag. Units are mm if not given."""

    id = IdField()
    surveyed_at = InstantField()
    device = IdField(required=False)
    instrument = TextField(max_length=20)
    points = ManyField(child=SurveyPoint(), least=1, most=MOST_POINTS)
    xy_unit = TextField(max_length=4, required=False)
    z_unit = TextField(max_length=4, required=False)
    grid_note = TextField(required=False, allow_blank=True)
    valid_months = WholeNumberField(min_value=1, max_value=120, required=False)


class SurveyShape(serializers.Serializer[Any]):
    """A survey. ``computed`` is for lists: a verdict is always worked out anew from the points.

    Lengths in mm, angles in degrees; ``u_z_mm`` is 0 where no method budget was known, and then nothing can
    be shown with it. ``voided_at``: from when on the floor is no longer as surveyed.
    """

    id = serializers.UUIDField()
    bay = serializers.CharField(source="bay.code")
    surveyed = MomentShape()
    surveyed_by = serializers.CharField(source="surveyed_by.login")
    instrument = serializers.CharField(source="instrument.tag")
    points = serializers.ListField(child=serializers.ListField(child=serializers.FloatField()))
    u_z_mm = serializers.FloatField()
    computed = serializers.DictField()
    valid_months = serializers.IntegerField()
    grid_note = serializers.CharField()
    received_at = serializers.DateTimeField()
    voided_at = serializers.DateTimeField(allow_null=True)
    void_reason = serializers.CharField()


class FloorSurveys(Resource):
    """Surveys of one bay's floor, in the order in which they came in."""

    ordering = ("received_at", "id")

    @extend_schema(responses=SurveyShape(many=True))
    def get(self, request: Request, bay_code: str) -> Response:
        bay = get_bay_for(self.actor, bay_code)
        return self.page(list_surveys(self.actor, bay), SurveyShape)

    @extend_schema(request=SurveyBody, responses={201: Receipt})
    def post(self, request: Request, bay_code: str) -> Response:
        """Keep a survey."""
        bay = get_bay_for(self.actor, bay_code)
        entry = build_entry(SurveyEntry, self.parse(SurveyBody))
        return created(record_survey(bay=bay, actor=self.actor, as_of=self.as_of, entry=entry))


class VoidBody(JsonBody):
    """``changed_at``: from when on the floor is no longer as surveyed; now if left out."""

    reason = TextField(max_length=2000)
    changed_at = InstantField(required=False)


class FloorSurveyVoiding(Resource):
    """Tell that a floor is no longer as it was surveyed."""

    @extend_schema(request=VoidBody, responses={201: SurveyShape})
    def post(self, request: Request, survey_id: UUID) -> Response:
        survey = get_survey_for(self.actor, survey_id)
        entry = build_entry(VoidEntry, self.parse(VoidBody))
        voided = void_survey(survey=survey, actor=self.actor, as_of=self.as_of, entry=entry)
        return Response(SurveyShape(voided).data, status=201)
