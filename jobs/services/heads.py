"""The daily head of the log: the whole log checked, its head signed, kept, and sent to the managers."""

from datetime import date, datetime
from typing import Final

from django.conf import settings
from django.db import transaction

from jobs import outbox
from jobs.errors import Conflict
from jobs.ledger.append import append
from jobs.ledger.heads import sign_head
from jobs.ledger.tree import size_of
from jobs.ledger.verify import verify_organisation
from jobs.models import Organisation, Person, TreeHead, unscoped
from jobs.selectors.heads import MAIL_HEAD
from jobs.services.due import local_day
from jobs.signing.identities import signer_of
from rules.canonical import sha256_hex

PROGRAM: Final = "log-heads"
RECEIVERS: Final = "location_manager"


def publish_head(*, organisation: Organisation, as_of: datetime) -> TreeHead | None:
    """Makes today's head, once: checks the log, signs and keeps it, asks for a mail to each location manager.

    Repeating it the same day gives the head there is. An empty log has no head: None.

    Raises:
        Conflict: ``log_not_whole`` (with what is wrong, and where), ``log_shorter_than_head``,
            ``log_differs_from_head``. Nothing is signed over such a log.
        jobs.errors.Unavailable: ``head_signature_does_not_hold``, or the signing key does not answer.
    """
    today = local_day(organisation, as_of)
    head = _head_of_day(organisation, today)
    if head is not None or not size_of(organisation.pk):
        return head
    report = verify_organisation(organisation)
    if not report.is_whole:
        raise Conflict(
            "log_not_whole",
            f"The log is broken: {report.fault} at {report.at_n}. No head is signed over it.",
            fault=report.fault,
            at_n=report.at_n,
        )
    return _publish(organisation, as_of, today)


def receivers_of(organisation: Organisation, on: date) -> tuple[Person, ...]:
    """The active location managers, by name; those without an address are among them."""
    people = Person.objects.filter(organisation=organisation, is_active=True).order_by("name", "pk")
    return tuple(person for person in people if person.has_role(RECEIVERS) and _is_here(person, on))


@transaction.atomic
def _publish(organisation: Organisation, as_of: datetime, today: date) -> TreeHead:
    head = sign_head(
        organisation=organisation,
        size=size_of(organisation.pk),
        as_of=as_of,
        signer=signer_of(organisation),
        day=today,
    )
    people = [person for person in receivers_of(organisation, today) if person.email]
    sent = people if settings.WM_MAIL_IS_SET else []
    for person in sent:
        outbox.enqueue(
            organisation=organisation,
            task=MAIL_HEAD,
            arguments={"head": head.pk, "person": str(person.pk)},
            key=f"{head.pk}/{person.pk}",
            at=as_of,
        )
    append(
        organisation=organisation,
        at=as_of,
        who=PROGRAM,
        device="",
        what="head.published",
        target=f"head/{head.size}",
        detail={
            "day": today.isoformat(),
            "size": head.size,
            "root": head.root,
            "signature_sha256": sha256_hex(bytes(head.signature)) if head.signature else "",
            "key_sha256": head.key_sha256,
            "mailed_to": sorted(str(person.pk) for person in sent),
        },
    )
    outbox.finish_here()
    return head


def _head_of_day(organisation: Organisation, day: date) -> TreeHead | None:
    with unscoped():
        return TreeHead.objects.filter(organisation=organisation, is_daily=True, day=day).first()


def _is_here(person: Person, on: date) -> bool:
    begun = person.active_from is None or person.active_from <= on
    return begun and (person.active_to is None or on <= person.active_to)
