"""What a packet carries of the log, checked the way a stranger checks it: with the pure checkers alone."""

import json
from collections.abc import Iterator

import pytest
from django.db import transaction

from jobs.ledger import tree
from jobs.ledger.sealing import sealing_of
from jobs.models import LogTile, unscoped
from rules.canonical import canonical_bytes
from rules.seal.log_proofs import entry_leaf, shows_consistency, shows_inclusion
from rules.seal.tree_head import head_fault, read_head
from tests.jobs import rows
from tests.jobs.ledger import logs
from tests.record_guards import without_guards

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _open() -> Iterator[None]:
    with unscoped():
        yield


def test_a_stranger_can_check_it() -> None:
    owner, by, newer = rows.organisation(), logs.signer(), logs.signer(1)
    logs.write(owner, 6)
    logs.daily(owner, by)
    logs.write(owner, 5, start=6)
    logs.sealing(owner, newer)
    logs.write(owner, 4, start=11)
    logs.daily(owner, newer, days=1)
    told = json.loads(json.dumps(sealing_of(owner, 11)))
    assert told == sealing_of(owner, 11)
    assert canonical_bytes(told)
    head = read_head(told["head"])
    assert (told["format"], told["n"], head.size, head.organisation) == ("sealing 1", 11, 11, str(owner.pk))
    certificate = bytes.fromhex(told["certificate"])
    assert certificate == newer.certificate_der
    assert head_fault(head, bytes.fromhex(told["head_signature"]), certificate) == ""
    entry = json.loads(told["entry"])
    assert canonical_bytes(entry).decode() == told["entry"]
    assert (entry["n"], entry["target"]) == (11, "EM-2026-10")
    path = [bytes.fromhex(step) for step in told["log_proof"]]
    assert shows_inclusion(entry_leaf(entry), 10, 11, path, head.root_bytes)
    earlier = told["earlier"]
    before = read_head(earlier["head"])
    assert before.size == 6
    # The key was changed in between: each head comes with its own certificate.
    earlier_certificate = bytes.fromhex(earlier["certificate"])
    assert earlier_certificate == by.certificate_der
    assert head_fault(before, bytes.fromhex(earlier["head_signature"]), earlier_certificate) == ""
    steps = [bytes.fromhex(step) for step in earlier["consistency"]]
    assert shows_consistency(6, 11, before.root_bytes, head.root_bytes, steps)
    assert (told["chain"], told["is_demo"]) == ([], False)


def test_the_first_packet_has_no_earlier_head_and_without_a_key_no_signature() -> None:
    owner = rows.organisation()
    logs.write(owner, 2)
    logs.sealing(owner, None)
    told = sealing_of(owner, 2)
    assert told["earlier"] is None
    assert (told["head_signature"], told["certificate"], told["chain"]) == ("", "", [])
    assert read_head(told["head"]).size == 2


def test_it_is_told_in_the_transaction_that_seals() -> None:
    owner, by = rows.organisation(), logs.signer()
    with transaction.atomic():
        entry = logs.write(owner, 3)
        logs.sealing(owner, by)
        inside = sealing_of(owner, entry.n)
    logs.write(owner, 3, start=3)
    assert sealing_of(owner, 3) == inside


def test_no_head_no_entry_no_sealing() -> None:
    owner, other = rows.organisation(), rows.organisation("Sallowfield")
    logs.write(owner, 3)
    logs.write(other, 3)
    logs.sealing(owner, logs.signer())
    for whose, n in ((owner, 2), (owner, 4), (other, 3)):
        with pytest.raises(LookupError):
            sealing_of(whose, n)


@pytest.mark.django_db(transaction=True)
def test_a_changed_entry_is_no_longer_told_even_where_the_tile_is_as_it_was(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(tree, "TILE", 4)
    monkeypatch.setattr(tree, "TILE_LEVELS", 2)
    owner = rows.organisation()
    logs.write(owner, 4)
    with transaction.atomic():
        logs.sealing(owner, logs.signer())
    tree.make_tiles(owner.pk)
    assert LogTile.objects.count() == 1
    assert sealing_of(owner, 4)["n"] == 4
    with without_guards():
        logs.execute("UPDATE jobs_logentry SET who = 'somebody' WHERE n = 4")
    with pytest.raises(LookupError, match="no longer"):
        sealing_of(owner, 4)
