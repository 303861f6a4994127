"""The mail of a head: what it says, who gets it, and that one bad address stops nothing."""

import json
import re
import smtplib
from email import message_from_bytes
from email.policy import default
from typing import Any

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.test import override_settings

from jobs import outbox, tasks
from jobs.errors import Refused
from jobs.ledger.heads import head_of
from jobs.models import LogEntry, OutboxEntry, Person, TreeHead, unscoped
from jobs.moment import machine_now
from jobs.selectors.heads import MAIL_HEAD, not_delivered
from jobs.services import heads
from jobs.services.head_mail import send_head, set_own_address, subject_of, text_of
from jobs.services.signing_keys import make_demo_key
from rules.canonical import sha256_hex
from rules.seal.log_proofs import shows_consistency
from rules.seal.tree_head import head_fault, read_head
from tests.factories import PersonFactory
from tests.jobs.ledger import logs
from tests.jobs.shop import Shop


@pytest.fixture
def head(shop: Shop) -> TreeHead:
    """The second day's head, so that there is one before it; two managers have an address."""
    make_demo_key(organisation=shop.organisation, as_of=shop.at("06:00"))
    shop.people["tachterly"].email = "tobin@achterly.example"
    shop.people["tachterly"].save(update_fields=("email",))
    PersonFactory.create(
        organisation=shop.organisation, login="other", roles=["location_manager"],
        email="refuses@brackwater.example",
    )  # fmt: skip
    logs.write(shop.organisation, 3)
    heads.publish_head(organisation=shop.organisation, as_of=shop.at("06:30"))
    OutboxEntry.objects.filter(task=MAIL_HEAD).update(state="done")
    logs.write(shop.organisation, 8)
    made = heads.publish_head(organisation=shop.organisation, as_of=shop.at("06:30", days=1))
    assert made is not None
    return made


def send(shop: Shop, head: TreeHead, login: str = "tachterly") -> Any:
    assert send_head(head_id=head.pk, person_id=Person.objects.get(login=login).pk)
    return message_from_bytes(mail.outbox[-1].message().as_bytes(), policy=default)


def test_the_mail_holds_the_head_in_words_and_as_a_file(shop: Shop, head: TreeHead) -> None:
    message = send(shop, head)
    assert message["To"] == "tobin@achterly.example"
    assert message["Subject"] == f"Head of the log, 6 May 2026: {head.size} entries, Brackwater Repair Group"
    assert message["Auto-Submitted"] == "auto-generated"
    body = message.get_body(("plain",)).get_content()
    assert message.get_body(("html",)) is None
    assert max(len(line) for line in body.splitlines()) <= 78
    joined = re.sub(r"\s+", "", body)
    for digest in (head.root, sha256_hex(bytes(head.signature)), head.key_sha256):
        assert digest in joined
    groups = re.findall(r"(?:[0-9a-f]{4} ){7}[0-9a-f]{4}", body)
    assert len(groups) == 6
    assert "".join(groups[:2]).replace(" ", "") == head.root
    for words in (
        f"Entries     {head.size}",
        head.at,
        "DEMONSTRATION",
        "To keep it:",
        "To compare it:",
        "5 May 2026",
    ):
        assert words in body, words
    (attached,) = message.iter_attachments()
    assert (attached.get_filename(), attached.get_content_type()) == (
        "head-2026-05-06.json",
        "application/json",
    )
    told = json.loads(attached.get_content())
    kept = read_head(told["head"])
    assert kept == head_of(head)
    assert head_fault(kept, bytes.fromhex(told["head_signature"]), bytes.fromhex(told["certificate"])) == ""
    before = read_head(told["before"])
    path = [bytes.fromhex(step) for step in told["consistency"]]
    assert shows_consistency(before.size, kept.size, before.root_bytes, kept.root_bytes, path)


def test_nothing_of_the_record_is_in_the_mail(shop: Shop, head: TreeHead) -> None:
    text = str(send(shop, head))
    for secret in ("itolvaar", "EM-2026", "evidence.added", "Tolvaar", "Tobin Achterly"):
        assert secret not in text, secret


@override_settings(WM_PUBLIC_ADDRESS="https://portal.brackwater.example")
def test_the_addresses_to_compare_at_are_named_where_they_are_known(shop: Shop, head: TreeHead) -> None:
    text = re.sub(r"\s+", " ", text_of(head))
    assert "https://portal.brackwater.example/heads, enter" in text
    assert f"https://portal.brackwater.example/heads/{shop.organisation.pk}/ and check" in text


def test_an_unsigned_first_head_says_so(shop: Shop) -> None:
    logs.write(shop.organisation)
    made = heads.publish_head(organisation=shop.organisation, as_of=shop.at("06:30"))
    assert made is not None
    text = text_of(made)
    assert "none: no signing key is set up" in text
    assert "This is the first head of this record." in text
    assert "DEMONSTRATION" not in text


