"""Samples of sealed packets, drawn by a seed committed beforehand, and the archive of their copies."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.grant import AccessGrant, PacketDownload
from jobs.models.packet import Packet
from jobs.models.tenancy import TenantModel


class Sample(TenantModel):
    """A population frozen after its seed was committed; ``drawn_at`` and ``word`` are empty until the draw.

    Attributes:
        organisation: whose packets.
        for_person: who looks at them; empty for the organisation's own audit.
        population: list of {packet, serial, root} by serial; ``population_sha256`` of its canonical JSON.
        seed: 32 random bytes, told to nobody before the draw; ``seed_sha256`` stands in the log before that.
        bad, confidence, size: what was planned: notice ``bad`` of the population with ``confidence`` by
            looking at ``size``.
        word: said by who draws, after the population was frozen.
        access_until: how long the packets drawn are open to ``for_person``.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    for_person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    from_on = models.DateField()
    to_on = models.DateField()
    locations = models.JSONField(default=list)
    only_granted = models.BooleanField(default=False)
    seed = models.BinaryField(max_length=32)
    seed_sha256 = models.CharField(max_length=64)
    population = models.JSONField(default=list)
    population_sha256 = models.CharField(max_length=64)
    population_size = models.PositiveIntegerField()
    bad = models.PositiveIntegerField()
    confidence = models.CharField(max_length=8)
    size = models.PositiveIntegerField()
    access_until = models.DateTimeField()
    drawn_at = models.DateTimeField(null=True, blank=True)
    drawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    word = models.CharField(max_length=120, blank=True, default="")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(size__gte=1) & models.Q(size__lte=models.F("population_size")),
                name="sample_within_population",
            ),
            models.CheckConstraint(
                condition=models.Q(bad__gte=1) & models.Q(bad__lte=models.F("population_size")),
                name="sample_bad_within_population",
            ),
            models.CheckConstraint(
                condition=models.Q(from_on__lte=models.F("to_on")), name="sample_has_a_period"
            ),
        ]
        indexes: ClassVar = [models.Index(fields=("organisation", "opened_at"), name="sample_by_age")]


class SampledPacket(TenantModel):
    """One packet that was drawn; ``place`` counts from 1 in the order of the draw."""

    id = models.BigAutoField(primary_key=True)
    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="drawn")
    place = models.PositiveIntegerField()
    packet = models.ForeignKey(Packet, on_delete=models.PROTECT, related_name="+")
    grant = models.ForeignKey(
        AccessGrant, on_delete=models.PROTECT, null=True, blank=True, related_name="sampled"
    )

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "sample", "place"), name="sampled_place_once"),
            models.UniqueConstraint(fields=("organisation", "sample", "packet"), name="sampled_packet_once"),
        ]


class SampleArchive(TenantModel):
    """One ZIP with a copy of each packet of a sample, for one person."""

    STATES: ClassVar = ("waiting", "building", "ready", "failed", "gone")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="archives")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=8, default="waiting")
    total = models.PositiveIntegerField()
    requested_at = models.DateTimeField()
    ready_at = models.DateTimeField(null=True, blank=True)
    until = models.DateTimeField(null=True, blank=True)
    sha256 = models.CharField(max_length=64, blank=True, default="")
    size_bytes = models.PositiveBigIntegerField(null=True, blank=True)
    failure = models.CharField(max_length=300, blank=True, default="")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(state__in=("waiting", "building", "ready", "failed", "gone")),
                name="sample_archive_state",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="ready") | (models.Q(until__isnull=False) & ~models.Q(sha256="")),
                name="sample_archive_ready_is_whole",
            ),
        ]


class ArchivedCopy(TenantModel):
    """One copy made for an archive; an archive whose worker stopped goes on after the last of these."""

    id = models.BigAutoField(primary_key=True)
    archive = models.ForeignKey(SampleArchive, on_delete=models.PROTECT, related_name="copies")
    place = models.PositiveIntegerField()
    name = models.CharField(max_length=80)
    download = models.OneToOneField(PacketDownload, on_delete=models.PROTECT, related_name="archived")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "archive", "place"), name="archived_place_once")
        ]
