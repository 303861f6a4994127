"""The verifier beyond the chain: tiles, heads, their signatures, keys and proofs; and a rewritten history."""

import dataclasses
import io
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction

from jobs.ledger import tree, verify_tiles
from jobs.ledger.chain import START, link
from jobs.ledger.heads import head_of, signed_plain
from jobs.ledger.verify import verify_organisation
from jobs.models import LogEntry, LogTile, Organisation, TreeHead, unscoped
from rules.merkle import tree_root
from tests.jobs import rows
from tests.jobs.ledger import logs
from tests.jobs.ledger.logs import execute, key_of
from tests.record_guards import without_guards


@pytest.fixture(autouse=True)
def _open() -> Iterator[None]:
    with unscoped():
        yield


@pytest.fixture
def small_tiles(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tree, "TILE", 4)
    monkeypatch.setattr(tree, "TILE_LEVELS", 2)
    monkeypatch.setattr(verify_tiles, "TILE", 4)


def a_log(size: int = 21) -> tuple[Organisation, logs.TestSigner]:
    """A log with tiles, a daily head, one with a packet, and another daily one over all of it."""
    owner, by = rows.organisation(), logs.signer()
    logs.on_record(owner, by)
    logs.write(owner, 7)
    with transaction.atomic():
        logs.daily(owner, by)
    logs.write(owner, size - 9, start=7)
    with transaction.atomic():
        logs.sealing(owner, by)
    logs.write(owner, 2, start=size - 2)
    with transaction.atomic():
        logs.daily(owner, by, days=1)
    tree.make_tiles(owner.pk)
    return owner, by


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("small_tiles")
def test_a_whole_log_is_whole() -> None:
    owner, _ = a_log()
    report = verify_organisation(owner)
    assert report.is_whole, report
    assert (report.entries, report.tiles, report.tree_heads) == (21, 6, 3)
    assert report.root == tree_root(logs.leaves_of(owner)).hex()


def change_head(column: str, value: object, which: str = "NOT is_daily") -> Callable[[Organisation], None]:
    def act(owner: Organisation) -> None:
        execute(f"UPDATE jobs_treehead SET {column} = %s WHERE {which}", value)  # noqa: S608

    return act


def forget_tie(owner: Organisation) -> None:
    execute("UPDATE jobs_treehead SET previous_id = NULL WHERE is_daily AND size = 21")


def tie_to_packet(owner: Organisation) -> None:
    execute(
        "UPDATE jobs_treehead SET previous_id = "
        "(SELECT kept.id FROM jobs_treehead kept WHERE NOT kept.is_daily) WHERE size = 21"
    )


def other_root_of_tile(owner: Organisation) -> None:
    LogTile.objects.filter(level=0, index=2).update(root=b"x" * 32)


def other_hash_in_tile(owner: Organisation) -> None:
    tile = LogTile.objects.get(level=1, index=0)
    LogTile.objects.filter(pk=tile.pk).update(hashes=b"x" + bytes(tile.hashes)[1:])


def tile_of_nothing(owner: Organisation) -> None:
    LogTile.objects.create(organisation=owner, level=0, index=5, hashes=b"x" * 128, root=b"x" * 32)


def tile_far_up(owner: Organisation) -> None:
    LogTile.objects.create(organisation=owner, level=3, index=0, hashes=b"x" * 128, root=b"x" * 32)


def longer_head(owner: Organisation) -> None:
    TreeHead.objects.create(organisation=owner, size=22, root="0" * 64, at="2026-05-12T17:00:00Z")


def strange_key(owner: Organisation) -> None:
    logs.sealing(owner, logs.signer(5))


SIGNED = "2026-05-12T17:00:00.000001Z"


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("small_tiles")
@pytest.mark.parametrize(
    ("tamper", "fault", "at_n"),
    [
        (other_root_of_tile, "tile", 12),
        (other_hash_in_tile, "tile", 16),
        (tile_of_nothing, "tile", 24),
        (tile_far_up, "tile", 256),
        (change_head("root", "0" * 64), "head_root", 19),
        (change_head("size", 18), "head_root", 18),
        (longer_head, "head_root", 22),
        (change_head("at", SIGNED), "head_signature", 19),
        (change_head("at", "yesterday"), "head_signature", 19),
        (change_head("signature", b""), "head_signature", 19),
        (change_head("signature", b"x" * 256), "head_signature", 19),
        (change_head("certificate", b""), "head_signature", 19),
        (change_head("certificate", logs.signer(5).certificate_der), "head_signature", 19),
        (change_head("key_sha256", "0" * 64), "head_key", 19),
        (strange_key, "head_key", 21),
        (change_head("consistency", "[]"), "head_consistency", 19),
        (change_head("consistency", '["zz"]'), "head_consistency", 19),
        (change_head("consistency", "[1]"), "head_consistency", 19),
        (forget_tie, "head_order", 21),
        (tie_to_packet, "head_order", 21),
    ],
)
def test_every_kind_of_tampering_is_named(
    tamper: Callable[[Organisation], None], fault: str, at_n: int
) -> None:
    owner, _ = a_log()
    with without_guards():
        tamper(owner)
    report = verify_organisation(owner)
    assert (report.fault, report.at_n) == (fault, at_n)


