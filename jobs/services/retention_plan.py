"""What retention would delete today, and what is due and stays: one plan, with a hash, told and then done.

The same record on the same local days gives the same plan, byte for byte; the run takes the hash of the plan
that was told and refuses any other.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import F, Q

from jobs.models import (
    AccessGrant,
    Deletion,
    Evidence,
    Job,
    Organisation,
    Packet,
    PictureCopy,
    RepairOrder,
)
from jobs.selectors.download_addresses import old_addresses
from jobs.selectors.holds import held_jobs
from jobs.selectors.stored_names import Place, places_of
from jobs.services.retention_policy import Rule, last_day, rules_of
from rules.canonical import canonical_bytes, sha256_hex

PHOTO_KINDS: Final = ("photo", "video")
PACKET_FILES: Final = {
    "pdf_sha256": "sealed file",
    "body_sha256": "pages before sealing",
    "source_sha256": "frozen input",
    "sealing_sha256": "proof from the log",
}
ERASED: Final = "(erased)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing that is due.

    Attributes:
        subject: the place that holds it (``evidence/<id>/sha256``); what a deletion is named by.
        words: what it is, for people.
        due_on: first local day on which it is no longer kept.
        rule: the rule it is due by, in words.
        also_jobs: further jobs that it belongs to; a hold over any of them stops it.
    """

    kind: str
    subject: str
    words: str
    due_on: date
    rule: str
    job_id: UUID | None = None
    evidence_id: UUID | None = None
    packet_id: UUID | None = None
    sha256: str = ""
    size_bytes: int | None = None
    also_jobs: tuple[UUID, ...] = ()

    @property
    def jobs(self) -> tuple[UUID, ...]:
        return (*((self.job_id,) if self.job_id is not None else ()), *self.also_jobs)

    def to_plain(self) -> dict[str, Any]:
        return {
            "kind": self.kind,
            "subject": self.subject,
            "what": self.words,
            "due_on": self.due_on.isoformat(),
            "rule": self.rule,
            "sha256": self.sha256,
            "bytes": self.size_bytes,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """One thing that is due and stays all the same, with the reason."""

    item: Item
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is deleted (``items``), what is due and stays (``kept``), what an interrupted run left
    (``unfinished``), each in a fixed order."""

    organisation_id: UUID
    items: tuple[Item, ...]
    kept: tuple[Kept, ...]
    unfinished: tuple[str, ...]

    def to_plain(self) -> dict[str, Any]:
        return {
            "format": "retention plan 1",
            "organisation": str(self.organisation_id),
            "delete": [item.to_plain() for item in self.items],
            "keep": [{**kept.item.to_plain(), "because": kept.because} for kept in self.kept],
            "unfinished": list(self.unfinished),
        }

    @property
    def sha256(self) -> str:
        return sha256_hex(canonical_bytes(self.to_plain()))


@dataclass
class _Look:
    """What one look at the record needs throughout."""

    organisation: Organisation
    as_of: datetime
    rules: dict[str, Rule]
    held: dict[UUID, tuple[UUID, ...]]
    done: set[str]
    days: dict[str, date] = field(default_factory=dict)

    def today(self, tz: str) -> date:
        """The local day at a place."""
        if tz not in self.days:
            self.days[tz] = self.as_of.astimezone(ZoneInfo(tz)).date()
        return self.days[tz]

    def due_on(self, kind: str, start: date) -> date | None:
        """The first day on which a thing of this kind is no longer kept; None: it is kept for ever."""
        rule = self.rules[kind]
        if rule.amount is None:
            return None
        return last_day(start, rule.amount, rule.unit) + timedelta(days=1)


def plan_retention(*, organisation: Organisation, as_of: datetime) -> Plan:
    """The plan of this moment; writes nothing. The organisation's scope is open."""
    standing = Deletion.objects.filter(stopped_at__isnull=True)
    look = _Look(
        organisation=organisation,
        as_of=as_of,
        rules=rules_of(organisation),
        held=held_jobs(organisation),
        done=set(standing.values_list("subject", flat=True)),
    )
    due = sorted(_due(look), key=lambda item: (item.due_on, item.kind, item.subject))
    kept, free = _split(look, due)
    stays, deleted = _still_needed(free)
    return Plan(
        organisation_id=organisation.pk,
        items=tuple(deleted),
        kept=tuple(sorted((*kept, *stays), key=lambda one: (one.item.due_on, one.item.subject))),
        unfinished=tuple(sorted(standing.filter(removed_at__isnull=True).values_list("subject", flat=True))),
    )


def _due(look: _Look) -> Iterator[Item]:
    for job in _delivered(look):
        delivered_on = job.delivered_at.astimezone(ZoneInfo(job.location.tz)).date()  # type: ignore[union-attr]
        today = look.today(job.location.tz)
        for item in (*_files(look, job, delivered_on), *_customer(look, job, delivered_on)):
            if item.due_on <= today and item.subject not in look.done:
                yield item
    yield from _packets(look)
    yield from _addresses(look)


def _delivered(look: _Look) -> Iterable[Job]:
    """Jobs whose car was handed over long enough ago for the shortest rule; what was never handed over is
    kept."""
    spans = [
        last_day(date(2000, 1, 1), rule.amount, rule.unit) - date(2000, 1, 1)
        for rule in look.rules.values()
        if rule.amount is not None and rule.kind.name != "download_addresses"
    ]
    if not spans:
        return ()
    # Two days and a month of slack: months differ in length, and days begin earlier in other zones.
    newest = look.as_of - min(spans) + timedelta(days=33)
    rows = Job.objects.filter(organisation=look.organisation, delivered_at__lte=newest)
    return rows.select_related("location", "order__vehicle").order_by("pk").iterator(500)


def _files(look: _Look, job: Job, delivered_on: date) -> Iterator[Item]:
    for row in Evidence.objects.filter(job=job).order_by("number"):
        kind = _kind_of(row)
        due_on = look.due_on(kind, delivered_on)
        if due_on is not None:
            yield _file_item(look, job, row, kind, "sha256", due_on)
        # A copy never outlives what it was copied from.
        copies_due = look.due_on("derived_pictures", delivered_on)
        copy_due = min((day for day in (due_on, copies_due) if day is not None), default=None)
        if copy_due is not None:
            yield from _copies(look, job, row, copy_due)


def _kind_of(row: Evidence) -> str:
    if row.kind in PHOTO_KINDS:
        return "photo_originals"
    return "drive_logs" if row.kind == "drive_log" else "evidence_originals"


def _file_item(look: _Look, job: Job, row: Evidence, kind: str, column: str, due_on: date) -> Item:
    is_copy = column != "sha256"
    return Item(
        kind=kind,
        subject=Place("Evidence", str(row.pk), column).subject,
        words=f"{job.number}, {'copy of ' if is_copy else ''}evidence {row.number} ({row.kind})",
        due_on=due_on,
        rule=look.rules[kind].words,
        job_id=job.pk,
        evidence_id=row.pk,
        sha256=str(getattr(row, column)),
        size_bytes=None if is_copy else row.size_bytes,
    )


def _copies(look: _Look, job: Job, row: Evidence, due_on: date) -> Iterator[Item]:
    for column in ("thumbnail_sha256", "working_copy_sha256"):
        if getattr(row, column):
            yield _file_item(look, job, row, "derived_pictures", column, due_on)
    others = _other_jobs(row)
    days = [look.due_on("derived_pictures", day) for day in others.values() if day is not None]
    if len(days) < len(others) or None in days or any(str(pk) < str(job.pk) for pk in others):
        # The same picture serves a job that still needs it, or the other job tells of its copies.
        return
    last = max([due_on, *(day for day in days if day is not None)])
    for copy in PictureCopy.objects.filter(of_sha256=row.sha256).order_by("pk"):
        yield Item(
            kind="derived_pictures",
            subject=Place("PictureCopy", str(copy.pk), "sha256").subject,
            words=f"{job.number}, {copy.use} copy of evidence {row.number}",
            due_on=last,
            rule=look.rules["derived_pictures"].words,
            job_id=job.pk,
            evidence_id=row.pk,
            sha256=copy.sha256,
            size_bytes=copy.size_bytes,
            also_jobs=tuple(sorted(others, key=str)),
        )


def _other_jobs(row: Evidence) -> dict[UUID, date | None]:
    """Other jobs with the same file, each with its local day of delivery; None: not handed over."""
    rows = Evidence.objects.filter(sha256=row.sha256, job__isnull=False).exclude(job=row.job_id)
    found: dict[UUID, date | None] = {}
    for other in Job.objects.filter(pk__in=rows.values("job_id")).select_related("location"):
        at = other.delivered_at
        found[other.pk] = at.astimezone(ZoneInfo(other.location.tz)).date() if at is not None else None
    return found


def _customer(look: _Look, job: Job, delivered_on: date) -> Iterator[Item]:
    due_on = look.due_on("customer_data", delivered_on)
    if due_on is None or job.order.customer_name == ERASED:
        return
    yield Item(
        kind="customer_data",
        subject=f"order/{job.order_id}/customer",
        words=f"{job.number}, name, contact and plate of the customer",
        due_on=due_on,
        rule=look.rules["customer_data"].words,
        job_id=job.pk,
    )


def _packets(look: _Look) -> Iterator[Item]:
    if look.rules["packets"].amount is None:
        return
    rows = Packet.objects.filter(
        organisation=look.organisation, state="sealed", job__delivered_at__isnull=False
    ).select_related("job__location")
    for packet in rows.order_by("pk").iterator(500):
        zone = ZoneInfo(packet.job.location.tz)
        moments = [at for at in (packet.job.delivered_at, packet.built_at) if at is not None]
        due_on = look.due_on("packets", max(moments).astimezone(zone).date())
        if due_on is not None and due_on <= look.today(packet.job.location.tz):
            yield from (
                item
                for item in packet_items(packet, due_on, look.rules["packets"].words)
                if item.subject not in look.done
            )


def packet_items(packet: Packet, due_on: date, rule: str) -> Iterator[Item]:
    """Every stored file of one packet."""
    for column, words in PACKET_FILES.items():
        sha256 = str(getattr(packet, column))
        if sha256:
            yield Item(
                kind="packets",
                subject=Place("Packet", str(packet.pk), column).subject,
                words=f"packet {packet.serial}, {words}",
                due_on=due_on,
                rule=rule,
                job_id=packet.job_id,
                packet_id=packet.pk,
                sha256=sha256,
                size_bytes=packet.pdf_bytes if column == "pdf_sha256" else None,
            )


def _addresses(look: _Look) -> Iterator[Item]:
    rule = look.rules["download_addresses"]
    if rule.amount is None:
        return
    for found in old_addresses(look.organisation, keep_days=rule.amount, as_of=look.as_of):
        yield Item(
            kind="download_addresses",
            subject=found.subject,
            words=f"packet {found.packet.serial}, {found.count} addresses of downloads, shortened",
            due_on=found.due_on,
            rule=rule.words,
            job_id=found.packet.job_id,
            packet_id=found.packet.pk,
        )


# ------------------------------------------------------------------ due, and stays


def _split(look: _Look, due: Iterable[Item]) -> tuple[list[Kept], list[Item]]:
    """What a hold or a running grant keeps, and the rest."""
    granted = _granted(look)
    kept, free = [], []
    for item in due:
        holds = sorted({str(hold) for job_id in item.jobs for hold in look.held.get(job_id, ())})
        if holds:
            kept.append(Kept(item=item, because=f"legal hold {', '.join(holds)}"))
        elif item.kind == "packets" and item.packet_id in granted:
            kept.append(Kept(item=item, because="access to it is granted and has not ended"))
        else:
            free.append(item)
    return kept, free


def _granted(look: _Look) -> set[UUID]:
    unspent = Q(max_downloads__isnull=True) | Q(downloads__lt=F("max_downloads"))
    rows = AccessGrant.objects.filter(
        unspent, revoked_at__isnull=True, until__gt=look.as_of, packet__isnull=False
    )
    return {pk for pk in rows.values_list("packet_id", flat=True) if pk is not None}


def _still_needed(free: list[Item]) -> tuple[list[Kept], list[Item]]:
    """A file that anybody else names stays: another job, another organisation, a thing that is not due."""
    ours = {item.subject for item in free}
    places = places_of(item.sha256 for item in free)
    kept, deleted = [], []
    for item in free:
        others = {place for place in places.get(item.sha256, ()) if place.subject not in ours}
        if item.sha256 and others:
            kept.append(Kept(item=item, because="the same bytes are still needed elsewhere"))
        else:
            deleted.append(item)
    return kept, deleted


def job_order(job_id: UUID) -> RepairOrder:
    """The order of a job, with its vehicle."""
    return RepairOrder.objects.select_related("vehicle").get(job__pk=job_id)
