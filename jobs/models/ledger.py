"""The append-only log of an organisation, the row that its writers queue for, and its tree and heads."""

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


class LogTile(TenantModel):
    """256 hashes of one level of the log's tree, 32 bytes each, and the root over them; never changed.

    Level 0 holds leaf hashes, each level above the roots of 256 tiles below. Only full tiles are kept; all of
    them can be worked out again from the entries.
    """

    id = models.BigAutoField(primary_key=True)
    level = models.PositiveSmallIntegerField()
    index = models.PositiveBigIntegerField()
    hashes = models.BinaryField(max_length=8192)
    root = models.BinaryField(max_length=32)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("organisation", "level", "index"), name="log_tile_once"),
        ]

    def __str__(self) -> str:
        return f"{self.level}/{self.index}"


class TreeHead(TenantModel):
    """A head of the log as it was signed: size, root (hex) and time (the signed text); never changed.

    One head a day is made to be handed outside; the others are made with a packet. ``previous`` is the newest
    daily head when this one was made, ``consistency`` the proof (hex) that this log continues that one.
    Without a signing key ``signature``, ``key_sha256`` and ``certificate`` are empty.
    """

    id = models.BigAutoField(primary_key=True)
    size = models.PositiveBigIntegerField()
    root = models.CharField(max_length=64)
    at = models.CharField(max_length=40)
    is_daily = models.BooleanField(default=False)
    day = models.DateField(null=True, blank=True)
    signature = models.BinaryField(default=b"", blank=True)
    key_sha256 = models.CharField(max_length=64, blank=True, default="")
    certificate = models.BinaryField(default=b"", blank=True)
    chain = models.JSONField(default=list, blank=True)
    is_demo = models.BooleanField(default=False)
    previous = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="later"
    )
    consistency = models.JSONField(default=list, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(size__gte=1), name="tree_head_of_one_or_more"),
            models.CheckConstraint(
                condition=models.Q(is_daily=True, day__isnull=False)
                | models.Q(is_daily=False, day__isnull=True),
                name="tree_head_day_if_daily",
            ),
            models.UniqueConstraint(
                fields=("organisation", "day"),
                condition=models.Q(is_daily=True),
                name="tree_head_once_a_day",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=("organisation", "size"), name="tree_head_size")]

    def __str__(self) -> str:
        return f"{self.size} {self.root[:16]}"
