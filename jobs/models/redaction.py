"""Redacted packets: which sealed packet each was made from, and what was decided when it was asked for."""

from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.packet import Packet
from jobs.models.tenancy import TenantModel


class PacketRedaction(TenantModel):
    """Row of one redacted packet, written when it is asked for and never changed.

    ``sha256`` is of the exact redaction.json, which lies in the store. ``left`` lists [path, why]: entries in
    which something withheld was found and which the person asking decided to ship all the same; it stays here
    and is no part of the packet, since it would say where to look.
    """

    packet = models.OneToOneField(
        Packet, on_delete=models.PROTECT, primary_key=True, related_name="redaction"
    )
    of = models.ForeignKey(Packet, on_delete=models.PROTECT, related_name="redacted_into")
    sha256 = models.CharField(max_length=64)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    left = models.JSONField(default=list, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~models.Q(packet=models.F("of")), name="redaction_of_another_packet"
            )
        ]
