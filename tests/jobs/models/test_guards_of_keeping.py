"""Redactions, keys, copies, additions, rules, deletions, holds: what the database lets change, and when."""

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, models, transaction

from jobs.models import (
    AccessGrant,
    AdditionPrint,
    ArchivedCopy,
    Assessment,
    CopyTransfer,
    Deletion,
    FactsOnFile,
    LegalHold,
    PacketAddition,
    PacketDownload,
    PacketRedaction,
    Person,
    PersonKey,
    PictureCopy,
    Refusal,
    RetentionRule,
    Sample,
    SampleArchive,
    SampledPacket,
    ShareLink,
    unscoped,
)
from tests.jobs import rows
from tests.jobs.models.test_guards import key_of, raw, refusal
from tests.jobs.rows import NOON

pytestmark = pytest.mark.django_db
LATER = NOON + timedelta(days=9)


@pytest.fixture(autouse=True)
def _open() -> Iterator[None]:
    with unscoped():
        yield


@pytest.fixture
def by() -> Person:
    owner = rows.organisation()
    return rows.person(owner, "itolvaar", rows.location(owner))


@pytest.fixture
def made(by: Person) -> dict[str, Any]:
    """One row of each table, by name."""
    own = {"organisation": by.organisation}
    job = rows.job(by.locations.get(), by)
    packet, redacted = rows.packet(job, by), rows.packet(job, by, 2, kind="redacted")
    addition = PacketAddition.objects.create(
        packet=packet, number=1, kind="comeback", key="comeback/1", at=NOON, who="itolvaar", text="It came.",
        sha256="1" * 64, size_bytes=9, **own,
    )  # fmt: skip
    hold = LegalHold.objects.create(matter="Ashgrove", placed_at=NOON, placed_by=by, **own)
    hold.jobs.add(job)
    return {
        "job": job,
        "redaction": PacketRedaction.objects.create(
            packet=redacted, of=packet, sha256="2" * 64, made_at=NOON, made_by=by, **own
        ),
        "key": PersonKey.objects.create(subject=f"customer/{job.pk}", key=bytes(32), created_at=NOON, **own),
        "copy": PictureCopy.objects.create(
            of_sha256="3" * 64, use="small", scale=2, sha256="4" * 64, size_bytes=9, width=8, height=6,
            made_at=NOON, **own,
        ),
        "addition": addition,
        "print": AdditionPrint.objects.create(
            addition=addition, sha256="5" * 64, size_bytes=9, made_at=NOON, **own
        ),
        "rule": RetentionRule.objects.create(
            kind="packets", amount=120, reason="Agreed with counsel.", set_at=NOON, set_by=by, **own
        ),
        "hold": hold,
        "held": LegalHold.jobs.through.objects.get(),
        "deletion": deletion(job, subject="evidence/1/sha256"),
        "refusal": refusal(job, by),
        "facts": FactsOnFile.objects.create(
            job=job, sha256="0" * 64, data=b"R. Ashgrove", size_bytes=1, stored_at=NOON, **own
        ),
        "judged": Assessment.objects.create(
            job=job, facts_sha256="6" * 64, packs=[], packs_sha256="7" * 64, engine_version="1", gate_at=NOON,
            result='{"by": "R. Ashgrove"}', result_sha256="8" * 64, verdict="met", disposition="release",
            computed_at=NOON, **own,
        ),
    }  # fmt: skip


def deletion(job: Any, **fields: Any) -> Deletion:
    given = {
        "kind": "photo_originals", "why": "retention", "words": "one file", "rule": "10 years",
        "due_on": date(2036, 5, 6), "plan_sha256": "9" * 64, "decided_at": NOON, "decided_by": "retention",
    }  # fmt: skip
    return Deletion.objects.create(organisation=job.organisation, job=job, **(given | fields))


def refused(act: Callable[[], object]) -> bool:
    try:
        with transaction.atomic():
            act()
    except IntegrityError:
        return True
    return False


def changed(row: models.Model, **fields: Any) -> bool:
    """Whether the database took the change of this row."""
    kept: Any = type(row)._base_manager.filter(pk=row.pk)
    return not refused(lambda: kept.update(**fields))


TABLES = (
    "redaction", "key", "copy", "addition", "print", "rule", "hold", "held", "deletion", "refusal", "facts",
    "judged",
)  # fmt: skip


