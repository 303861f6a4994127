"""Shapes of answers that several routes share."""

from typing import Any

from rest_framework import serializers
from rest_framework.response import Response

from portal.etags import etag_of


class Receipt(serializers.Serializer[Any]):
    """What the server says of a record it keeps: its id, when it came, and the hash that signatures cover."""

    id = serializers.UUIDField()
    received_at = serializers.DateTimeField()
    content_sha256 = serializers.CharField()


class Receipts(serializers.Serializer[Any]):
    """Receipts of a list that was sent at once, in its order."""

    records = Receipt(many=True)


class VersionedReceipt(Receipt):
    """A receipt of what may be changed later; ``version`` is also the ETag."""

    version = serializers.IntegerField()


class OdometerShape(serializers.Serializer[Any]):
    value = serializers.CharField()
    unit = serializers.CharField()
    resolution = serializers.CharField()


def created(record: Any) -> Response:
    """201 with the receipt."""
    return Response(Receipt(record).data, status=201)


def versioned(record: Any, *, status: int) -> Response:
    """The receipt with version and ETag."""
    headers = {"ETag": etag_of(record.version)}
    return Response(VersionedReceipt(record).data, status=status, headers=headers)


class MomentShape(serializers.Serializer[Any]):
    """An event's time: what was received, whose clock it is, and between which instants true time lies."""

    text = serializers.CharField()
    clock = serializers.CharField()
    low = serializers.DateTimeField()
    high = serializers.DateTimeField()
