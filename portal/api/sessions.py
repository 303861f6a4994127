"""Sessions: an attempt at a procedure begins, its key events come in, it ends once."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.access import get_job_for, get_session_for
from jobs.selectors.api_jobs import list_sessions
from jobs.services.entries import build_entry
from jobs.services.session import (
    KeyEventEntry,
    SessionEnd,
    SessionEntry,
    add_key_events,
    end_session,
    start_session,
)
from portal.api.shapes import MomentShape
from portal.etags import etag_of, matched_version
from portal.fields import ChoiceField, IdField, InstantField, JsonBody, ManyField, TextField
from portal.resource import Resource


class SessionShape(serializers.Serializer[Any]):
    """One attempt; its ETag is the version."""

    id = serializers.UUIDField()
    job = serializers.UUIDField(source="job_id")
    procedure_id = serializers.CharField()
    attempt = serializers.IntegerField()
    bay = serializers.CharField(source="bay.code", allow_null=True, default=None)
    tool = serializers.CharField(source="tool.tag", allow_null=True, default=None)
    performed_by = serializers.CharField(source="performed_by.login")
    observer = serializers.CharField(source="observer.login", allow_null=True, default=None)
    started = MomentShape()
    ended = MomentShape(allow_null=True)
    result = serializers.CharField()
    result_text = serializers.CharField()
    results = serializers.DictField(child=serializers.CharField())
    device_software = serializers.CharField()
    received_at = serializers.DateTimeField()
    content_sha256 = serializers.CharField()
    version = serializers.IntegerField()


def _shaped(session: Any, *, status: int = 200) -> Response:
    headers = {"ETag": etag_of(session.version)}
    return Response(SessionShape(session).data, status=status, headers=headers)


class SessionBody(JsonBody):
    """``tool`` is the tag of the scan device; ``device`` the one whose clock was read; people are logins."""

    id = IdField()
    procedure_id = TextField(max_length=80)
    started_at = InstantField()
    device = IdField(required=False)
    tool = TextField(max_length=20, required=False, allow_blank=True)
    bay = TextField(max_length=20, required=False, allow_blank=True)
    observer = TextField(max_length=64, required=False, allow_blank=True)
    performed_by = TextField(max_length=64, required=False, allow_blank=True)
    performer_org = TextField(max_length=120, required=False, allow_blank=True)
    reuses_part_of = IdField(required=False)


def _in_service_words(fields: dict[str, Any]) -> dict[str, Any]:
    """On the wire ``device`` always is the capture device; the service calls the scan device so."""
    renamed = {"device": "capture_device", "tool": "device"}
    return {renamed.get(name, name): value for name, value in fields.items()}


class Sessions(Resource):
    """Attempts at the procedures of a job, oldest first."""

    ordering = ("received_at", "id")

    @extend_schema(responses=SessionShape(many=True))
    def get(self, request: Request, job_id: UUID) -> Response:
        return self.page(list_sessions(get_job_for(self.actor, job_id)), SessionShape)

    @extend_schema(request=SessionBody, responses={201: SessionShape})
    def post(self, request: Request, job_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        entry = build_entry(SessionEntry, _in_service_words(self.parse(SessionBody)))
        session = start_session(job=job, actor=self.actor, as_of=self.as_of, entry=entry)
        return _shaped(session, status=201)


class OneSession(Resource):
    """One attempt."""

    @extend_schema(responses=SessionShape)
    def get(self, request: Request, job_id: UUID, session_id: UUID) -> Response:
        return _shaped(get_session_for(self.actor, job_id, session_id))


class PartBody(JsonBody):
    """One part of a two-part procedure."""

    part = ChoiceField(choices=["still", "road"])
    started_at = InstantField()
    ended_at = InstantField(required=False)
    result = TextField(max_length=10)


class SessionEndBody(JsonBody):
    """How it ended; ``results`` where the procedure asks for each place."""

    ended_at = InstantField()
    result = TextField(max_length=10)
    result_text = TextField(required=False, allow_blank=True)
    results = serializers.DictField(child=TextField(max_length=10), required=False)
    device_software = TextField(max_length=80, required=False, allow_blank=True)
    parts = ManyField(child=PartBody(), most=2, required=False)
    device = IdField(required=False)


class SessionEndings(Resource):
    """Ends a session, once; needs the ETag of what was read."""

    needs_if_match = frozenset({"POST"})

    @extend_schema(request=SessionEndBody, responses={200: SessionShape})
    def post(self, request: Request, job_id: UUID, session_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        session = get_session_for(self.actor, job_id, session_id)
        version = matched_version(request, session.version)
        fields = _in_service_words(self.parse(SessionEndBody))
        entry = build_entry(SessionEnd, {**fields, "version": version})
        ended = end_session(job=job, session=session, actor=self.actor, as_of=self.as_of, entry=entry)
        return _shaped(ended)


class KeyEventBody(JsonBody):
    at = InstantField()
    state = ChoiceField(choices=["on", "off", "crank"])


class KeyEventsBody(JsonBody):
    events = ManyField(child=KeyEventBody(), least=1, most=500)
    device = IdField(required=False)


class KeyEvents(Resource):
    """When the key was turned on, off or to crank during a session."""

    @extend_schema(request=KeyEventsBody, responses={201: SessionShape})
    def post(self, request: Request, job_id: UUID, session_id: UUID) -> Response:
        job = get_job_for(self.actor, job_id)
        session = get_session_for(self.actor, job_id, session_id)
        fields = self.parse(KeyEventsBody)
        add_key_events(
            job=job,
            session=session,
            actor=self.actor,
            as_of=self.as_of,
            events=tuple(build_entry(KeyEventEntry, event) for event in fields["events"]),
            capture_device=fields.get("device"),
        )
        return _shaped(get_session_for(self.actor, job_id, session_id), status=201)
