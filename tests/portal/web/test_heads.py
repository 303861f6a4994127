"""The manager's page on the heads of the log: told in words, a kept head compared, one's own address kept."""

import re
from datetime import timedelta

import pytest
from django.test import Client, override_settings

from jobs.ledger.tree import size_of
from jobs.models import LogEntry, OutboxEntry, Person, TreeHead, unscoped
from jobs.selectors.heads import MAIL_HEAD
from jobs.services.due import local_day
from portal.clock import now
from tests.jobs.ledger import logs
from tests.portal.cast import Cast
from tests.portal.web.reading import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def head(cast: Cast) -> TreeHead:
    """Today's head, and yesterday's before it."""
    owner = cast.eastmarch.organisation
    with unscoped():
        logs.write(owner, 5)
        today = local_day(owner, now())
        by = logs.signer()
        yesterday = logs.sign_head(
            organisation=owner, size=size_of(owner.pk), as_of=now() - timedelta(days=1), signer=by,
            day=today - timedelta(days=1),
        )  # fmt: skip
        logs.write(owner, 3)
        made = logs.sign_head(organisation=owner, size=size_of(owner.pk), as_of=now(), signer=by, day=today)
        assert made.previous == yesterday
    return made


def fours(digest: str) -> str:
    return " ".join(digest[at : at + 4] for at in range(0, 64, 4))


def test_managers_see_the_heads_and_nobody_else(
    cast: Cast, head: TreeHead, manager: Client, operations: Client, worker: Client
) -> None:
    for client in (manager, operations):
        answer = client.get("/heads")
        words = text_of(answer)
        assert f"{head.size} entries stand fixed by today’s head." in words
        assert fours(head.root) in words
        assert f"/heads/{head.organisation_id}/atom" in answer.content.decode()
        assert ">Heads of the log</a>" in answer.content.decode()
    refused = worker.get("/heads")
    assert refused.status_code == 403
    assert fours(head.root) not in refused.content.decode()
    assert ">Heads of the log</a>" not in worker.get("/cars").content.decode()
    assert Client().get("/heads").status_code == 302


def test_another_organisations_heads_are_not_shown(cast: Cast, head: TreeHead, manager: Client) -> None:
    other = cast.sallow.organisation
    with unscoped():
        logs.write(other, 4)
        theirs = logs.daily(other, logs.signer(1), at=now())
    page = manager.get("/heads").content.decode()
    assert fours(head.root) in page
    assert fours(theirs.root) not in page
    assert str(other.pk) not in page
    compared = manager.get("/heads", {"entries": str(theirs.size), "root": theirs.root})
    assert "Not the same." in text_of(compared)


def test_before_the_first_head_the_page_says_so(cast: Cast, manager: Client) -> None:
    words = text_of(manager.get("/heads"))
    assert "No head has been made yet." in words
    assert "The first one is made as soon as the record has an entry." in words


def test_a_head_that_could_not_be_made_is_told_with_its_reason(cast: Cast, manager: Client) -> None:
    owner = cast.eastmarch.organisation
    with unscoped():
        OutboxEntry.objects.create(
            organisation=owner, task="jobs.publish_head", key=f"{local_day(owner, now())}T00",
            created_at=now(), state="dead", last_error="Conflict: The log is broken: hash at 2.",
        )  # fmt: skip
    words = text_of(manager.get("/heads"))
    assert "Today’s head could not be made" in words
    assert "The log is broken: hash at 2." in words


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda head: (head.size, fours(head.root)), "Same."),
        (lambda head: (head.size, head.root.upper()), "Same."),
        (lambda head: (head.size, fours(head.root)[:39] + "\n    " + fours(head.root)[40:]), "Same."),
        (lambda head: (head.previous.size, head.previous.root), "Same."),
        (lambda head: (head.size, "0" * 64), "Not the same."),
        (lambda head: (head.previous.size, head.root), "Not the same."),
        (lambda head: (head.size + 1000, head.root), "The log is shorter."),
    ],
)
def test_a_kept_head_is_compared(head: TreeHead, manager: Client, change: object, says: str) -> None:
    entries, root = change(head)  # type: ignore[operator]
    answer = manager.get("/heads", {"entries": str(entries), "root": root})
    assert answer.status_code == 200
    verdicts = [
        words for words in ("Same.", "Not the same.", "The log is shorter.") if words in text_of(answer)
    ]
    assert verdicts == [says]


@pytest.mark.parametrize(
    ("entries", "root", "status"),
    [("0", "0" * 64, 400), ("-1", "0" * 64, 400), ("x", "0" * 64, 400), ("1", "0" * 63, 422),
     ("1", "", 422), ("", "0" * 64, 400), ("1", "<script>", 422), ("9" * 16, "0" * 64, 400)],
)  # fmt: skip
def test_what_is_no_head_is_not_compared(
    head: TreeHead, manager: Client, entries: str, root: str, status: int
) -> None:
    answer = manager.get("/heads", {"entries": entries, "root": root})
    assert answer.status_code == status
    assert "Not taken" in text_of(answer)
    assert "<script>" not in answer.content.decode()


def test_who_is_written_to_and_whom_it_did_not_reach(cast: Cast, head: TreeHead, manager: Client) -> None:
    tobin = Person.objects.get(login="tobin-page")
    assert "Tobin Page: no address is set" in _people(manager)
    answer = manager.post("/heads/address", {"address": "tobin@achterly.example"})
    assert answer.status_code == 302
    page = manager.get(answer["Location"])
    assert "Heads are sent to tobin@achterly.example from now on." in text_of(page)
    assert "Tobin Page: by mail, each day" in _people(manager)
    with unscoped():
        OutboxEntry.objects.create(
            organisation=head.organisation, task=MAIL_HEAD, key=f"{head.pk}/{tobin.pk}", created_at=now(),
            state="dead", arguments={"head": head.pk, "person": str(tobin.pk)},
        )  # fmt: skip
        assert LogEntry.objects.filter(what="address.set", target=f"person/{tobin.pk}").count() == 1
    assert "Tobin Page: the last mail did not arrive" in _people(manager)
    with override_settings(WM_MAIL_IS_SET=False):
        assert "No mail server is set up: nobody is written to." in text_of(manager.get("/heads"))


def _people(client: Client) -> str:
    return re.sub(r"\s+", " ", text_of(client.get("/heads")))


def test_a_bad_address_is_not_kept_and_a_worker_keeps_none(manager: Client, worker: Client) -> None:
    answer = manager.post("/heads/address", {"address": "nobody"})
    assert answer.status_code == 422
    assert "This is no mail address." in text_of(answer)
    assert worker.post("/heads/address", {"address": "ines@tolvaar.example"}).status_code == 403
    assert not Person.objects.exclude(email="").exists()