def test_no_row_of_any_table_goes_away_or_is_written_over(made: dict[str, Any]) -> None:
    connection.check_constraints()
    for name in TABLES:
        row = made[name]
        table, pk = row._meta.db_table, row._meta.pk.column
        kept: Any = type(row)._base_manager.filter(pk=row.pk)
        assert refused(lambda kept=kept: kept._raw_delete("default")), name  # type: ignore[misc]
        if connection.vendor == "sqlite":
            # It deletes the row that is there without asking.
            over = f"INSERT OR REPLACE INTO {table} SELECT * FROM {table} WHERE {pk} = %s"  # noqa: S608
            assert refused(raw(over, key_of(row))), name
            assert refused(raw(f"DELETE FROM {table}")), name  # noqa: S608
        else:
            assert refused(raw(f"TRUNCATE {table} CASCADE")), name
        assert kept.exists(), name


@pytest.mark.parametrize("name", ["redaction", "copy", "addition", "print", "rule", "held"])
def test_some_tables_change_in_no_column(made: dict[str, Any], name: str) -> None:
    row = made[name]
    for field in row._meta.concrete_fields:
        if getattr(row, field.attname) is not None:
            table, pk = row._meta.db_table, row._meta.pk.column
            emptied = f'UPDATE {table} SET "{field.column}" = NULL WHERE {pk} = %s'  # noqa: S608
            assert refused(raw(emptied, key_of(row))), field.name


def test_a_key_is_destroyed_once_and_never_comes_back(made: dict[str, Any]) -> None:
    key = made["key"]
    for change in ({"key": b"1" * 32}, {"subject": "customer/2"}, {"created_at": LATER}, {"key": None}):
        assert not changed(key, **change), change
    assert not changed(key, destroyed_at=NOON)
    assert changed(key, key=None, destroyed_at=NOON)
    for change in ({"key": bytes(32), "destroyed_at": None}, {"destroyed_at": LATER}, {"subject": "x"}):
        assert not changed(key, **change), change


def test_a_deletion_is_removed_or_stopped_once(made: dict[str, Any]) -> None:
    row = made["deletion"]
    for change in ({"sha256": "f" * 64}, {"words": "nothing"}, {"why": "erasure"}, {"job": None}):
        assert not changed(row, **change), change
    assert not changed(row, removed_at=LATER, stopped_at=LATER)
    assert changed(row, removed_at=LATER)
    for change in ({"removed_at": None}, {"removed_at": NOON}, {"stopped_because": "a hold"}):
        assert not changed(row, **change), change
    # A subject is deleted once; only where a hold stopped it, it may be decided again.
    again = {"subject": row.subject}
    assert refused(lambda: deletion(made["job"], **again))
    stopped = deletion(made["job"], subject="evidence/2/sha256")
    assert changed(stopped, stopped_at=LATER, stopped_because="a hold")
    assert not changed(stopped, removed_at=LATER, stopped_at=None)
    assert not refused(lambda: deletion(made["job"], subject="evidence/2/sha256"))


def test_names_are_blanked_only_while_the_customer_of_that_job_is_being_erased(
    made: dict[str, Any], by: Person
) -> None:
    blank = {"refusal": {"refused_by_name": "erased"}, "facts": {"data": b""}, "judged": {"result": "{}"}}
    beside = {
        "refusal": {"relation": "driver"},
        "facts": {"sha256": "f" * 64},
        "judged": {"verdict": "not_met"},
    }

    def taken() -> dict[str, bool]:
        found = {}
        for name, change in blank.items():
            with transaction.atomic():
                found[name] = changed(made[name], **change)
                transaction.set_rollback(True)
        return found

    none, every = dict.fromkeys(blank, False), dict.fromkeys(blank, True)
    assert taken() == none
    other = rows.job_beside(made["job"], by)
    deletion(other, kind="customer_data", subject="order/2/customer")
    deletion(made["job"], subject="evidence/3/sha256")
    assert taken() == none
    open_one = deletion(made["job"], kind="customer_data", subject="order/1/customer")
    assert taken() == every
    for name, change in beside.items():
        assert not changed(made[name], **change), name
        assert not changed(made[name], **(blank[name] | change)), name
    assert changed(open_one, removed_at=LATER)
    assert taken() == none
    stopped = deletion(made["job"], kind="customer_data", subject="order/3/customer")
    assert changed(stopped, stopped_at=LATER, stopped_because="a hold")
    assert taken() == none


