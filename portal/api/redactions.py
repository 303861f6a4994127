"""Redacted packets: what there is to choose from, and asking for one."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_packet_for
from jobs.services.painting import MOST_REGIONS, PictureChoice, Region
from jobs.services.redaction import (
    LONGEST_WHY,
    MOST_CHOICES,
    FieldChoice,
    LeftChoice,
    RedactionEntry,
    choices_of,
    request_redaction,
)
from portal.api.packets import PacketShape
from portal.fields import IdField, JsonBody, JsonNumberField, ManyField, TextField
from portal.resource import Resource


class FieldBody(JsonBody):
    """An entry to withhold: its path, the kind of thing it is, and why."""

    path = TextField(max_length=300)
    kind = TextField(max_length=20)
    why = TextField(max_length=LONGEST_WHY)


class RegionBody(JsonBody):
    """Shares (0 to 1) of the upright picture's width and height, from its top left corner."""

    x = JsonNumberField()
    y = JsonNumberField()
    width = JsonNumberField()
    height = JsonNumberField()


class PictureBody(JsonBody):
    """Regions of one picture to paint over; ``file`` as the packet names it."""

    file = TextField(max_length=80)
    kind = TextField(max_length=20)
    why = TextField(max_length=LONGEST_WHY)
    regions = ManyField(child=RegionBody(), least=1, most=MOST_REGIONS)


class LeftBody(JsonBody):
    """An entry in which something withheld was found, and why it is shipped all the same."""

    path = TextField(max_length=300)
    why = TextField(max_length=LONGEST_WHY)


class RedactionBody(JsonBody):
    id = IdField()
    fields_ = ManyField(child=FieldBody(), most=MOST_CHOICES, required=False)
    pictures = ManyField(child=PictureBody(), most=MOST_CHOICES, required=False)
    left = ManyField(child=LeftBody(), most=MOST_CHOICES, required=False)

    def get_fields(self) -> dict[str, Any]:
        # ``fields`` is a word of the framework: the body's own field of that name is put in here.
        found = super().get_fields()
        return {("fields" if name == "fields_" else name): field for name, field in found.items()}


class ChoiceShape(serializers.Serializer[Any]):
    path = serializers.CharField()
    group = serializers.CharField()
    where = serializers.CharField()
    shown = serializers.CharField()


class PictureShape(serializers.Serializer[Any]):
    file = serializers.CharField(source="name")
    number = serializers.IntegerField()


class ChoicesShape(serializers.Serializer[Any]):
    """What may be withheld of a packet, in plain words."""

    entries = ChoiceShape(many=True)
    pictures = PictureShape(many=True)


def entry_of(fields: dict[str, Any]) -> RedactionEntry:
    """The parsed body as the service takes it."""
    return RedactionEntry(
        id=fields["id"],
        fields=tuple(FieldChoice(**dict(item)) for item in fields.get("fields", ())),
        pictures=tuple(
            PictureChoice(
                file=item["file"],
                kind=item["kind"],
                why=item["why"],
                regions=tuple(Region(**dict(region)) for region in item["regions"]),
            )
            for item in fields.get("pictures", ())
        ),
        left=tuple(LeftChoice(**dict(item)) for item in fields.get("left", ())),
    )


class PacketRedactions(Resource):
    """Derives a redacted packet from a sealed one of the caller's own organisation."""

    @extend_schema(responses=ChoicesShape)
    def get(self, request: Request, packet_id: UUID) -> Response:
        packet = get_packet_for(self.actor, packet_id, as_of=self.as_of)
        return Response(ChoicesShape(choices_of(packet=packet, actor=self.actor)).data)

    @extend_schema(request=RedactionBody, responses={202: PacketShape})
    def post(self, request: Request, packet_id: UUID) -> Response:
        packet = get_packet_for(self.actor, packet_id, as_of=self.as_of)
        made = request_redaction(
            packet=packet, actor=self.actor, as_of=self.as_of, entry=entry_of(self.parse(RedactionBody))
        )
        headers = {"Location": f"/api/v1/packets/{made.pk}"}
        return Response(PacketShape(made).data, status=202, headers=headers)
