"""The durable queue: work that a transaction asked for, leased by workers until its result is committed."""

from typing import ClassVar

from django.db import models

from jobs.models.tenancy import TenantModel


class OutboxEntry(TenantModel):
    """One piece of work. States: waiting, leased, done, dead (three attempts failed).

    ``key`` makes work that is still waiting unique. ``owner`` is the lease's own random word: only its
    holder may finish the row. ``available_at`` is empty for work that may begin at once. ``created_at`` is
    the record's time; every other time here is the machine's own clock, which no demonstration shifts.
    ``handed_at`` is when the relay last gave the row to the broker.
    """

    id = models.BigAutoField(primary_key=True)
    task = models.CharField(max_length=60)
    arguments = models.JSONField(default=dict)
    key = models.CharField(max_length=200)
    state = models.CharField(max_length=8, default="waiting")
    attempts = models.PositiveSmallIntegerField(default=0)
    available_at = models.DateTimeField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    owner = models.CharField(max_length=32, blank=True, default="")
    handed_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    last_error = models.TextField(blank=True, default="")

    class Meta:
        constraints: ClassVar = [
            # A row that was tried before may wait beside a fresh one of the same key.
            models.UniqueConstraint(
                fields=("organisation", "task", "key"),
                condition=models.Q(state="waiting", attempts=0),
                name="outbox_waiting_once",
            ),
            models.CheckConstraint(
                condition=models.Q(state__in=("waiting", "leased", "done", "dead")), name="outbox_state"
            ),
            models.CheckConstraint(
                condition=models.Q(state="leased", lease_until__isnull=False) & ~models.Q(owner="")
                | ~models.Q(state="leased") & models.Q(lease_until__isnull=True, owner=""),
                name="outbox_lease_is_whole",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=("id",), condition=models.Q(state="waiting"), name="outbox_waiting"),
            models.Index(fields=("lease_until",), condition=models.Q(state="leased"), name="outbox_leased"),
            models.Index(fields=("organisation", "task", "key"), name="outbox_key"),
        ]


class WorkerBeat(models.Model):
    """The last sign of life of one worker or relay process."""

    name = models.CharField(max_length=120, primary_key=True)
    kind = models.CharField(max_length=10)
    started_at = models.DateTimeField()
    seen_at = models.DateTimeField()
