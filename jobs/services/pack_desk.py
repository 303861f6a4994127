"""Rule packs: exact bytes come in as a draft, are checked, are approved by a second person, and take effect
on their day; a text that proves wrong is withdrawn."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import QuerySet

from jobs.access import Actor, actor_for_person
from jobs.errors import Conflict, NotAllowed, Refused
from jobs.models import Job, PackAcknowledgement, PackEditionOnFile, Person
from jobs.services import assessment_queue, later_events, recording, values
from jobs.services.pack_review import Report, faulty, readable, report_on
from rules.canonical import sha256_hex
from rules.packs.errors import PackError
from rules.packs.model import PackEdition
from rules.packs.reader import read_pack

PUBLISHERS: Final = ("quality_manager", "operations_manager")
APPROVERS: Final = ("quality_reviewer", "quality_manager", "operations_manager")
SEVERITIES: Final = ("information", "caution", "safety")
MOST_BYTES: Final = 2_000_000


def publish_pack(
    *, actor: Actor, as_of: datetime, data: bytes, approved_by: str, name: str = "pack"
) -> PackEditionOnFile:
    """The whole way in one transaction: draft, every warning acknowledged by ``actor``, approved by another.

    For loading a world and for the command line, where both people are there.

    Raises:
        Refused: ``pack_too_large``; ``pack_faulty`` with ``faults``; ``unknown_reference``.
        NotAllowed: ``role_missing``; ``same_person`` (the approver is the publisher).
        Conflict: as :func:`upload_draft` and :func:`approve`.
    """
    recording.require_role(actor, *PUBLISHERS)
    edition = _read(data, name)
    approver = _approver(actor, approved_by)
    with transaction.atomic():
        there = _published(actor, edition)
        if there is not None:
            return there
        row = upload_draft(actor=actor, as_of=as_of, data=data, name=name)
        report = report_on(row, as_of=as_of)
        if report.open_names:
            acknowledge(row=row, actor=actor, as_of=as_of, names=report.open_names)
        second = actor_for_person(approver, as_of=as_of)
        return approve(row=row, actor=second, as_of=as_of, sha256=row.sha256)


# ------------------------------------------------------------------ a draft


@transaction.atomic
def upload_draft(
    *,
    actor: Actor,
    as_of: datetime,
    data: bytes,
    name: str = "pack",
    named: tuple[str, int] | None = None,
) -> PackEditionOnFile:
    """Keeps a text as the draft of its edition; another text replaces it, the same text changes nothing.

    Warnings that were acknowledged stay with the text they were acknowledged for.

    Args:
        named: the pack and edition that the text must name; None: whichever it names.

    Raises:
        Refused: ``pack_too_large``; ``other_edition``; ``pack_faulty`` with ``faults`` where it cannot be
            read.
        NotAllowed: ``role_missing``.
        Conflict: ``edition_exists`` (published, with another text), ``edition_not_next``.
    """
    recording.require_role(actor, *PUBLISHERS)
    edition = _read(data, name)
    if named is not None and named != (edition.pack, edition.edition):
        raise Refused("other_edition", f"The text is {edition.pack}, edition {edition.edition}.")
    there = _published(actor, edition)
    if there is not None:
        return there
    _check_number(actor, edition)
    row = _rows(actor, edition.pack).filter(edition=edition.edition).first()
    if row is not None and row.sha256 == edition.sha256:
        return row
    row = row or PackEditionOnFile(
        organisation=actor.organisation, pack=edition.pack, edition=edition.edition, state="draft"
    )
    row.title = edition.title[:200]
    row.source = data
    row.sha256 = sha256_hex(data)
    row.in_force_from = edition.in_force_from
    row.written_by = actor.person
    row.written_at = as_of
    row.save()
    _log(actor, as_of, "pack.drafted", row, {"sha256": row.sha256, "from": row.in_force_from.isoformat()})
    return row


def _read(data: bytes, name: str) -> PackEdition:
    if len(data) > MOST_BYTES:
        raise Refused("pack_too_large", f"A pack has at most {MOST_BYTES:,} bytes.")
    try:
        return read_pack(data, name=name)
    except PackError as error:
        raise faulty(error.faults) from error


def _rows(actor: Actor, pack: str) -> QuerySet[PackEditionOnFile]:
    """All editions of one pack; whoever changes one waits here for whoever changes another."""
    rows = PackEditionOnFile.objects.select_for_update(of=("self",))
    return rows.filter(organisation=actor.organisation, pack=pack).order_by("edition")


def _published(actor: Actor, edition: PackEdition) -> PackEditionOnFile | None:
    rows = PackEditionOnFile.objects.filter(
        organisation=actor.organisation, pack=edition.pack, edition=edition.edition
    )
    row = rows.exclude(state="draft").first()
    if row is not None and row.sha256 != edition.sha256:
        raise Conflict("edition_exists", f"{edition.pack} {edition.edition} is published with another text.")
    return row


def _check_number(actor: Actor, edition: PackEdition) -> None:
    last = _rows(actor, edition.pack).exclude(state="draft").last()
    if last is not None and edition.edition <= last.edition:
        raise Conflict(
            "edition_not_next", f"Edition {last.edition} is published; give this text a higher number."
        )


@transaction.atomic
def acknowledge(
    *, row: PackEditionOnFile, actor: Actor, as_of: datetime, names: Sequence[str]
) -> tuple[PackAcknowledgement, ...]:
    """Lets warnings of a draft stand, each by its name; kept with who read it and when.

    Raises:
        NotAllowed: ``role_missing``.
        Refused: ``pack_faulty``; ``unknown_warning`` with the names that are no warning of this text.
        Conflict: ``not_a_draft``.
    """
    recording.require_role(actor, *APPROVERS)
    row = _draft(actor, row)
    report = report_on(row, as_of=as_of)
    words = {fault.name: fault.message for fault in report.warnings}
    unknown = [name for name in names if name not in words]
    if unknown:
        message = "These are no warnings about this text."
        raise Refused("unknown_warning", message, names=unknown[:50])
    new = [name for name in dict.fromkeys(names) if name in report.open_names]
    made = tuple(
        PackAcknowledgement(
            organisation=actor.organisation,
            edition_on_file=row,
            sha256=row.sha256,
            name=name,
            words=words[name],
            by=actor.person,
            at=as_of,
        )
        for name in new
    )
    for item in made:
        item.save(force_insert=True)
    if made:
        _log(actor, as_of, "pack.warnings_acknowledged", row, {"sha256": row.sha256, "names": new})
    return made


def _draft(actor: Actor, row: PackEditionOnFile) -> PackEditionOnFile:
    """The row under the lock of its pack."""
    found = next((one for one in _rows(actor, row.pack) if one.pk == row.pk), None)
    if found is None or found.state != "draft":
        raise Conflict("not_a_draft", "This edition is not a draft any more.")
    return found


# ------------------------------------------------------------------ approval


@transaction.atomic
def approve(*, row: PackEditionOnFile, actor: Actor, as_of: datetime, sha256: str) -> PackEditionOnFile:
    """A second person approves the text, and it is published: it ends the edition before it on its own day.

    Args:
        sha256: of the text that the approver read: another one that came in meanwhile is not approved.

    Raises:
        NotAllowed: ``role_missing``; ``same_person`` (the approver wrote it).
        Refused: ``pack_faulty`` with ``faults``.
        Conflict: ``not_a_draft``; ``draft_changed``; ``warnings_open`` with ``names``; ``edition_not_next``;
            ``from_in_the_past``; ``from_before_the_last``.
    """
    recording.require_role(actor, *APPROVERS)
    row = _draft(actor, row)
    if row.sha256 != sha256:
        raise Conflict("draft_changed", "The draft is not the text that you read. Read it again.")
    if row.written_by_id == actor.person.pk or row.written_by_id is None:
        raise NotAllowed("same_person", "Somebody else approves what you publish.")
    edition = readable(row)
    _check_number(actor, edition)
    _check_from(actor, edition, as_of)
    _check_report(report_on(row, as_of=as_of))
    return _publish(row, actor=actor, as_of=as_of)


def _check_from(actor: Actor, edition: PackEdition, as_of: datetime) -> None:
    """An edition never begins before it is published: work would have been done under a text nobody had."""
    today = as_of.astimezone(ZoneInfo(actor.organisation.default_tz)).date()
    if edition.in_force_from < today:
        raise Conflict(
            "from_in_the_past",
            f"The edition would begin on {edition.in_force_from}, before today; give a day from {today} on.",
        )
    last = _rows(actor, edition.pack).exclude(state="draft").last()
    if last is not None and edition.in_force_from < last.in_force_from:
        raise Conflict(
            "from_before_the_last",
            f"Edition {last.edition} begins on {last.in_force_from}; this one cannot begin before it.",
        )


def _check_report(report: Report) -> None:
    if report.errors:
        raise faulty(report.errors)
    if report.open_names:
        raise Conflict(
            "warnings_open",
            "Warnings about this text were not acknowledged.",
            names=list(report.open_names),
        )


def _publish(row: PackEditionOnFile, *, actor: Actor, as_of: datetime) -> PackEditionOnFile:
    _rows(actor, row.pack).filter(state="published", in_force_from__lte=row.in_force_from).update(
        state="superseded", in_force_until=row.in_force_from
    )
    row.state = "published"
    row.approved_by = actor.person
    row.published_at = as_of
    row.save()
    _judge_open_jobs(actor, as_of)
    later_events.later_event(
        organisation=actor.organisation, event="edition_replaced", subject=row.pk, as_of=as_of
    )
    detail = {
        "sha256": row.sha256,
        "from": row.in_force_from.isoformat(),
        "written_by": row.written_by.login if row.written_by is not None else "",
        "approved_by": actor.person.login,
    }
    _log(actor, as_of, "pack.published", row, detail)
    return row


def _approver(actor: Actor, login: str) -> Person:
    person = Person.objects.filter(
        organisation=actor.organisation, login=login.lower(), is_active=True
    ).first()
    if person is None or not person.has_role(*APPROVERS):
        raise values.refused("unknown_reference", "approved_by", "approved_by names nobody who may approve.")
    if person.pk == actor.person.pk:
        raise NotAllowed("same_person", "Somebody else approves what you publish.")
    return person


def _judge_open_jobs(actor: Actor, as_of: datetime) -> None:
    rows = Job.objects.filter(organisation=actor.organisation).exclude(state="archived")
    for job in rows.exclude(state="delivered"):
        assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)


# ------------------------------------------------------------------ withdrawal


@transaction.atomic
def withdraw_pack(
    *, row: PackEditionOnFile, actor: Actor, as_of: datetime, on: date, reason: str, severity: str
) -> PackEditionOnFile:
    """Withdraws an edition from a day on; a safety withdrawal takes effect today.

    Raises:
        NotAllowed: ``role_missing``.
        Conflict: ``not_published``; ``already_withdrawn``; ``from_in_the_past``.
    """
    recording.require_role(actor, *PUBLISHERS)
    today = as_of.astimezone(ZoneInfo(actor.organisation.default_tz)).date()
    severity = values.read_choice(severity, SEVERITIES, "severity")
    text = values.read_text(reason, "reason", shortest=10)
    on = today if severity == "safety" else on
    if on < today:
        raise Conflict("from_in_the_past", "A withdrawal takes effect today or later.")
    if row.state == "draft":
        raise Conflict("not_published", "A draft is not withdrawn: it never took effect.")
    moved = PackEditionOnFile.objects.filter(pk=row.pk, withdrawn_on__isnull=True).update(
        state="withdrawn",
        withdrawn_on=on,
        withdrawn_at=as_of,
        withdrawn_reason=text,
        withdrawn_severity=severity,
    )
    if moved != 1:
        raise Conflict("already_withdrawn", "This edition was withdrawn before.")
    row.refresh_from_db()
    _judge_open_jobs(actor, as_of)
    later_events.later_event(
        organisation=actor.organisation, event="edition_withdrawn", subject=row.pk, as_of=as_of
    )
    _log(actor, as_of, "pack.withdrawn", row, {"on": on.isoformat(), "severity": severity, "reason": text})
    return row


def _log(
    actor: Actor, as_of: datetime, what: str, row: PackEditionOnFile, detail: Mapping[str, object]
) -> None:
    recording.log_about(
        actor=actor,
        as_of=as_of,
        what=what,
        target=f"pack/{row.pack}/{row.edition}",
        detail={"pack": row.pack, "edition": row.edition, **detail},
    )
