"""Access to packets: given to a person or by link, seen by who gave it, taken back."""

from typing import Any
from uuid import UUID

from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_grant_for, get_link_for, get_packet_for, scope_of
from jobs.errors import NotFound
from jobs.selectors.access_given import access_of_job, downloads_of_job
from jobs.services.entries import build_entry
from jobs.services.sharing import (
    GrantEntry,
    LinkEntry,
    grant_access,
    revoke_grant,
    revoke_link,
    share_by_link,
)
from portal.fields import IdField, InstantField, JsonBody, TextField, WholeNumberField, words_field
from portal.resource import Resource


class GrantBody(JsonBody):
    """``to_person`` is a login, of this or another organisation; no ``sections`` means the whole packet."""

    id = IdField()
    to_person = TextField(max_length=64)
    purpose = TextField(max_length=16)
    until = InstantField(required=False)
    sections = words_field()
    max_downloads = WholeNumberField(min_value=1, max_value=1000, required=False)
    ends_when = words_field()


class GrantShape(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    packet = serializers.UUIDField(source="packet_id")
    to_person = serializers.CharField(source="to_person.login")
    purpose = serializers.CharField()
    valid_from = serializers.DateTimeField()
    until = serializers.DateTimeField()
    sections = serializers.ListField(child=serializers.CharField())
    max_downloads = serializers.IntegerField(allow_null=True)


class PacketGrants(Resource):
    """Shows one sealed packet to one person until a day, two weeks if none is said."""

    @extend_schema(request=GrantBody, responses={201: GrantShape})
    def post(self, request: Request, packet_id: UUID) -> Response:
        packet = get_packet_for(self.actor, packet_id, as_of=self.as_of)
        entry = build_entry(GrantEntry, self.parse(GrantBody))
        grant = grant_access(packet=packet, actor=self.actor, as_of=self.as_of, entry=entry)
        return Response(GrantShape(grant).data, status=201)


class AccessShape(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    link = serializers.UUIDField(allow_null=True)
    serial = serializers.CharField()
    recipient = serializers.CharField()
    purpose = serializers.CharField()
    granted_at = serializers.DateTimeField()
    granted_by = serializers.CharField()
    until = serializers.DateTimeField()
    is_open = serializers.BooleanField()
    words = serializers.CharField()
    downloads = serializers.IntegerField()
    max_downloads = serializers.IntegerField(allow_null=True)
    sections = serializers.ListField(child=serializers.CharField())
    ends_when = serializers.ListField(child=serializers.CharField())


class TakenShape(serializers.Serializer[Any]):
    """``sent_bytes``: how many bytes of it really went out, each counted once."""

    serial = serializers.CharField()
    recipient = serializers.CharField()
    at = serializers.DateTimeField()
    sha256 = serializers.CharField()
    size_bytes = serializers.IntegerField()
    sent_bytes = serializers.IntegerField()
    words = serializers.CharField()
    ip = serializers.CharField()
    user_agent = serializers.CharField()


class PacketAccessShape(serializers.Serializer[Any]):
    access = AccessShape(many=True)
    downloads = TakenShape(many=True)


class PacketAccess(Resource):
    """Who has access to a packet of one's own jobs, and what was taken of it."""

    @extend_schema(responses=PacketAccessShape)
    def get(self, request: Request, packet_id: UUID) -> Response:
        packet = get_packet_for(self.actor, packet_id, as_of=self.as_of)
        if packet.organisation_id != self.actor.organisation_id:
            raise NotFound()
        access = [row for row in access_of_job(packet.job, as_of=self.as_of) if row.packet == packet.pk]
        taken = [row for row in downloads_of_job(packet.job) if row.serial == packet.serial]
        return Response(PacketAccessShape({"access": access, "downloads": taken}).data)


class RevokedShape(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    revoked_at = serializers.DateTimeField()


class GrantRevocation(Resource):
    """Takes access to one packet back at once."""

    @extend_schema(request=JsonBody, responses=RevokedShape)
    def post(self, request: Request, grant_id: UUID) -> Response:
        grant = get_grant_for(self.actor, grant_id)
        self.parse(JsonBody)
        ended = revoke_grant(grant=grant, actor=self.actor, as_of=self.as_of)
        return Response(RevokedShape(ended).data)


class LinkBody(JsonBody):
    """Whom the link is for is printed on every page of each copy taken through it."""

    id = IdField()
    packets = serializers.ListField(child=serializers.UUIDField(), min_length=1, max_length=400)
    to_name = TextField(max_length=80)
    to_company = TextField(max_length=80)
    purpose = TextField(max_length=16)
    until = InstantField(required=False)
    passphrase = TextField(max_length=200, required=False)
    sections = words_field()
    max_downloads = WholeNumberField(min_value=1, max_value=1000, required=False)
    ends_when = words_field()


class LinkShape(serializers.Serializer[Any]):
    """``address`` is told this once: it stands nowhere, and a repeated request gives it empty."""

    id = serializers.UUIDField()
    recipient = serializers.CharField()
    purpose = serializers.CharField()
    until = serializers.DateTimeField()
    asks_passphrase = serializers.BooleanField()
    address = serializers.CharField()


class Links(Resource):
    """A link that opens sealed packets to somebody without a sign-in."""

    _address = ""

    @extend_schema(request=LinkBody, responses={201: LinkShape})
    def post(self, request: Request) -> Response:
        fields = self.parse(LinkBody)
        listed = fields.pop("packets")
        packets = [get_packet_for(self.actor, packet_id, as_of=self.as_of) for packet_id in listed]
        with scope_of(self.actor):
            link, text = share_by_link(
                packets=packets, actor=self.actor, as_of=self.as_of, entry=build_entry(LinkEntry, fields)
            )
        self._address = request.build_absolute_uri(reverse("web:link", args=[text]))
        told = {
            "id": link.pk,
            "recipient": link.recipient,
            "purpose": link.purpose,
            "until": link.until,
            "asks_passphrase": bool(link.passphrase_hash),
            "address": "",
        }
        return Response(LinkShape(told).data, status=201)

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        """Puts the address in after the answer was kept for repeated requests: that must not hold it."""
        final = super().finalize_response(request, response, *args, **kwargs)
        if self._address and isinstance(final, Response):
            final.data["address"] = self._address
            final.content = final.rendered_content
        return final


class LinkRevocation(Resource):
    """Takes a link back at once, with everything it opens."""

    @extend_schema(request=JsonBody, responses=RevokedShape)
    def post(self, request: Request, link_id: UUID) -> Response:
        link = get_link_for(self.actor, link_id)
        self.parse(JsonBody)
        ended = revoke_link(link=link, actor=self.actor, as_of=self.as_of)
        return Response(RevokedShape(ended).data)
