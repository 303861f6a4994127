"""The proof of one entry, as the command prints it and a stranger checks it."""

import io
import json
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.management import call_command

from jobs.ledger.proof import ProofError, proof_of_entry
from jobs.models import Organisation, unscoped
from rules.seal.log_proofs import entry_leaf, shows_inclusion
from rules.seal.tree_head import head_fault, read_head
from tests.jobs import rows
from tests.jobs.ledger import logs
from tests.record_guards import without_guards

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner() -> Iterator[Organisation]:
    with unscoped():
        made, by = rows.organisation(), logs.signer()
        logs.write(made, 6)
        logs.daily(made, by)
        logs.write(made, 5, start=6)
        logs.daily(made, by, days=1)
        logs.write(made, 2, start=11)
    return made


def printed(*arguments: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command("log_proof", *arguments, stdout=out, stderr=err)
    except SystemExit as stopped:
        return int(str(stopped.code)), out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


def holds(told: dict[str, Any]) -> bool:
    head = read_head(told["head"])
    leaf = entry_leaf(json.loads(told["entry"]))
    path = [bytes.fromhex(step) for step in told["path"]]
    assert leaf.hex() == told["leaf"]
    fault = head_fault(head, bytes.fromhex(told["head_signature"]), bytes.fromhex(told["certificate"]))
    return fault == "" and shows_inclusion(leaf, told["n"] - 1, head.size, path, head.root_bytes)


def test_each_entry_is_proved_under_the_newest_head_and_under_an_older_one(owner: Organisation) -> None:
    for n in range(1, 12):
        status, out, _ = printed(str(n), "--org", str(owner.pk))
        told = json.loads(out)
        assert (status, told["n"], told["head"]["size"]) == (0, n, 11)
        assert holds(told)
    status, out, _ = printed("3", "--org", str(owner.pk), "--size", "6")
    assert (status, json.loads(out)["head"]["size"]) == (0, 6)
    assert holds(json.loads(out))


def test_what_cannot_be_proved_says_so_by_its_status(owner: Organisation) -> None:
    org = str(owner.pk)
    for arguments in (
        ("12", "--org", org),  # no head holds it yet
        ("14", "--org", org),
        ("0", "--org", org),
        ("-1", "--org", org),
        ("7", "--org", org, "--size", "6"),
        ("1", "--org", org, "--size", "5"),
        ("1", "--org", str(rows.other_id())),
        ("1", "--org", "no id"),
    ):
        status, out, err = printed(*arguments)
        assert (status, out) == (2, ""), arguments
        assert err.startswith("no proof:")


def test_a_changed_entry_has_no_proof(owner: Organisation) -> None:
    with without_guards():
        logs.execute("UPDATE jobs_logentry SET who = 'somebody' WHERE n = 4")
    with pytest.raises(ProofError):
        proof_of_entry(owner, 4)
    # The tree is another one now: nothing in it leads to the head that was signed.
    assert printed("4", "--org", str(owner.pk))[0] == 1
    assert printed("5", "--org", str(owner.pk))[0] == 1