def test_an_ended_refusal_is_still_blanked_and_nothing_else_of_it(made: dict[str, Any], by: Person) -> None:
    ended = {"ended_at": NOON, "ended_how": "set_aside", "ended_by": by, "ended_reason": "signed anew"}
    assert changed(made["refusal"], **ended)
    assert not changed(made["refusal"], ended_reason="another")
    deletion(made["job"], kind="customer_data", subject="order/1/customer")
    assert not changed(made["refusal"], ended_reason="another")
    assert changed(made["refusal"], refused_by_name="erased")
    assert Refusal.objects.get().ended_reason == "signed anew"


def test_a_copy_goes_with_its_own_deletion_alone(made: dict[str, Any]) -> None:
    copy = made["copy"]
    kept = PictureCopy.objects.filter(pk=copy.pk)
    deletion(made["job"], subject=f"picturecopy/{copy.pk + 1}/sha256")
    done = deletion(made["job"], subject=f"picturecopy/{copy.pk}/sha256")
    assert changed(done, stopped_at=LATER, stopped_because="a hold")
    assert refused(lambda: kept._raw_delete("default"))
    deletion(made["job"], subject=f"picturecopy/{copy.pk}/sha256")
    assert not refused(lambda: kept._raw_delete("default"))


def test_a_hold_is_lifted_by_two_and_then_as_it_was(made: dict[str, Any], by: Person) -> None:
    hold, second = made["hold"], rows.person(by.organisation, "pvantongeren")
    asked = {"lift_asked_at": NOON, "lift_asked_by": by, "lift_reason": "The matter was settled."}
    assert changed(hold, **asked)
    assert not changed(hold, matter="nothing")
    assert not changed(hold, released_at=LATER, released_by=by)
    assert not changed(hold, released_at=LATER)
    assert changed(hold, released_at=LATER, released_by=second)
    for change in (
        {"released_at": None, "released_by": None},
        {"lift_reason": "x"},
        {"lift_asked_by": second},
    ):
        assert not changed(hold, **change), change


def test_tables_of_sharing_cannot_be_emptied(made: dict[str, Any], by: Person) -> None:
    """Also those that hold only what was drawn and copied."""
    own = {"organisation": by.organisation}
    packet = made["redaction"].of
    span = {"valid_from": NOON, "until": LATER, "purpose": "internal"}
    link = ShareLink.objects.create(
        token_sha256="a" * 64, to_name="A", to_company="B", made_at=NOON, made_by=by, **own, **span
    )
    grant = AccessGrant.objects.create(
        packet=packet, link=link, granted_at=NOON, granted_by=by, **own, **span
    )
    download = PacketDownload.objects.create(
        packet=packet, grant=grant, downloaded_at=NOON, sha256="b" * 64, size_bytes=9, **own
    )
    CopyTransfer.objects.create(download=download, at=NOON, first_byte=0, sent_bytes=9, complete=True, **own)
    sample = Sample.objects.create(
        opened_by=by, opened_at=NOON, from_on=NOON.date(), to_on=NOON.date(), seed=bytes(32),
        seed_sha256="c" * 64, population_sha256="d" * 64, population_size=1, bad=1, size=1,
        confidence="0.95", access_until=NOON, **own,
    )  # fmt: skip
    drawn = SampledPacket.objects.create(sample=sample, place=1, packet=packet, **own)
    archive = SampleArchive.objects.create(sample=sample, person=by, total=1, requested_at=NOON, **own)
    copied = ArchivedCopy.objects.create(archive=archive, place=1, name="1.pdf", download=download, **own)
    connection.check_constraints()
    for row in (drawn, copied):
        assert not changed(row, place=2)
    for model in (ShareLink, AccessGrant, PacketDownload, CopyTransfer, Sample, SampledPacket, ArchivedCopy):
        table = model._meta.db_table
        empty = {"sqlite": f"DELETE FROM {table}", "postgresql": f"TRUNCATE {table} CASCADE"}  # noqa: S608
        assert refused(raw(empty[connection.vendor])), table
