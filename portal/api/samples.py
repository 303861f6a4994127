"""Samples of packets: how many to look at, committed, drawn, taken as one archive."""

from typing import Any
from uuid import UUID

from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_archive_for, get_sample_for, samples_for, scope_of
from jobs.errors import Refused
from jobs.selectors import samples
from jobs.services.entries import build_entry
from jobs.services.sample_archive import request_archive
from jobs.services.sampling import SampleEntry, draw_sample, open_sample, read_confidence
from portal.errors import RequestProblem
from portal.fields import DayField, IdField, InstantField, JsonBody, NumberTextField, TextField, words_field
from portal.ranges import copy_answer, kept_archive
from portal.resource import AnyAccept, Resource
from rules.science.sampling import LARGEST_LOT, chance_of_seeing, needed


class SamplePlanShape(serializers.Serializer[Any]):
    """``bad`` of ``lot`` are to be noticed; ``chance`` to see one of them by looking at ``look_at``."""

    lot = serializers.IntegerField()
    bad = serializers.IntegerField()
    look_at = serializers.IntegerField()
    chance = serializers.FloatField()
    sentence = serializers.CharField()


class SamplePlan(Resource):
    """How many packets to look at so as to notice a bad share; nothing is drawn or kept."""

    parameters = frozenset({"lot", "one_in", "confidence"})

    @extend_schema(
        parameters=[
            OpenApiParameter(
                "lot", OpenApiTypes.INT, required=True, description="How many packets there are."
            ),
            OpenApiParameter(
                "one_in", OpenApiTypes.INT, description="1 job in so many is bad; 20 if not said."
            ),
            OpenApiParameter("confidence", OpenApiTypes.STR, description="0.5 to 0.999; 0.95 if not said."),
        ],
        responses=SamplePlanShape,
    )
    def get(self, request: Request) -> Response:
        wanted = request.query_params
        lot, one_in = self._whole("lot", ""), self._whole("one_in", "20")
        text = wanted.get("confidence", "0.95")
        try:
            confidence = read_confidence(text)
        except Refused as error:
            raise RequestProblem("bad_parameter", error.message, parameter="confidence") from error
        bad = max(lot // one_in, 1)
        size = needed(lot, bad, confidence)
        told = {
            "lot": lot,
            "bad": bad,
            "look_at": size,
            "chance": chance_of_seeing(lot, bad, size),
            "sentence": samples.sentence(lot, one_in, text, size),
        }
        return Response(SamplePlanShape(told).data)

    def _whole(self, name: str, default: str) -> int:
        text = self.request.query_params.get(name, default)
        if not (text.isascii() and text.isdigit() and len(text) <= 6 and 1 <= int(text) <= LARGEST_LOT):
            raise RequestProblem("bad_parameter", f"{name} is a whole number from 1 on.", parameter=name)
        return int(text)


class SampleBody(JsonBody):
    """``of``: whose packets, for callers from outside; ``for_person``: who looks, for the shop's own."""

    id = IdField()
    from_on = DayField()
    to_on = DayField()
    locations = words_field()
    one_in = NumberTextField(required=False)
    confidence = NumberTextField(required=False)
    for_person = TextField(max_length=64, required=False)
    access_until = InstantField(required=False)
    of = serializers.UUIDField(required=False)


class SampleShape(serializers.Serializer[Any]):
    """``seed`` and ``word`` are empty until the draw; ``seed_sha256`` is logged before the lot is."""

    id = serializers.UUIDField()
    organisation = serializers.CharField()
    for_person = serializers.CharField()
    opened_at = serializers.DateTimeField()
    from_on = serializers.DateField()
    to_on = serializers.DateField()
    locations = serializers.ListField(child=serializers.CharField())
    lot = serializers.IntegerField()
    bad = serializers.IntegerField()
    confidence = serializers.CharField()
    look_at = serializers.IntegerField(source="size")
    chance = serializers.FloatField()
    seed_sha256 = serializers.CharField()
    population_sha256 = serializers.CharField()
    drawn_at = serializers.DateTimeField(allow_null=True)
    seed = serializers.CharField()
    word = serializers.CharField()


class Samples(Resource):
    """Samples of the organisation, and those opened for this person; a new one commits its seed first."""

    ordering = ("-opened_at", "-id")

    @extend_schema(responses=SampleShape(many=True))
    def get(self, request: Request) -> Response:
        return self.page(samples_for(self.actor), _RowShape)

    @extend_schema(request=SampleBody, responses={201: SampleShape})
    def post(self, request: Request) -> Response:
        fields = self.parse(SampleBody)
        of = fields.pop("of", None)
        entry = build_entry(SampleEntry, fields)
        with scope_of(self.actor):
            sample = open_sample(actor=self.actor, as_of=self.as_of, entry=entry, of=of)
        return Response(SampleShape(samples.shown(sample)).data, status=201)


class _RowShape(SampleShape):
    """A sample straight from its row."""

    def to_representation(self, instance: Any) -> dict[str, Any]:
        return super().to_representation(samples.shown(instance))


class OneSample(Resource):
    """One sample; ``sheet`` is what anybody needs to draw it again."""

    @extend_schema(responses=SampleShape)
    def get(self, request: Request, sample_id: UUID) -> Response:
        return Response(SampleShape(samples.shown(get_sample_for(self.actor, sample_id))).data)


class DrawBody(JsonBody):
    word = TextField(max_length=120)


class SampleDraw(Resource):
    """Draws with the committed seed and the caller's word, and publishes both."""

    @extend_schema(request=DrawBody, responses=SampleShape)
    def post(self, request: Request, sample_id: UUID) -> Response:
        sample = get_sample_for(self.actor, sample_id)
        word = self.parse(DrawBody)["word"]
        with scope_of(sample):
            drawn = draw_sample(sample=sample, actor=self.actor, as_of=self.as_of, word=word)
        return Response(SampleShape(samples.shown(drawn)).data)


class ArchiveBody(JsonBody):
    id = IdField()


class ArchiveShape(serializers.Serializer[Any]):
    """An archive: waiting, building, ready (for three days), failed or gone."""

    id = serializers.UUIDField()
    sample = serializers.UUIDField(source="sample_id")
    state = serializers.CharField()
    total = serializers.IntegerField()
    done = serializers.SerializerMethodField()
    until = serializers.DateTimeField(allow_null=True)
    sha256 = serializers.CharField()
    size_bytes = serializers.IntegerField(allow_null=True)

    def get_done(self, archive: Any) -> int:
        with scope_of(archive):
            return samples.archive_progress(archive)


class SampleArchives(Resource):
    """Asks for all packets of a drawn sample as one ZIP, each copy stamped and logged."""

    @extend_schema(request=ArchiveBody, responses={202: ArchiveShape})
    def post(self, request: Request, sample_id: UUID) -> Response:
        sample = get_sample_for(self.actor, sample_id)
        fields = self.parse(ArchiveBody)
        archive = request_archive(sample=sample, actor=self.actor, as_of=self.as_of, archive_id=fields["id"])
        headers = {"Location": f"/api/v1/sample-archives/{archive.pk}"}
        return Response(ArchiveShape(archive).data, status=202, headers=headers)


class OneArchive(Resource):
    """How far an archive is, for the person who asked for it."""

    @extend_schema(responses=ArchiveShape)
    def get(self, request: Request, archive_id: UUID) -> Response:
        return Response(ArchiveShape(get_archive_for(self.actor, archive_id)).data)


class ArchiveContent(Resource):
    """The ZIP, in one go or in parts."""

    http_method_names = ["get", "head"]  # noqa: RUF012 - as the framework declares it
    content_negotiation_class = AnyAccept

    @extend_schema(responses={(200, "application/zip"): OpenApiTypes.BINARY})
    def get(self, request: Request, archive_id: UUID) -> HttpResponseBase:
        archive = get_archive_for(self.actor, archive_id)
        return copy_answer(request._request, kept_archive(archive, as_of=self.as_of))
