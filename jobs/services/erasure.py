"""Erasing a customer: key, unredacted files and rows go; the log and redacted packets check as before."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction

from jobs.access import Actor
from jobs.errors import Conflict, NotFound
from jobs.models import Deletion, Evidence, Job, Packet, PictureCopy, Refusal
from jobs.selectors.holds import holds_over
from jobs.selectors.stored_names import Place, places_of
from jobs.services import recording, values
from jobs.services.retention import Outcome, carry_out
from jobs.services.retention_plan import ERASED, Item, Plan, packet_items
from jobs.services.values import refused

ERASER_ROLES: Final = ("quality_manager", "operations_manager")
# Pictures that show whose car it is.
OF_A_PERSON: Final = ("plate", "owner", "person", "registration")
MOST_FILES: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class ErasureEntry:
    """``evidence``: further files of the job that show or name the person, as somebody looked through them.

    ``without_redacted``: erase although no redacted packet was made, so that none will be left to show.
    """

    reason: str
    evidence: tuple[UUID, ...] = ()
    without_redacted: bool = False


def erasure_plan(*, job: Job, as_of: datetime, evidence: tuple[UUID, ...] = ()) -> Plan:
    """What erasing the customer of a job deletes: unredacted packets, files that hold him or her, the rows.

    Raises:
        NotFound: ``evidence`` names a file that is not of this job.
    """
    standing = Deletion.objects.filter(stopped_at__isnull=True, job=job)
    done = set(standing.values_list("subject", flat=True))
    today = as_of.astimezone(ZoneInfo(job.location.tz)).date()
    items = [item for item in _items(job, today, evidence) if item.subject not in done]
    unfinished = sorted(standing.filter(removed_at__isnull=True).values_list("subject", flat=True))
    return Plan(
        organisation_id=job.organisation_id,
        items=tuple(sorted(items, key=lambda item: (item.kind == "customer_data", item.subject))),
        kept=(),
        unfinished=tuple(unfinished),
    )


def erase_customer(*, job: Job, actor: Actor, as_of: datetime, entry: ErasureEntry) -> Outcome:
    """Erases the customer of a job at his or her request; a second time finishes what the first one left.

    Raises:
        NotAllowed: ``role_missing``.
        NotFound: a file that is not of this job.
        Refused: ``text_length``, ``too_many``.
        Conflict: ``under_legal_hold`` with the holds: nothing is erased;
            ``redacted_packet_missing``: the job has sealed packets and none that is redacted.
    """
    recording.require_role(actor, *ERASER_ROLES)
    reason = values.read_text(entry.reason, "reason", shortest=10, longest=500)
    if len(entry.evidence) > MOST_FILES:
        raise refused("too_many", "evidence", f"evidence names at most {MOST_FILES} files.")
    plan = erasure_plan(job=job, as_of=as_of, evidence=entry.evidence)
    _require_free(job, plan)
    _require_redacted(job, entry)
    with transaction.atomic():
        detail = {"reason": reason, "plan": plan.sha256, "files": len(plan.items)}
        recording.log(actor=actor, as_of=as_of, what="customer.erasure_asked", job=job, detail=detail)
    shared = _shared(plan.items)
    done = carry_out(plan, organisation=job.organisation, as_of=as_of, who=actor.person.login, why="erasure")
    return replace(done, shared=shared)


def _require_free(job: Job, plan: Plan) -> None:
    held = holds_over({job.pk, *(job_id for item in plan.items for job_id in item.jobs)}, job.organisation)
    if held:
        raise Conflict(
            "under_legal_hold",
            "A legal hold covers this job: nothing of it is erased until the hold is lifted.",
            holds=[str(hold.pk) for hold in held],
        )


def _require_redacted(job: Job, entry: ErasureEntry) -> None:
    sealed = Packet.objects.filter(job=job, state="sealed")
    if entry.without_redacted or not sealed.exists() or sealed.filter(kind="redacted").exists():
        return
    raise Conflict(
        "redacted_packet_missing",
        "Make a redacted packet first: without one no packet of this job can be shown any more.",
    )


def _items(job: Job, today: date, evidence: tuple[UUID, ...]) -> Iterator[Item]:
    rule = "erasure at the person's request"
    for packet in Packet.objects.filter(job=job, state="sealed").exclude(kind="redacted").order_by("number"):
        yield from packet_items(packet, today, rule)
    for row in _files(job, evidence):
        for column in ("sha256", "thumbnail_sha256", "working_copy_sha256"):
            if getattr(row, column):
                yield Item(
                    kind="evidence_originals",
                    subject=Place("Evidence", str(row.pk), column).subject,
                    words=f"{job.number}, evidence {row.number} ({row.kind})",
                    due_on=today,
                    rule=rule,
                    job_id=job.pk,
                    evidence_id=row.pk,
                    sha256=str(getattr(row, column)),
                    size_bytes=row.size_bytes if column == "sha256" else None,
                )
        for copy in PictureCopy.objects.filter(of_sha256=row.sha256):
            yield Item(
                kind="derived_pictures",
                subject=Place("PictureCopy", str(copy.pk), "sha256").subject,
                words=f"{job.number}, {copy.use} copy of evidence {row.number}",
                due_on=today,
                rule=rule,
                job_id=job.pk,
                evidence_id=row.pk,
                sha256=copy.sha256,
                size_bytes=copy.size_bytes,
            )
    if job.order.customer_name != ERASED:
        yield Item(
            kind="customer_data",
            subject=f"order/{job.order_id}/customer",
            words=f"{job.number}, name, contact and plate of the customer",
            due_on=today,
            rule=rule,
            job_id=job.pk,
        )


def _files(job: Job, named: tuple[UUID, ...]) -> list[Evidence]:
    """Files that refusals were signed on, pictures of plate or person, and those that the caller names."""
    rows = {row.pk: row for row in Evidence.objects.filter(job=job)}
    if not set(named) <= rows.keys():
        raise NotFound
    signed = {str(item) for row in Refusal.objects.filter(job=job) for item in row.evidence}
    return [
        row
        for row in sorted(rows.values(), key=lambda row: row.number or 0)
        if row.pk in named or str(row.pk) in signed or set(row.shows) & set(OF_A_PERSON)
    ]


def _shared(items: Iterable[Item]) -> tuple[str, ...]:
    """Things whose bytes another record holds too: given up here, they stay stored until that one lets go."""
    told = [item for item in items if item.sha256]
    ours = {item.subject for item in told}
    places = places_of(item.sha256 for item in told)
    return tuple(
        item.subject
        for item in told
        if any(place.subject not in ours for place in places.get(item.sha256, ()))
    )
