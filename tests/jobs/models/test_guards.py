"""The database refuses to change what was recorded: by the ORM, by raw SQL, and by emptying the table."""

from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, models, transaction

from jobs.ledger.append import append
from jobs.models import (
    Bay,
    BayFloorSurvey,
    FactsOnFile,
    LedgerHead,
    LogEntry,
    PackAcknowledgement,
    PackEditionOnFile,
    Person,
    Reading,
    Record,
    RecordedMoment,
    Refusal,
    Waiver,
    unscoped,
)
from tests.jobs import rows
from tests.jobs.rows import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _open() -> Iterator[None]:
    with unscoped():
        yield


@pytest.fixture
def by() -> Person:
    owner = rows.organisation()
    return rows.person(owner, "itolvaar", rows.location(owner))


@pytest.fixture
def job(by: Person) -> Any:
    return rows.job(by.locations.get(), by)


def refused(act: Callable[[], object]) -> bool:
    try:
        with transaction.atomic():
            act()
    except IntegrityError:
        return True
    return False


def raw(sql: str, *values: object) -> Callable[[], object]:
    def act() -> object:
        with connection.cursor() as cursor:
            return cursor.execute(sql, values)

    return act


def key_of(row: models.Model) -> str:
    return row.pk.hex if connection.vendor == "sqlite" and hasattr(row.pk, "hex") else str(row.pk)


def waiver(job: Any, by: Person) -> Waiver:
    return Waiver.objects.create(
        organisation=job.organisation, job=job, procedure_id="OV-FC-STATIC", proof_id="level", granted_by=by,
        role="quality_manager", reason="x" * 40, instead="measured twice", at=RecordedMoment.exact(NOON),
        created_by=by, received_at=NOON, content_sha256="4" * 64,
    )  # fmt: skip


def refusal(job: Any, by: Person) -> Refusal:
    return Refusal.objects.create(
        organisation=job.organisation, job=job, procedure_id="OV-FC-STATIC", refused_by_name="R. Ashgrove",
        relation="owner", told_text_version="1", systems_named=["lane keeping assistance"], lamp_state="lit",
        witness=by, at=RecordedMoment.exact(NOON), created_by=by, received_at=NOON, content_sha256="5" * 64,
    )  # fmt: skip


def floor_survey(job: Any, by: Person) -> BayFloorSurvey:
    bay = Bay.objects.create(
        organisation=job.organisation, location=job.location, code="EM-B2", length_mm=9000, width_mm=5000,
        height_mm=4000,
    )  # fmt: skip
    return BayFloorSurvey.objects.create(
        organisation=job.organisation, bay=bay, surveyed=RecordedMoment.exact(NOON), surveyed_by=by,
        instrument=rows.tape(job.organisation), points=[[0, 0, 0]], u_z_mm=0.3, created_by=by,
        received_at=NOON, content_sha256="6" * 64,
    )  # fmt: skip


MAKERS: dict[str, Callable[[Any, Person], Record]] = {
    "evidence": rows.evidence,
    "reading": rows.reading,
    "scan": rows.scan,
    "sign_off": rows.sign_off,
    "waiver": waiver,
    "refusal": refusal,
    "floor_survey": floor_survey,
}


@pytest.mark.parametrize("make", MAKERS.values(), ids=MAKERS.keys())
def test_a_record_changes_in_no_column_but_may_be_ended_once(
    make: Callable[[Any, Person], Record], job: Any, by: Person
) -> None:
    row = make(job, by)
    table = row._meta.db_table
    kept = type(row).objects.filter(pk=row.pk)  # type: ignore[attr-defined]
    for field in row._meta.concrete_fields:
        if field.name.startswith("ended_"):
            continue
        changed = raw(f"UPDATE {table} SET {field.column} = NULL WHERE id = %s", key_of(row))  # noqa: S608
        if getattr(row, field.attname) is None:
            continue
        assert refused(changed), field.name
    assert refused(lambda: kept.update(content_sha256="f" * 64))
    assert refused(row.delete)
    assert refused(raw(f"DELETE FROM {table}"))  # noqa: S608
    row.save()
    assert not refused(
        lambda: kept.update(ended_at=NOON, ended_how="set_aside", ended_by=by, ended_reason="blurred")
    )
    assert refused(lambda: kept.update(ended_reason="another reason"))
    assert refused(lambda: kept.update(ended_at=None, ended_how="", ended_by=None, ended_reason=""))
    assert kept.get().ended_reason == "blurred"


