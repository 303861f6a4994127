"""What is added to a packet after sealing: dated pieces that form a chain; the sealed file never changes."""

import uuid
from typing import ClassVar

from django.db import models

from jobs.models.packet import Packet
from jobs.models.tenancy import TenantModel


class PacketAddition(TenantModel):
    """One addition to one sealed packet; the database refuses to change or delete it.

    The canonical JSON lies in storage under ``sha256``; ``text`` and ``facts`` repeat it for lists.
    ``previous`` is the SHA-256 of the addition before it, empty for the first. ``key`` is what makes an event
    the same event: it is added once.
    """

    KINDS: ClassVar = (
        "time_stamp",
        "late_certificate",
        "look_back",
        "rule_change",
        "comeback",
        "superseded",
        "retention",
    )

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    packet = models.ForeignKey(Packet, on_delete=models.PROTECT, related_name="additions")
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=20)
    key = models.CharField(max_length=200)
    at = models.DateTimeField()
    who = models.CharField(max_length=120)
    text = models.TextField()
    facts = models.JSONField(default=dict, blank=True)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveIntegerField()
    previous = models.CharField(max_length=64, blank=True, default="")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "packet", "number"), name="addition_number_once"),
            models.UniqueConstraint(fields=("organisation", "packet", "key"), name="addition_event_once"),
            models.CheckConstraint(
                condition=models.Q(number=1, previous="") | (models.Q(number__gt=1) & ~models.Q(previous="")),
                name="addition_follows_the_one_before",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=(
                        "time_stamp",
                        "late_certificate",
                        "look_back",
                        "rule_change",
                        "comeback",
                        "superseded",
                        "retention",
                    )
                ),
                name="addition_kind",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.packet_id} addition {self.number}"


class AdditionPrint(TenantModel):
    """The pages of one addition as a PDF, made once after it.

    ``key_sha256`` names the key that signed it, if any.
    """

    id = models.BigAutoField(primary_key=True)
    addition = models.OneToOneField(PacketAddition, on_delete=models.PROTECT, related_name="printed")
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    made_at = models.DateTimeField()
    key_sha256 = models.CharField(max_length=64, blank=True, default="")
