"""Rule packs: exact bytes come in, are checked, are approved by a second person, and take effect on
their day."""

from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from django.db import transaction

from jobs.access import Actor
from jobs.errors import Conflict, NotAllowed, Refused
from jobs.facts import pack_set
from jobs.models import Job, PackEditionOnFile, Person
from jobs.services import assessment_queue, recording, values
from rules.canonical import sha256_hex
from rules.examples import run_examples
from rules.packs.errors import Fault, PackError
from rules.packs.linter import lint
from rules.packs.model import PackEdition
from rules.packs.reader import read_pack

PUBLISHERS: Final = ("quality_manager", "operations_manager")
APPROVERS: Final = ("quality_reviewer", "quality_manager", "operations_manager")
SEVERITIES: Final = ("information", "caution", "safety")
MOST_BYTES: Final = 2_000_000


def publish_pack(
    *, actor: Actor, as_of: datetime, data: bytes, approved_by: str, name: str = "pack"
) -> PackEditionOnFile:
    """Publishes one edition: stores its exact bytes, and ends the edition before it on this one's first day.

    Raises:
        Refused: ``pack_too_large``; ``pack_faulty`` with ``faults`` (line, code, message).
        NotAllowed: ``role_missing``; ``same_person`` (the approver is the publisher).
        Conflict: ``edition_exists`` with other bytes, ``from_in_the_past``.
    """
    recording.require_role(actor, *PUBLISHERS)
    if len(data) > MOST_BYTES:
        raise Refused("pack_too_large", f"A pack has at most {MOST_BYTES:,} bytes.")
    try:
        edition = read_pack(data, name=name)
    except PackError as error:
        raise _faulty(error.faults) from error
    approver = _approver(actor, approved_by)
    with transaction.atomic():
        there = _there(actor, edition)
        if there is not None:
            return there
        _check_from(actor, edition, as_of)
        _check_text(actor, edition)
        return _kept(edition, data, approver, actor=actor, as_of=as_of)


def _faulty(faults: tuple[Fault, ...]) -> Refused:
    listed = [{"line": fault.line, "code": fault.code, "message": fault.message} for fault in faults]
    return Refused("pack_faulty", "The pack has faults; nothing was published.", faults=listed)


def _approver(actor: Actor, login: str) -> Person:
    person = Person.objects.filter(
        organisation=actor.organisation, login=login.lower(), is_active=True
    ).first()
    if person is None or not person.has_role(*APPROVERS):
        raise values.refused("unknown_reference", "approved_by", "approved_by names nobody who may approve.")
    if person.pk == actor.person.pk:
        raise NotAllowed("same_person", "Somebody else approves what you publish.")
    return person


def _there(actor: Actor, edition: PackEdition) -> PackEditionOnFile | None:
    row = PackEditionOnFile.objects.filter(
        organisation=actor.organisation, pack=edition.pack, edition=edition.edition
    ).first()
    if row is not None and row.sha256 != edition.sha256:
        raise Conflict("edition_exists", f"{edition.pack} {edition.edition} is published with another text.")
    return row


def _check_from(actor: Actor, edition: PackEdition, as_of: datetime) -> None:
    """An edition never begins before it is published: work would have been done under a text nobody had."""
    today = as_of.astimezone(ZoneInfo(actor.organisation.default_tz)).date()
    if edition.in_force_from < today:
        raise Conflict(
            "from_in_the_past",
            f"The edition would begin on {edition.in_force_from}, before today; give a day from {today} on.",
        )


def _check_text(actor: Actor, edition: PackEdition) -> None:
    """Linter and examples in the company of the packs that will be in force beside it."""
    on_its_day = pack_set(actor.organisation).in_force(edition.in_force_from)
    beside = tuple(item for item in on_its_day if item.pack != edition.pack)
    found = list(lint(edition, beside))
    found += [
        Fault(item.line, f"example {item.name}: {item.message}", "example_failed")
        for item in run_examples(edition, beside)
        if item.outcome == "failed"
    ]
    if found:
        raise _faulty(tuple(found))


def _kept(
    edition: PackEdition, data: bytes, approver: Person, *, actor: Actor, as_of: datetime
) -> PackEditionOnFile:
    rows = PackEditionOnFile.objects.filter(organisation=actor.organisation, pack=edition.pack)
    rows.filter(state="published", in_force_from__lte=edition.in_force_from).update(
        state="superseded", in_force_until=edition.in_force_from
    )
    row = PackEditionOnFile(
        organisation=actor.organisation,
        pack=edition.pack,
        edition=edition.edition,
        title=edition.title[:200],
        source=data,
        sha256=sha256_hex(data),
        state="published",
        in_force_from=edition.in_force_from,
        approved_by=approver,
        published_at=as_of,
    )
    row.save(force_insert=True)
    _judge_open_jobs(actor, as_of)
    recording.log_about(
        actor=actor,
        as_of=as_of,
        what="pack.published",
        target=f"pack/{row.pack}/{row.edition}",
        detail={
            "pack": row.pack,
            "edition": row.edition,
            "sha256": row.sha256,
            "from": row.in_force_from.isoformat(),
            "approved_by": approver.login,
        },
    )
    return row


def _judge_open_jobs(actor: Actor, as_of: datetime) -> None:
    rows = Job.objects.filter(organisation=actor.organisation).exclude(state="archived")
    for job in rows.exclude(state="delivered"):
        assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)


@transaction.atomic
def withdraw_pack(
    *, row: PackEditionOnFile, actor: Actor, as_of: datetime, on: date, reason: str, severity: str
) -> PackEditionOnFile:
    """Withdraws an edition from a day on; a safety withdrawal takes effect today.

    Raises:
        Conflict: ``already_withdrawn``; ``from_in_the_past``.
    """
    recording.require_role(actor, *PUBLISHERS)
    today = as_of.astimezone(ZoneInfo(actor.organisation.default_tz)).date()
    severity = values.read_choice(severity, SEVERITIES, "severity")
    text = values.read_text(reason, "reason", shortest=10)
    on = today if severity == "safety" else on
    if on < today:
        raise Conflict("from_in_the_past", "A withdrawal takes effect today or later.")
    moved = PackEditionOnFile.objects.filter(pk=row.pk, withdrawn_on__isnull=True).update(
        state="withdrawn", withdrawn_on=on, withdrawn_reason=text, withdrawn_severity=severity
    )
    if moved != 1:
        raise Conflict("already_withdrawn", "This edition was withdrawn before.")
    row.refresh_from_db()
    _judge_open_jobs(actor, as_of)
    recording.log_about(
        actor=actor,
        as_of=as_of,
        what="pack.withdrawn",
        target=f"pack/{row.pack}/{row.edition}",
        detail={"on": on.isoformat(), "severity": severity, "reason": text},
    )
    return row
