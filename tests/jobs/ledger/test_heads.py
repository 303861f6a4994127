"""Heads as they are signed, kept and tied to the daily head before; and what is refused a signature."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from jobs.errors import Conflict, Unavailable
from jobs.ledger.heads import head_of, newest_daily, sign_head
from jobs.models import TreeHead, unscoped
from rules.merkle import tree_root
from rules.seal.log_proofs import shows_consistency
from rules.seal.tree_head import head_fault
from tests.jobs import rows
from tests.jobs.ledger import logs
from tests.jobs.rows import NOON
from tests.record_guards import without_guards

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _open() -> Iterator[None]:
    with unscoped():
        yield


def test_a_head_is_over_exactly_so_many_entries_and_its_signature_holds() -> None:
    owner, by = rows.organisation(), logs.signer()
    logs.write(owner, 5)
    head = sign_head(organisation=owner, size=3, as_of=NOON, signer=by)
    assert head.root == tree_root(logs.leaves_of(owner)[:3]).hex()
    assert (head.size, head.at, head.is_daily, head.day) == (3, "2026-05-12T17:00:00.000000Z", False, None)
    assert by.signed == [head_of(head).signed_bytes()]
    kept = TreeHead.objects.get()
    assert head_fault(head_of(kept), bytes(kept.signature), bytes(kept.certificate)) == ""
    assert (kept.key_sha256, kept.chain, kept.is_demo) == (by.key_sha256, [], False)
    assert (kept.previous, kept.consistency) == (None, [])


def test_each_head_is_tied_to_the_newest_daily_one() -> None:
    owner, by = rows.organisation(), logs.signer()
    logs.write(owner, 3)
    first = logs.daily(owner, by)
    logs.write(owner, 4, start=3)
    with_packet = logs.sealing(owner, by)
    assert with_packet.previous == first
    logs.write(owner, 2, start=7)
    second = logs.daily(owner, by, days=1)
    assert second.previous == first
    assert newest_daily(owner) == second
    leaves = logs.leaves_of(owner)
    for head in (with_packet, second):
        path = [bytes.fromhex(step) for step in head.consistency]
        roots = tree_root(leaves[:3]), tree_root(leaves[: head.size])
        assert path
        assert shows_consistency(3, head.size, *roots, path)
    third = logs.daily(owner, by, days=2)
    assert (third.size, third.previous, third.consistency) == (9, second, [])


def test_without_a_key_a_head_is_kept_unsigned() -> None:
    owner = rows.organisation()
    logs.write(owner)
    head = logs.daily(owner, None)
    assert (bytes(head.signature), head.key_sha256, bytes(head.certificate)) == (b"", "", b"")


def test_an_empty_log_has_no_head() -> None:
    with pytest.raises(ValueError, match="empty"):
        sign_head(organisation=rows.organisation(), size=0, as_of=NOON, signer=None)
    assert not TreeHead.objects.exists()


def test_nothing_is_signed_over_a_log_that_is_not_the_one_handed_outside() -> None:
    owner, by = rows.organisation(), logs.signer()
    logs.write(owner, 4)
    logs.daily(owner, by)
    by.signed.clear()
    with without_guards():
        logs.execute("UPDATE jobs_logentry SET who = 'somebody' WHERE n = 2")
    with pytest.raises(Conflict) as differs:
        logs.daily(owner, by, days=1)
    assert differs.value.code == "log_differs_from_head"
    with without_guards():
        logs.execute("UPDATE jobs_logentry SET who = 'itolvaar' WHERE n = 2")
        logs.execute("DELETE FROM jobs_logentry WHERE n = 4")
        logs.execute("UPDATE jobs_ledgerhead SET n = 3")
    with pytest.raises(Conflict) as shorter:
        logs.sealing(owner, by)
    assert shorter.value.code == "log_shorter_than_head"
    assert by.signed == []
    assert TreeHead.objects.count() == 1


@pytest.mark.parametrize(
    ("wrong", "fault"),
    [
        (lambda: logs.TestSigner(number=0, certificate_der=logs.signer(1).certificate_der), "bad_signature"),
        (lambda: logs.TestSigner(number=0, certificate_der=b"no certificate"), "bad_certificate"),
    ],
)
def test_a_key_that_does_not_fit_its_certificate_signs_nothing(wrong: Any, fault: str) -> None:
    owner = rows.organisation()
    logs.write(owner)
    with pytest.raises(Unavailable) as refused:
        logs.sealing(owner, wrong())
    assert (refused.value.code, refused.value.extra["fault"]) == ("head_signature_does_not_hold", fault)
    assert not TreeHead.objects.exists()


@pytest.mark.parametrize(("days", "taken"), [(-200, False), (0, True), (3000, False)])
def test_the_certificate_has_to_be_valid_when_the_head_is_made(days: int, taken: bool) -> None:
    owner = rows.organisation()
    logs.write(owner)
    at = NOON + timedelta(days=days)
    if taken:
        assert logs.sealing(owner, logs.signer(), at=at).signature
        return
    with pytest.raises(Unavailable) as refused:
        logs.sealing(owner, logs.signer(), at=at)
    assert refused.value.extra["fault"] == "outside_validity"


def test_a_day_has_one_head_and_heads_never_change() -> None:
    owner = rows.organisation()
    logs.write(owner)
    head = logs.daily(owner, logs.signer())
    with pytest.raises(IntegrityError), transaction.atomic():
        logs.daily(owner, logs.signer())
    kept = TreeHead.objects.filter(pk=head.pk)
    columns = (
        "organisation_id, size, root, at, is_daily, day, signature, key_sha256, certificate, chain, is_demo, "
        "consistency"
    )
    copy = f"SELECT {columns.replace('root', 'at')} FROM jobs_treehead"  # noqa: S608
    over = {
        "sqlite": f"INSERT OR REPLACE INTO jobs_treehead ({columns}) {copy}",
        "postgresql": f"INSERT INTO jobs_treehead ({columns}) {copy} ON CONFLICT (organisation_id, day) "
        "WHERE is_daily DO UPDATE SET root = EXCLUDED.root",
    }
    for act in (
        lambda: kept.update(root="0" * 64),
        lambda: kept.update(signature=b""),
        lambda: kept.update(previous=head),
        kept.delete,
        lambda: logs.execute("DELETE FROM jobs_treehead"),
        lambda: logs.execute(over[connection.vendor]),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            act()
    assert TreeHead.objects.get().root == head.root