def test_a_floor_survey_is_made_void_once(job: Any, by: Person) -> None:
    row = floor_survey(job, by)
    kept = BayFloorSurvey.objects.filter(pk=row.pk)
    voided = {"voided_at": NOON, "void_reason": "A lift was set.", "void_recorded_at": NOON}
    assert not refused(lambda: kept.update(**voided))
    for column, value in (("voided_at", None), ("void_reason", "none"), ("void_recorded_at", None)):
        assert refused(lambda change={column: value}: kept.update(**change)), column  # type: ignore[misc]
    assert kept.get().void_reason == "A lift was set."


def test_the_bay_of_a_reading_is_as_fixed_as_the_rest(job: Any, by: Person) -> None:
    row = rows.reading(job, by)
    bay = floor_survey(job, by).bay
    assert refused(lambda: Reading.objects.filter(pk=row.pk).update(bay=bay))


def test_the_log_changes_in_nothing_and_goes_on_by_one(job: Any, by: Person) -> None:
    for n in (1, 2):
        append(
            organisation=job.organisation, at=NOON, who="itolvaar", device="", what="job.opened",
            target=f"j{n}", detail={},
        )  # fmt: skip
    first = LogEntry.objects.get(n=1)
    assert refused(lambda: LogEntry.objects.filter(pk=first.pk).update(who="somebody"))
    assert refused(first.delete)
    assert refused(raw("UPDATE jobs_logentry SET at = at"))
    assert refused(raw("DELETE FROM jobs_logentry WHERE n = 2"))
    head = LedgerHead.objects.filter(pk=job.organisation_id)
    assert refused(lambda: head.update(n=1))
    assert refused(lambda: head.update(n=4))
    assert refused(lambda: head.update(hash="0" * 64))
    assert refused(raw("DELETE FROM jobs_ledgerhead"))
    assert not refused(lambda: head.update(n=3, hash="0" * 64))


def test_writing_over_an_entry_is_refused(job: Any) -> None:
    made = append(
        organisation=job.organisation, at=NOON, who="itolvaar", device="", what="job.opened", target="j",
        detail={},
    )  # fmt: skip
    columns = "organisation_id, n, at, who, device, what, target, detail, prev, hash"
    copy = f"SELECT {columns} FROM jobs_logentry WHERE id = {made.pk}"  # noqa: S608
    over = {
        "sqlite": f"INSERT OR REPLACE INTO jobs_logentry ({columns}) {copy}",
        "postgresql": f"INSERT INTO jobs_logentry ({columns}) {copy} "
        "ON CONFLICT (organisation_id, n) DO UPDATE SET who = 'somebody'",
    }
    assert refused(raw(over[connection.vendor]))
    assert LogEntry.objects.get(n=1).pk == made.pk


@pytest.mark.parametrize("table", ["jobs_logentry", "jobs_reading", "jobs_evidence", "jobs_packet"])
def test_emptying_a_table_is_refused_while_there_is_something(table: str, job: Any, by: Person) -> None:
    append(
        organisation=job.organisation, at=NOON, who="itolvaar", device="", what="job.opened", target="j",
        detail={},
    )  # fmt: skip
    rows.reading(job, by)
    rows.evidence(job, by)
    rows.packet(job, by, state="sealed", built_at=NOON, pdf_sha256="b" * 64)
    # PostgreSQL would refuse for another reason while foreign keys are still to be checked.
    connection.check_constraints()
    # SQLite has no TRUNCATE; its way of emptying a table is DELETE.
    empty = {"sqlite": f"DELETE FROM {table}", "postgresql": f"TRUNCATE {table} CASCADE"}  # noqa: S608
    assert refused(raw(empty[connection.vendor]))