def rewrite(owner: Organisation, n: int, **change: Any) -> None:
    """History as somebody with the database in hand would write it: entry, chain, head, tiles and all."""
    prev = START
    for row in list(LogEntry.objects.filter(organisation=owner).order_by("n")):
        entry = tree.entry_of(row)
        if row.n == n:
            entry = dataclasses.replace(entry, **change)
        new = link(prev, entry.content())
        LogEntry.objects.filter(pk=row.pk).update(
            who=entry.who, what=entry.what, detail=entry.detail, prev=prev, hash=new
        )
        prev = new
    execute("UPDATE jobs_ledgerhead SET hash = %s WHERE organisation_id = %s", prev, key_of(owner))
    LogTile.objects.filter(organisation=owner).delete()


def heads_made_again(owner: Organisation, by: logs.TestSigner) -> None:
    """And the stored heads too, with the organisation's own key: the operator has it."""
    old = list(TreeHead.objects.filter(organisation=owner).order_by("pk").values("size", "day", "is_daily"))
    TreeHead.objects.filter(organisation=owner).update(previous=None)
    TreeHead.objects.filter(organisation=owner).delete()
    for one in old:
        logs.sign_head(
            organisation=owner, size=one["size"], as_of=logs.NOON, signer=by,
            day=one["day"] if one["is_daily"] else None,
        )  # fmt: skip


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("small_tiles")
def test_one_head_kept_outside_finds_a_history_rewritten_with_everything_in_hand(tmp_path: Path) -> None:
    owner, by = a_log()
    first = TreeHead.objects.order_by("pk").first()
    assert first is not None
    kept = tmp_path / "head.json"
    kept.write_text(json.dumps(signed_plain(first)))
    outside = head_of(first)
    assert verify_organisation(owner, against=[outside]).is_whole
    with without_guards():
        rewrite(owner, 5, who="somebody else")
        assert verify_organisation(owner).fault == "head_root"
        heads_made_again(owner, by)
    tree.make_tiles(owner.pk)
    # Whoever has database and key can make everything agree with itself ...
    assert verify_organisation(owner).is_whole
    # ... and one mail of the first day still shows it.
    report = verify_organisation(owner, against=[outside])
    assert (report.fault, report.at_n) == ("outside_head", 7)
    out = io.StringIO()
    with pytest.raises(SystemExit) as stopped:
        call_command("verify_ledger", "--against", str(kept), stdout=out)
    assert stopped.value.code == 1
    assert "a head kept outside" in out.getvalue()


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("small_tiles")
def test_entries_after_the_head_kept_outside_may_be_rewritten_unseen_by_it_but_not_by_a_later_one() -> None:
    owner, by = a_log()
    first, _, last = (head_of(row) for row in TreeHead.objects.order_by("pk"))
    with without_guards():
        rewrite(owner, 15, what="evidence.invented")
        heads_made_again(owner, by)
    assert verify_organisation(owner, against=[first]).is_whole
    assert verify_organisation(owner, against=[first, last]).fault == "outside_head"


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("small_tiles")
def test_a_record_put_back_to_an_older_day_is_shorter_than_the_head_kept_outside() -> None:
    owner, _ = a_log()
    last = TreeHead.objects.order_by("-pk").first()
    assert last is not None
    outside = head_of(last)
    with without_guards():
        execute("DELETE FROM jobs_logentry WHERE n > 10")
        hash_of_last = LogEntry.objects.get(n=10).hash
        execute("UPDATE jobs_ledgerhead SET n = 10, hash = %s", hash_of_last)
        TreeHead.objects.filter(size__gt=10).delete()
        LogTile.objects.filter(index__gte=2).delete()
        LogTile.objects.filter(level=1).delete()
    assert verify_organisation(owner).is_whole
    report = verify_organisation(owner, against=[outside])
    assert (report.fault, report.at_n) == ("outside_head", 21)


@pytest.mark.django_db(transaction=True)
def test_a_head_of_another_organisation_is_not_compared() -> None:
    owner, other = rows.organisation(), rows.organisation("Sallowfield")
    logs.write(owner, 2)
    logs.write(other, 3)
    head = head_of(logs.daily(other, None))
    assert verify_organisation(owner, against=[head]).is_whole
    assert verify_organisation(other, against=[head]).tree_heads == 2
