"""Carrying out a plan of retention: one thing after the other, decided and logged first, removed then.

Between any two steps the process may be killed: what was decided is finished by the next run, and nothing is
removed that no row tells of. Each step looks at holds again, under the lock that placing a hold takes.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import transaction
from django.db.models import QuerySet

from jobs import storage
from jobs.errors import Conflict
from jobs.failpoints import reached
from jobs.ledger.append import append
from jobs.models import Deletion, Evidence, Organisation, Packet, PacketAddition, PictureCopy
from jobs.moment import machine_now
from jobs.selectors.deletions import local_day_of
from jobs.selectors.holds import holds_over
from jobs.selectors.stored_names import Place, places_of
from jobs.services.additions import add_to_packet
from jobs.services.customer_data import blank_customer, shorten_addresses
from jobs.services.holds import lock_against_deletion
from jobs.services.retention_plan import Item, Plan, plan_retention
from jobs.services.sealed_packets import day_words

PROGRAM: Final = "retention"
# Bytes that arrived within this time may be named by a row that is not written yet (project default).
ARRIVING: Final = timedelta(hours=1)
MOST_SAID: Final = 12
# Packets are looked at again for deletions of so long: long enough for any run that was interrupted.
TOLD_WITHIN: Final = timedelta(days=400)
# A night takes so many; the rest is for the next one (project default).
MOST_A_NIGHT: Final = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a run did.

    Attributes:
        removed: subjects that are gone; stopped: those that a hold stopped in between.
        waiting: decided, but the same bytes had just arrived anew; the next run looks again.
        told: additions to packets that were made.
        shared: given up by an erasure while another record holds the same bytes, which therefore stay.
    """

    plan_sha256: str
    removed: tuple[str, ...]
    stopped: tuple[str, ...]
    waiting: tuple[str, ...]
    told: int
    shared: tuple[str, ...] = ()


def run_retention(
    *, organisation: Organisation, as_of: datetime, plan_sha256: str, who: str = PROGRAM
) -> Outcome:
    """Carries out the plan that was told, and what an interrupted run left; the organisation's scope is open.

    Raises:
        Conflict: ``plan_changed``: the record is no longer what the plan was told of; nothing was deleted.
    """
    plan = plan_retention(organisation=organisation, as_of=as_of)
    if plan.sha256 != plan_sha256:
        raise Conflict(
            "plan_changed", "The record has changed since the plan was told. Tell it again.", plan=plan.sha256
        )
    return carry_out(plan, organisation=organisation, as_of=as_of, who=who)


def nightly(*, organisation: Organisation, as_of: datetime) -> Outcome:
    """Plans and carries out in one go: what the nightly round does."""
    plan = plan_retention(organisation=organisation, as_of=as_of)
    return carry_out(plan, organisation=organisation, as_of=as_of, who=PROGRAM, most=MOST_A_NIGHT)


def carry_out(
    plan: Plan,
    *,
    organisation: Organisation,
    as_of: datetime,
    who: str,
    why: str = "retention",
    most: int | None = None,
) -> Outcome:
    """Decides and removes each item; repeating it after any interruption comes to the same end."""
    results: dict[str, list[str]] = {"removed": [], "stopped": [], "waiting": []}
    left = Deletion.objects.filter(removed_at__isnull=True, stopped_at__isnull=True)
    for deletion in list(left.order_by("decided_at", "subject")):
        results[_remove(deletion, organisation, as_of)].append(deletion.subject)
    for item in plan.items[:most]:
        decided = _decide(item, plan, organisation, as_of, who, why)
        if decided is None:
            results["stopped"].append(item.subject)
            continue
        reached("retention.decided")
        results[_remove(decided, organisation, as_of)].append(item.subject)
        reached("retention.removed")
    told = tell_packets(organisation=organisation, as_of=as_of)
    return Outcome(
        plan_sha256=plan.sha256,
        removed=tuple(results["removed"]),
        stopped=tuple(results["stopped"]),
        waiting=tuple(results["waiting"]),
        told=told,
    )


@transaction.atomic
def _decide(
    item: Item, plan: Plan, organisation: Organisation, as_of: datetime, who: str, why: str
) -> Deletion | None:
    """The decision on file and in the log; None where a hold came in since the plan was made."""
    lock_against_deletion(organisation)
    if holds_over(item.jobs, organisation):
        return None
    row = Deletion(
        organisation=organisation,
        kind=item.kind,
        why=why,
        subject=item.subject,
        words=item.words[:200],
        job_id=item.job_id,
        evidence_id=item.evidence_id,
        packet_id=item.packet_id,
        sha256=item.sha256,
        size_bytes=item.size_bytes,
        rule=item.rule[:200],
        due_on=item.due_on,
        plan_sha256=plan.sha256,
        decided_at=as_of,
        decided_by=who[:120],
    )
    row.save(force_insert=True)
    _log(row, as_of, who, f"{why}.decided")
    return row


@transaction.atomic
def _remove(row: Deletion, organisation: Organisation, as_of: datetime) -> str:
    """Removes what was decided: ``removed``, ``stopped`` by a hold, or ``waiting``.

    The bytes go inside the transaction: should it be undone, the row still says that it is to be done, and
    the next run finds the bytes gone and notes it.
    """
    lock_against_deletion(organisation)
    fresh = Deletion.objects.select_for_update(of=("self",)).get(pk=row.pk)
    if fresh.removed_at is not None:
        return "removed"
    holds = holds_over(_jobs_of(fresh), organisation)
    if holds:
        because = f"legal hold {', '.join(str(hold.pk) for hold in holds)}"[:200]
        Deletion.objects.filter(pk=row.pk).update(stopped_at=as_of, stopped_because=because)
        _log(fresh, as_of, fresh.decided_by, f"{fresh.why}.stopped", because=because)
        return "stopped"
    if not _take_away(fresh, organisation, as_of):
        return "waiting"
    reached("retention.bytes_gone")
    Deletion.objects.filter(pk=row.pk).update(removed_at=as_of)
    _log(fresh, as_of, fresh.decided_by, f"{fresh.why}.deleted")
    return "removed"