def test_a_sealed_packet_is_frozen_and_an_unsealed_one_moves(job: Any, by: Person) -> None:
    row = rows.packet(job, by)
    kept = type(row).objects.filter(pk=row.pk)
    assert not refused(lambda: kept.update(state="building", source_sha256="a" * 64))
    assert not refused(
        lambda: kept.update(state="sealed", built_at=NOON, pdf_sha256="b" * 64, merkle_root="c" * 64)
    )
    for change in (
        {"pdf_sha256": "d" * 64},
        {"salt_key": b"z" * 32},
        {"contents": [{"path": "x"}]},
        {"state": "failed"},
        {"serial": "other"},
    ):
        assert refused(lambda change=change: kept.update(**change)), change
    assert refused(row.delete)
    assert not refused(lambda: kept.update(external_timestamp=b"token"))


def test_a_published_pack_edition_is_frozen_and_a_draft_is_not(job: Any) -> None:
    row = PackEditionOnFile.objects.create(
        organisation=job.organisation, pack="orrinvale", edition=7, source=b"pack: orrinvale\n",
        sha256="0" * 64, in_force_from=date(2026, 1, 1),
    )  # fmt: skip
    kept = PackEditionOnFile.objects.filter(pk=row.pk)
    assert not refused(lambda: kept.update(source=b"pack: orrinvale \n"))
    assert not refused(lambda: kept.update(state="published"))
    for change in (
        {"source": b""}, {"sha256": "1" * 64}, {"in_force_from": NOON}, {"state": "draft"},
        {"written_at": NOON},
    ):  # fmt: skip
        assert refused(lambda change=change: kept.update(**change)), change
    assert refused(row.delete)
    assert not refused(lambda: kept.update(state="superseded"))
    assert refused(lambda: kept.update(state="published"))
    assert not refused(lambda: kept.update(state="withdrawn", withdrawn_reason="wrong limit"))
    for state in ("published", "superseded"):
        assert refused(lambda state=state: kept.update(state=state)), state


def test_stored_facts_and_acknowledged_warnings_never_change(job: Any, by: Person) -> None:
    kept = FactsOnFile.objects.create(
        organisation=job.organisation, job=job, sha256="0" * 64, data=b"x", size_bytes=1, stored_at=NOON
    )
    row = PackEditionOnFile.objects.create(
        organisation=job.organisation, pack="orrinvale", edition=7, source=b"", sha256="0" * 64,
        in_force_from=date(2026, 1, 1),
    )  # fmt: skip
    read = PackAcknowledgement.objects.create(
        organisation=job.organisation, edition_on_file=row, sha256="0" * 64, name="n", words="w", by=by,
        at=NOON,
    )  # fmt: skip
    for one, change in ((kept, {"data": b"y"}), (kept, {"sha256": "1" * 64}), (read, {"name": "other"})):
        rows_of = type(one).objects.filter(pk=one.pk)
        assert refused(lambda rows_of=rows_of, change=change: rows_of.update(**change)), change
        assert refused(one.delete)


def test_every_recorded_table_has_its_guards_after_all_migrations() -> None:
    """On SQLite altering a table makes it anew without triggers; then this test fails."""
    updating = {"session", "estimateline", "sublet_order", "subletorder", "certificate", "qualification",
                "invoiceline"}  # fmt: skip
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT tbl_name, sql FROM sqlite_master WHERE type = 'trigger'")
            found = {(table, sql.split(" BEFORE ")[1].split()[0]) for table, sql in cursor.fetchall()}
        else:
            cursor.execute("SELECT event_object_table, event_manipulation FROM information_schema.triggers")
            found = {(table, event) for table, event in cursor.fetchall()}
    recorded = [m for m in apps.get_app_config("jobs").get_models() if issubclass(m, Record)]
    assert len(recorded) > 20
    for model in recorded:
        name = str(model._meta.model_name)
        if name in updating:
            continue
        for event in ("UPDATE", "DELETE"):
            assert (model._meta.db_table, event) in found, (name, event)
    for table in (
        "jobs_logentry", "jobs_logtile", "jobs_treehead", "jobs_assessment", "jobs_factsonfile",
        "jobs_findingrow", "jobs_packet", "jobs_packacknowledgement", "jobs_packeditiononfile",
    ):  # fmt: skip
        for event in ("UPDATE", "DELETE"):
            assert (table, event) in found, (table, event)
    assert Reading._meta.db_table == "jobs_reading"
