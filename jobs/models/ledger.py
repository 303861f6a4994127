"""The append-only log of an organisation and the row that its writers queue for."""

from typing import ClassVar

from django.db import models

from jobs.models.tenancy import Organisation, TenantModel


class LedgerHead(TenantModel):
    """Number and hash of the last entry. Writers lock this row, so numbers have no gap and no fork."""

    organisation = models.OneToOneField(
        Organisation, on_delete=models.PROTECT, primary_key=True, related_name="ledger_head"
    )
    n = models.PositiveBigIntegerField(default=0)
    hash = models.CharField(max_length=64)


class LogEntry(TenantModel):
    """One entry. ``at`` and ``detail`` are the exact text that was hashed; the database refuses changes."""

    id = models.BigAutoField(primary_key=True)
    n = models.PositiveBigIntegerField()
    at = models.CharField(max_length=40)
    who = models.CharField(max_length=120)
    device = models.CharField(max_length=80, blank=True, default="")
    what = models.CharField(max_length=80)
    target = models.CharField(max_length=120)
    detail = models.TextField(default="{}")
    prev = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "n"), name="log_entry_number_once"),
            models.CheckConstraint(condition=models.Q(n__gte=1), name="log_entry_counts_from_one"),
        ]
        indexes: ClassVar = [models.Index(fields=("organisation", "target"), name="log_entry_target")]

    def __str__(self) -> str:
        return f"{self.n} {self.what}"
