"""Assessments: request and progress, the facts judged, the result in canonical bytes, a row per proof."""

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from jobs.models.job import Job
from jobs.models.tenancy import TenantModel


class AssessmentRun(TenantModel):
    """One request to judge a job: waiting, running, done or dead; ``progress`` in percent.

    ``gate_at`` is the gate instant, fixed when the judging begins; facts, packs and engine are known then.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="assessment_runs")
    state = models.CharField(max_length=8, default="waiting")
    progress = models.PositiveSmallIntegerField(default=0)
    attempts = models.PositiveSmallIntegerField(default=0)
    requested_at = models.DateTimeField()
    requested_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    gate_at = models.DateTimeField(null=True, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    facts_sha256 = models.CharField(max_length=64, blank=True, default="")
    packs_sha256 = models.CharField(max_length=64, blank=True, default="")
    engine_version = models.CharField(max_length=40, blank=True, default="")
    assessment = models.ForeignKey(
        "jobs.Assessment", on_delete=models.PROTECT, null=True, blank=True, related_name="runs"
    )
    last_error = models.TextField(blank=True, default="")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(state__in=("waiting", "running", "done", "dead")),
                name="assessment_run_state",
            ),
            models.CheckConstraint(condition=models.Q(progress__lte=100), name="assessment_run_progress"),
            models.CheckConstraint(
                condition=~models.Q(state="done") | models.Q(assessment__isnull=False),
                name="assessment_run_done_has_result",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=("job", "-requested_at"), name="assessment_run_newest")]


class Assessment(TenantModel):
    """A finished judgement. ``result`` is its canonical JSON as hashed; ``computed_at`` is no part of it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="assessments")
    facts_sha256 = models.CharField(max_length=64)
    packs = models.JSONField()
    packs_sha256 = models.CharField(max_length=64)
    engine_version = models.CharField(max_length=40)
    gate_at = models.DateTimeField()
    result = models.TextField()
    result_sha256 = models.CharField(max_length=64)
    verdict = models.CharField(max_length=9)
    disposition = models.CharField(max_length=24)
    statement = models.CharField(max_length=20, blank=True, default="")
    left_against_hold = models.BooleanField(default=False)
    computed_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [
            # The key of a judgement: a second one of the same inputs is the same one.
            models.UniqueConstraint(
                fields=("organisation", "job", "facts_sha256", "packs_sha256", "engine_version", "gate_at"),
                name="assessment_of_inputs_once",
            ),
            models.CheckConstraint(
                condition=models.Q(verdict__in=("met", "not_met", "not_shown")), name="assessment_verdict"
            ),
        ]
        indexes: ClassVar = [models.Index(fields=("job", "-gate_at"), name="assessment_newest")]


class FactsOnFile(TenantModel):
    """The facts that judgements of a job rest on: canonical JSON (RFC 8785), compressed by zlib (RFC 1950).

    ``sha256`` is that of the uncompressed bytes, as the assessment names it in ``facts_sha256``.
    """

    id = models.BigAutoField(primary_key=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="facts_on_file")
    sha256 = models.CharField(max_length=64)
    data = models.BinaryField()
    size_bytes = models.PositiveIntegerField()
    stored_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "job", "sha256"), name="facts_on_file_once"),
        ]


class FindingRow(TenantModel):
    """The result of one proof within one assessment, ``place`` in its printed order."""

    id = models.BigAutoField(primary_key=True)
    assessment = models.ForeignKey(Assessment, on_delete=models.PROTECT, related_name="finding_rows")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="finding_rows")
    place = models.PositiveIntegerField()
    procedure_id = models.CharField(max_length=80)
    proof_id = models.CharField(max_length=80)
    check_name = models.CharField(max_length=40)
    title = models.CharField(max_length=200, blank=True, default="")
    verdict = models.CharField(max_length=9)
    reasons = models.JSONField(default=list)
    numbers = models.JSONField(default=list)
    sentence = models.TextField(blank=True, default="")
    change = models.TextField(blank=True, default="")
    settle = models.CharField(max_length=8, blank=True, default="")
    evidence = models.JSONField(default=list)
    instruments = models.JSONField(default=list)
    notes = models.JSONField(default=list)
    pack = models.CharField(max_length=80)
    edition = models.PositiveIntegerField()
    citation = models.CharField(max_length=300, blank=True, default="")
    waivable = models.BooleanField(default=False)
    waive_role = models.CharField(max_length=30, blank=True, default="")
    waived_by = models.CharField(max_length=64, blank=True, default="")
    counts = models.BooleanField(default=True)
    session = models.ForeignKey(
        "jobs.Session", on_delete=models.PROTECT, null=True, blank=True, related_name="finding_rows"
    )
    computed_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=("organisation", "assessment", "place"), name="finding_place_once"
            ),
            models.CheckConstraint(
                condition=models.Q(verdict__in=("met", "not_met", "not_shown")), name="finding_verdict"
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=("job",), name="finding_of_job"),
            models.Index(
                fields=("computed_at", "check_name"),
                condition=models.Q(verdict__in=("not_met", "not_shown")),
                name="finding_open_by_time",
            ),
        ]