def test_a_name_with_line_ends_makes_no_header(shop: Shop, head: TreeHead) -> None:
    head.organisation.name = "Brackwater\r\nBcc: somebody@else.example"
    assert "\n" not in subject_of(head)
    assert "\r" not in subject_of(head)
    assert "\nBcc:" not in text_of(head)


def test_who_has_no_address_any_more_gets_nothing(shop: Shop, head: TreeHead) -> None:
    person = shop.people["tachterly"]
    person.email = ""
    person.save(update_fields=("email",))
    assert not send_head(head_id=head.pk, person_id=person.pk)
    person.email, person.is_active = "tobin@achterly.example", False
    person.save(update_fields=("email", "is_active"))
    assert not send_head(head_id=head.pk, person_id=person.pk)
    assert mail.outbox == []


class RefusesOne(EmailBackend):
    """A mail server that does not know one of the addresses."""

    def send_messages(self, messages: Any) -> int:
        messages = list(messages)
        for message in messages:
            if "refuses@brackwater.example" in message.to:
                raise smtplib.SMTPRecipientsRefused({"refuses@brackwater.example": (550, b"unknown")})
        return super().send_messages(messages)


def carry_out_all() -> None:
    """The worker's part, with every wait over, until nothing is left."""
    for _ in range(10):
        for row in OutboxEntry.objects.filter(task=MAIL_HEAD, state="waiting"):
            OutboxEntry.objects.filter(pk=row.pk).update(available_at=None)
            tasks.mail_head(row.pk)


@override_settings(EMAIL_BACKEND=f"{__name__}.RefusesOne")
def test_one_failing_address_stops_nothing_and_is_told(shop: Shop, head: TreeHead) -> None:
    carry_out_all()
    assert [message.to for message in mail.outbox] == [["tobin@achterly.example"]]
    states = dict(
        OutboxEntry.objects.filter(task=MAIL_HEAD, arguments__head=head.pk).values_list("key", "state")
    )
    refuses = Person.objects.get(login="other")
    assert sorted(states.values()) == ["dead", "done"]
    assert states[f"{head.pk}/{refuses.pk}"] == "dead"
    assert not_delivered(shop.organisation, head) == (refuses.pk,)
    entry = LogEntry.objects.get(what="head.not_delivered")
    assert entry.target == f"person/{refuses.pk}"
    assert json.loads(entry.detail) == {
        "size": head.size, "root": head.root, "error": "SMTPRecipientsRefused",
    }  # fmt: skip
    assert "@" not in entry.detail
    # The next day's head is made and sent all the same.
    assert heads.publish_head(organisation=shop.organisation, as_of=shop.at("06:30", days=2))
    carry_out_all()
    assert len(mail.outbox) == 2


def test_a_mail_that_fails_once_is_sent_by_the_next_try(
    shop: Shop, head: TreeHead, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[int] = []

    def flaky(**which: Any) -> bool:
        calls.append(1)
        if len(calls) == 1:
            raise OSError("the mail server does not answer")
        return send_head(**which)

    monkeypatch.setattr(tasks, "send_head", flaky)
    row = OutboxEntry.objects.filter(task=MAIL_HEAD, state="waiting").first()
    assert row is not None
    assert tasks.mail_head(row.pk) == "waiting"
    assert mail.outbox == []
    OutboxEntry.objects.filter(pk=row.pk).update(available_at=machine_now())
    assert tasks.mail_head(row.pk) == "done"
    assert tasks.mail_head(row.pk) == "not_leased"
    assert len(mail.outbox) == 1
    assert outbox.MAX_ATTEMPTS == 3


@pytest.mark.parametrize(
    "address",
    [
        "nobody",
        "a@b",
        "a@b.example\r\nBcc: c@d.example",
        "a b@c.example",
        "@c.example",
        "x" * 250 + "@c.example",
    ],
)
def test_what_is_no_address_is_not_kept(shop: Shop, address: str) -> None:
    with pytest.raises(Refused) as refused:
        set_own_address(actor=shop.actor("tachterly"), address=address, as_of=shop.at("09:00"))
    assert refused.value.code == "bad_address"
    assert Person.objects.get(login="tachterly").email == ""
    assert not LogEntry.objects.filter(what__startswith="address.").exists()


def test_an_address_is_kept_and_taken_away_and_stays_out_of_the_log(shop: Shop) -> None:
    actor = shop.actor("tachterly")
    assert set_own_address(actor=actor, address=" tobin@achterly.example ", as_of=shop.at("09:00"))
    assert Person.objects.get(login="tachterly").email == "tobin@achterly.example"
    assert set_own_address(actor=actor, address="", as_of=shop.at("09:01")) == ""
    assert Person.objects.get(login="tachterly").email == ""
    with unscoped():
        kept = LogEntry.objects.filter(what__startswith="address.").order_by("n")
        assert [(row.what, row.target, row.detail) for row in kept] == [
            ("address.set", f"person/{actor.person.pk}", "{}"),
            ("address.removed", f"person/{actor.person.pk}", "{}"),
        ]
