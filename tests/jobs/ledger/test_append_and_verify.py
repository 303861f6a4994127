"""Appending to the log and checking it: gapless, per organisation, and every kind of tampering is named."""

import io
import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.db.transaction import TransactionManagementError

from jobs.ledger.append import append
from jobs.ledger.chain import START
from jobs.ledger.verify import verify_all, verify_organisation
from jobs.models import LogEntry, Organisation, unscoped
from rules.canonical import CanonicalError
from tests.jobs import rows
from tests.jobs.rows import NOON
from tests.record_guards import without_guards


@pytest.fixture(autouse=True)
def _open() -> Iterator[None]:
    with unscoped():
        yield


def write(owner: Organisation, target: str = "EM-2026-0417", **detail: object) -> LogEntry:
    return append(
        organisation=owner, at=NOON, who="itolvaar", device="tablet-1", what="evidence.added",
        target=target, detail=detail,
    )  # fmt: skip


@transaction.atomic
def write_and_break(owner: Organisation) -> None:
    write(owner)
    raise ZeroDivisionError


@pytest.mark.django_db
def test_entries_count_from_one_and_each_hash_rests_on_the_one_before() -> None:
    owner, other = rows.organisation(), rows.organisation("Sallowfield")
    first, second, foreign = write(owner), write(owner, size_bytes=3), write(other)
    assert (first.n, first.prev) == (1, START)
    assert (second.n, second.prev) == (2, first.hash)
    assert (foreign.n, foreign.prev) == (1, START)
    assert foreign.hash != first.hash
    assert json.loads(second.detail) == {"size_bytes": 3}
    assert first.at == "2026-05-12T17:00:00.000000Z"
    reports = {report.name: report for report in verify_all()}
    assert reports[owner.name].is_whole
    assert reports[owner.name].entries == 2
    assert reports[owner.name].head == second.hash
    assert reports[other.name].is_whole


@pytest.mark.django_db
def test_what_has_no_canonical_form_is_refused() -> None:
    with pytest.raises(CanonicalError):
        write(rows.organisation(), value=float("nan"))


@pytest.mark.django_db(transaction=True)
def test_an_entry_goes_with_its_transaction_and_leaves_no_gap() -> None:
    owner = rows.organisation()
    with transaction.atomic():
        write(owner)
    with pytest.raises(ZeroDivisionError):
        write_and_break(owner)
    with transaction.atomic():
        third = write(owner)
    assert third.n == 2
    assert verify_organisation(owner).is_whole


@pytest.mark.django_db(transaction=True)
def test_outside_a_transaction_nothing_can_be_appended() -> None:
    owner = rows.organisation()
    with pytest.raises(TransactionManagementError):
        write(owner)


def _change(column: str, value: str) -> Callable[[], None]:
    def act() -> None:
        with connection.cursor() as cursor:
            cursor.execute(f"UPDATE jobs_logentry SET {column} = %s WHERE n = 2", [value])  # noqa: S608

    return act


def _sql(text: str) -> Callable[[], None]:
    def act() -> None:
        with connection.cursor() as cursor:
            cursor.execute(text)

    return act


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("tamper", "fault", "at_n"),
    [
        (_change("who", "somebody"), "hash", 2),
        (_change("at", "2026-05-12T17:00:00.000001Z"), "hash", 2),
        (_change("what", "evidence.set_aside"), "hash", 2),
        (_change("target", "EM-2026-0418"), "hash", 2),
        (_change("device", "tablet-2"), "hash", 2),
        (_change("detail", '{"a":1}'), "hash", 2),
        (_change("detail", "not JSON"), "unreadable", 2),
        (_change("hash", "0" * 64), "hash", 2),
        (_change("prev", "0" * 64), "prev", 2),
        (_sql("DELETE FROM jobs_logentry WHERE n = 2"), "gap", 2),
        (_sql("DELETE FROM jobs_logentry WHERE n = 1"), "gap", 1),
        (_sql("DELETE FROM jobs_logentry WHERE n = 3"), "head", 2),
        (_sql("DELETE FROM jobs_logentry"), "head", 0),
        (_sql("UPDATE jobs_ledgerhead SET n = 2"), "head", 3),
    ],
)
def test_every_kind_of_tampering_is_named(tamper: Callable[[], None], fault: str, at_n: int) -> None:
    owner = rows.organisation()
    for _ in range(3):
        write(owner)
    assert verify_organisation(owner).is_whole
    with without_guards():
        tamper()
    report = verify_organisation(owner)
    assert (report.fault, report.at_n) == (fault, at_n)


@pytest.mark.django_db
def test_an_entry_moved_to_another_organisation_does_not_fit_there() -> None:
    owner, other = rows.organisation(), rows.organisation("Sallowfield")
    write(owner)
    write(other)
    with without_guards(), connection.cursor() as cursor:
        cursor.execute("UPDATE jobs_logentry SET n = n + 1")
        mine = owner.pk.hex if connection.vendor == "sqlite" else str(owner.pk)
        theirs = other.pk.hex if connection.vendor == "sqlite" else str(other.pk)
        for org, swapped, n in ((mine, theirs, 1), (theirs, mine, 3)):
            cursor.execute(
                "UPDATE jobs_logentry SET organisation_id = %s, n = %s WHERE organisation_id = %s AND n = 2",
                [swapped, n, org],
            )
    assert verify_organisation(other).fault == "hash"


@pytest.mark.django_db
def test_the_command_says_whole_broken_or_not_checkable_by_its_status() -> None:
    owner = rows.organisation()
    write(owner)
    out = io.StringIO()
    call_command("verify_ledger", "--json", stdout=out)
    assert json.loads(out.getvalue())[0]["entries"] == 1
    call_command("verify_ledger", "--org", str(owner.pk), stdout=io.StringIO())
    with without_guards():
        _sql("UPDATE jobs_logentry SET who = 'x'")()
    for arguments, status in (((), 1), (("--org", "no id"), 2), (("--org", str(rows.other_id())), 2)):
        with pytest.raises(SystemExit) as stopped:
            call_command("verify_ledger", *arguments, stdout=io.StringIO(), stderr=io.StringIO())
        assert stopped.value.code == status, arguments


@pytest.mark.slow
def test_the_verifier_imports_no_writer() -> None:
    program = (
        "import django; django.setup(); import sys; import jobs.ledger.verify; "
        "print([name for name in sys.modules if name in ('jobs.ledger.append', 'jobs.outbox') "
        "or name.startswith('jobs.services')])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=120,
        env=os.environ | {"DJANGO_SETTINGS_MODULE": "portal.settings"},
    )  # fmt: skip
    assert done.stdout.strip() == "[]"
