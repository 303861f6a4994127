"""The mail that hands a head of the log outside: plain text to one location manager, the head attached."""

import textwrap
from datetime import date, datetime
from typing import Final
from uuid import UUID

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import EmailMessage
from django.core.validators import validate_email
from django.db import transaction

from jobs.access import Actor
from jobs.errors import Refused
from jobs.ledger.append import append
from jobs.ledger.heads import signed_plain
from jobs.models import Person, TreeHead, unscoped
from jobs.services.heads import PROGRAM
from rules.canonical import canonical_bytes, sha256_hex

LONGEST_ADDRESS: Final = 254
# RFC 5322 section 2.1.1 asks for no more than 78 characters a line.
WIDTH: Final = 78


def send_head(*, head_id: int, person_id: UUID) -> bool:
    """Sends one head to one person; false where the person has no address any more.

    Raises:
        OSError, smtplib.SMTPException: the mail server did not take it; the queue tries again.
    """
    with unscoped():
        head = TreeHead.objects.select_related("organisation", "previous").get(pk=head_id)
    person = Person.objects.filter(pk=person_id, organisation=head.organisation, is_active=True).first()
    if person is None or not person.email:
        return False
    mail = EmailMessage(
        subject=subject_of(head),
        body=text_of(head),
        from_email=settings.DEFAULT_FROM_EMAIL,
        to=[person.email],
        headers={"Auto-Submitted": "auto-generated"},
    )
    mail.attach(f"head-{head.day}.json", canonical_bytes(signed_plain(head)).decode(), "application/json")
    mail.send(fail_silently=False)
    return True


def bury_mail(*, head_id: int, person_id: UUID, error: str, as_of: datetime) -> None:
    """Notes that one head did not reach one person. The address stays out of the log."""
    with unscoped():
        head = TreeHead.objects.select_related("organisation").get(pk=head_id)
    with transaction.atomic():
        append(
            organisation=head.organisation,
            at=as_of,
            who=PROGRAM,
            device="",
            what="head.not_delivered",
            target=f"person/{person_id}",
            detail={"size": head.size, "root": head.root, "error": error.split(":", maxsplit=1)[0][:80]},
        )


def set_own_address(*, actor: Actor, address: str, as_of: datetime) -> str:
    """Where heads are sent to this person; an empty address ends it. Returns the address kept.

    Raises:
        Refused: ``bad_address``.
    """
    kept = address.strip()
    if kept:
        try:
            if len(kept) > LONGEST_ADDRESS:
                raise ValidationError("too long")
            validate_email(kept)
        except ValidationError as error:
            raise Refused("bad_address", "This is no mail address.", field="address") from error
    with transaction.atomic():
        Person.objects.filter(pk=actor.person.pk).update(email=kept)
        append(
            organisation=actor.organisation,
            at=as_of,
            who=actor.person.login,
            device="",
            what="address.set" if kept else "address.removed",
            target=f"person/{actor.person.pk}",
            detail={},
        )
    return kept


def subject_of(head: TreeHead) -> str:
    """One line whatever the organisation is called."""
    name = " ".join(head.organisation.name.split())
    return f"Head of the log, {_day(head.day)}: {_count(head.size)}, {name}"


def text_of(head: TreeHead) -> str:
    """The whole mail: what it is, the head, how to keep it and how to compare it."""
    parts = [_opening(head), _numbers(head), _tie(head), _keeping(), _comparing(head)]
    if head.is_demo:
        parts.insert(0, "DEMONSTRATION. Signed with a demonstration key: not for evidence.")
    return "\n\n".join(part for part in parts if part) + "\n"


def _opening(head: TreeHead) -> str:
    return _lines(
        f"Every entry in the record of {' '.join(head.organisation.name.split())} is numbered and hashed. The"
        " root below stands for all of them together. If anybody later changes, removes or inserts an entry"
        " up to this number, the record no longer gives this root. That is why it is sent to you: whoever"
        " runs the program cannot take it back from you."
    )


def _numbers(head: TreeHead) -> str:
    signature = sha256_hex(bytes(head.signature)) if head.signature else ""
    lines = [
        f"Day         {_day(head.day)}",
        f"Time        {head.at}",
        f"Entries     {head.size}",
        *_in_fours("Root", head.root),
        *(_in_fours("Signature", signature) if signature else ["Signature   none: no signing key is set up"]),
        *(_in_fours("Key", head.key_sha256) if head.key_sha256 else []),
        f"Record      {head.organisation_id}",
    ]
    if signature:
        lines.append("(Signature and key are shown as their SHA-256.)")
    return "\n".join(lines)


def _in_fours(title: str, digest: str) -> list[str]:
    """64 hex digits in groups of four, two lines of eight groups."""
    groups = [digest[at : at + 4] for at in range(0, len(digest), 4)]
    rows = [" ".join(groups[at : at + 8]) for at in range(0, len(groups), 8)]
    return [f"{title if place == 0 else '':<12}{row}" for place, row in enumerate(rows)]


def _tie(head: TreeHead) -> str:
    if head.previous is None:
        return "This is the first head of this record."
    before = head.previous
    return _lines(
        f"The head before it, of {_day(before.day)} with {_count(before.size)}, is the beginning of this one."
        " The proof is in the attached file."
    )


def _keeping() -> str:
    return _lines(
        "To keep it: leave this mail where it is, or print it. One of them is enough for all entries before"
        " it; older ones show more about the time before."
    )


def _comparing(head: TreeHead) -> str:
    address = settings.WM_PUBLIC_ADDRESS
    page = f"{address}/heads" if address else 'the page "Heads of the log"'
    feed = f"{address}/heads/{head.organisation_id}/" if address else "the record's public list of heads"
    return _lines(
        f"To compare it: open {page} , enter the number of entries and the root, and read whether the record"
        f" still gives the same. To trust no page for it: take a later head and the proof between both from"
        f" {feed} and check them with any program for proofs of RFC 9162."
    ).replace(" ,", ",")


def _lines(text: str) -> str:
    return textwrap.fill(text, WIDTH, break_long_words=False, break_on_hyphens=False)


def _day(day: date | None) -> str:
    return "" if day is None else f"{day.day} {day:%B %Y}"


def _count(size: int) -> str:
    return f"{size} entr{'y' if size == 1 else 'ies'}"