def _jobs_of(row: Deletion) -> list[Any]:
    """The jobs that a hold may protect a thing for: its own, and those with the same bytes."""
    own = [row.job_id] if row.job_id is not None else []
    if row.evidence is None:
        return own
    same = Evidence.objects.filter(sha256=row.evidence.sha256, job__isnull=False)
    return [*own, *same.values_list("job_id", flat=True)]


def _take_away(row: Deletion, organisation: Organisation, as_of: datetime) -> bool:
    """Takes the thing away; False where the same bytes had just arrived anew."""
    if row.kind == "customer_data" and not row.sha256:
        blank_customer(row, as_of=as_of)
        return True
    if row.kind == "download_addresses":
        shorten_addresses(row, organisation)
        return True
    others = {place for place in places_of([row.sha256])[row.sha256] if place.subject != row.subject}
    # Named by somebody else too: this place lets go of it, the bytes stay until the last one does.
    gone = "removed" if others else storage.remove(row.sha256, unused_since=machine_now() - ARRIVING)
    if gone == "in_use":
        return False
    _forget_copy(row)
    return True


def _forget_copy(row: Deletion) -> None:
    """The row of a derived copy goes with it: a later page makes it anew from the original."""
    model, key, _ = row.subject.split("/", 2)
    if model == Place("PictureCopy", "", "").subject.split("/", 1)[0]:
        PictureCopy.objects.filter(pk=int(key)).delete()


# ------------------------------------------------------------------ told on the packets


def tell_packets(*, organisation: Organisation, as_of: datetime) -> int:
    """Tells each sealed packet what of its job was deleted since it was last told; returns how many."""
    deletions: dict[Any, list[Deletion]] = {}
    rows = _to_be_told(Deletion.objects.filter(removed_at__gte=as_of - TOLD_WITHIN, job__isnull=False))
    for row in rows:
        deletions.setdefault(row.job_id, []).append(row)
    packets = Packet.objects.filter(state="sealed", job_id__in=deletions, organisation=organisation)
    return sum(
        _tell_fresh(packet, deletions[packet.job_id], as_of)
        for packet in packets.select_related("job__location").order_by("pk")
    )


def tell_packet(*, packet: Packet, as_of: datetime) -> bool:
    """The same for one sealed packet, of whatever age: before a bundle of it is made."""
    rows = _to_be_told(Deletion.objects.filter(removed_at__isnull=False, job_id=packet.job_id))
    return _tell_fresh(packet, list(rows), as_of)


def _to_be_told(rows: QuerySet[Deletion]) -> QuerySet[Deletion]:
    rows = rows.select_related("job__location", "organisation")
    return rows.exclude(kind__in=("download_addresses", "derived_pictures")).order_by("subject")


def _tell_fresh(packet: Packet, rows: list[Deletion], as_of: datetime) -> bool:
    """Tells the packet those of the deletions that concern it and that it was not told yet."""
    known = _already_told(packet)
    fresh = [row for row in rows if str(row.pk) not in known and row.packet_id in (None, packet.pk)]
    if fresh:
        _tell(packet, fresh, as_of)
    return bool(fresh)


def _already_told(packet: Packet) -> set[str]:
    rows = PacketAddition.objects.filter(packet=packet, kind="retention").values_list("facts", flat=True)
    return {str(item["deletion"]) for facts in rows for item in facts.get("deleted", ())}


def _tell(packet: Packet, rows: list[Deletion], as_of: datetime) -> None:
    tz = packet.job.location.tz
    said = [row.words for row in rows[:MOST_SAID]]
    more = f" and {len(rows) - len(said)} more" if len(rows) > len(said) else ""
    days = sorted({row.removed_at for row in rows if row.removed_at is not None})
    erased = any(row.why == "erasure" for row in rows)
    why = "erased at a person's request" if erased else "deleted under the operator's retention policy"
    text = (
        f"On {day_words(days[0], tz)} these were {why}: {'; '.join(said)}{more}. Of each file its SHA-256 "
        f"remains: tree, root and log of this packet can be checked as before. Whoever holds a copy of a "
        f"file can still show by its SHA-256 that it is the one. The log was not shortened."
    )
    facts = {
        "deleted": [
            {
                "deletion": str(row.pk),
                "what": row.words,
                "why": row.why,
                "rule": row.rule,
                "sha256": row.sha256,
                "at": row.removed_at.isoformat() if row.removed_at is not None else "",
                "on": local_day_of(row).isoformat(),
            }
            for row in rows
        ]
    }
    add_to_packet(packet=packet, kind="retention", text=text, facts=facts, as_of=as_of, who=PROGRAM)


def _log(row: Deletion, as_of: datetime, who: str, what: str, **more: str) -> None:
    append(
        organisation=row.organisation,
        at=as_of,
        who=who,
        device="",
        what=what,
        target=f"job/{row.job_id}" if row.job_id is not None else row.subject,
        detail={
            "deletion": str(row.pk),
            "kind": row.kind,
            "subject": row.subject,
            "sha256": row.sha256,
            "bytes": row.size_bytes,
            "rule": row.rule,
            "plan": row.plan_sha256,
            **more,
        },
    )
