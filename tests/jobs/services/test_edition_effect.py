"""A new or withdrawn text on the jobs on record: counted, listed, and nothing of the record moved."""

import uuid
import zlib
from dataclasses import replace
from datetime import date
from functools import cache

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.facts import pack_set
from jobs.models import Assessment, FactsOnFile, Job, PackEditionOnFile
from jobs.services import edition_effect, pack_desk
from jobs.services.assessment import packs_hash
from jobs.services.edition_effect import BATCH, counted, effect_of, effect_page
from rules.assess import assess
from rules.canonical import sha256_hex
from rules.facts import JobFacts, VoltageLog, facts_held_at
from rules.packs.model import PackSet
from rules.record_bytes import record_bytes
from tests.factories import VehicleFactory
from tests.jobs.shop import PACKS, Shop
from tests.portal.tenancy_stage import everything
from tests.rules.builders import at
from tests.rules.windshield_job import windshield_job

SEVEN = (PACKS / "orrinvale.7.yaml").read_text(encoding="utf-8")
GATE = at("11:50")


def weak(facts: JobFacts, volts: float) -> JobFacts:
    """The same job on a weaker supply."""

    def lower(log: VoltageLog) -> VoltageLog:
        return replace(log, samples=tuple((t, min(v, volts)) for t, v in log.samples))

    return replace(facts, voltage_logs=tuple(lower(log) for log in facts.voltage_logs))


@cache
def facts_of(kind: str) -> JobFacts:
    return weak(windshield_job(), 12.2) if kind == "weak" else windshield_job()


def on_record(
    shop: Shop, packs: PackSet, kind: str = "good", *, state: str = "archived", engine: str = ""
) -> Job:
    """A finished job whose judgement and facts were kept."""
    job = shop.open_job(number=f"RO-{uuid.uuid4().hex[:8]}", id=uuid.uuid4(), job_id=uuid.uuid4())
    facts = replace(facts_of(kind), job_id=str(job.pk), order_number=job.number)
    told = assess(packs, facts, as_of=GATE)
    data, result = record_bytes(facts_held_at(facts, GATE)), record_bytes(told).decode()
    FactsOnFile.objects.create(
        organisation=shop.organisation, job=job, sha256=told.facts_sha256, data=zlib.compress(data),
        size_bytes=len(data), stored_at=GATE,
    )  # fmt: skip
    kept = Assessment.objects.create(
        organisation=shop.organisation, job=job, facts_sha256=told.facts_sha256,
        packs=[list(item) for item in told.packs], packs_sha256=packs_hash(packs),
        engine_version=engine or told.engine_version, gate_at=GATE, result=result,
        result_sha256=sha256_hex(result.encode()), verdict=told.verdict, disposition=told.disposition,
        computed_at=GATE,
    )  # fmt: skip
    Job.objects.filter(pk=job.pk).update(current_assessment=kept, state=state)
    return job


@pytest.fixture
def packs(shop: Shop) -> PackSet:
    shop.observe_clock("07:29")
    shop.publish("common-practice.3.yaml")
    shop.publish_later("orrinvale.7.yaml")
    return pack_set(shop.organisation)


def nine(shop: Shop) -> PackEditionOnFile:
    """A draft with a tighter voltage on the road and one more photo there."""
    volts = '{id: volts,  check: voltage_log, limit: "between 12.0 V and 15.0 V"'
    photo = "      - {id: window, check: photo_set, needs: [camera_window_outside], waivable: no}\n"
    text = SEVEN.replace(volts, volts.replace("12.0", "12.4"), 1)
    start = text.index("      - {id: odo,     check", text.index("- id: OV-FC-ROAD"))
    text = (text[:start] + photo + text[start:]).replace("edition: 7\n", "edition: 9\n", 1)
    text = text.replace('from: "2026-03-01"', 'from: "2026-09-01"', 1)
    return pack_desk.upload_draft(actor=shop.actor("pvantongeren"), as_of=GATE, data=text.encode())


def test_the_counts_and_the_list(shop: Shop, packs: PackSet) -> None:
    weak_one = on_record(shop, packs, "weak")
    for _ in range(2):
        on_record(shop, packs)
    on_record(shop, packs, state="held")
    # A vehicle that no text of this pack covers is not looked at.
    shop.vehicle = VehicleFactory.create(
        organisation=shop.organisation, created_by=shop.people["tachterly"], vin="Z0KLN2C96S4120077",
        make="Kestmoor", model="Linnet",
    )  # fmt: skip
    on_record(shop, packs)
    row = nine(shop)
    before = everything()
    effect = counted(row, effect_of(row, Job.objects.all()))
    assert everything() == before
    assert effect.line == (
        "Of 3 archived jobs, 1 would not meet the new voltage, 3 lack the new photo."
        " Of 1 open job, 1 lacks the new photo."
    )
    assert (effect.done.kinds, len(effect.rows)) == ({"newly_not_met": 1, "newly_not_shown": 3}, 4)
    (listed,) = [item for item in effect.rows if item.job_id == weak_one.pk]
    assert [(item.kind, item.proof_id) for item in listed.changes] == [
        ("newly_not_met", "volts"), ("newly_not_shown", "window"),
    ]  # fmt: skip


def test_pages_add_up(shop: Shop, packs: PackSet) -> None:
    made = {on_record(shop, packs).pk for _ in range(5)}
    row = nine(shop)
    seen: list[uuid.UUID] = []
    after = None
    while True:
        page = effect_page(row, Job.objects.all(), after=after, most=2)
        seen += [item.job_id for item in page.rows]
        after = page.next_after
        if after is None:
            break
    assert (len(seen), set(seen)) == (5, made)


def test_queries_do_not_grow_with_the_jobs(
    shop: Shop, packs: PackSet, monkeypatch: pytest.MonkeyPatch
) -> None:
    row = nine(shop)

    def queries() -> int:
        with CaptureQueriesContext(connection) as taken:
            list(effect_of(row, Job.objects.all()))
        return len(taken)

    on_record(shop, packs)
    few = queries()
    for _ in range(3):
        on_record(shop, packs)
    assert queries() == few
    monkeypatch.setattr(edition_effect, "BATCH", 2)
    # One query for the facts of each batch, and no other.
    assert queries() == few + 1
    assert BATCH >= 2


def test_a_safety_withdrawal_lists_every_job_that_it_governed(shop: Shop, packs: PackSet) -> None:
    on_record(shop, packs)
    row = PackEditionOnFile.objects.get(pack="orrinvale")
    common = PackEditionOnFile.objects.get(pack="common-practice")

    def withdrawn(row: PackEditionOnFile, severity: str) -> PackEditionOnFile:
        return pack_desk.withdraw_pack(
            row=row, actor=shop.actor("lveskel"), as_of=shop.at("13:00"), on=date(2026, 6, 1),
            reason="The maker took it back", severity=severity,
        )  # fmt: skip

    effect = counted(row, effect_of(withdrawn(row, "safety"), Job.objects.all()))
    assert [item.kinds for item in effect.rows] == [("requirement_appears", "requirement_disappears")]
    assert "would no longer need: Forward camera, on the road (Sedge)" in effect.line
    # Judged the same or not: what it governed is listed.
    same = iter([replace(effect.rows[0], changes=())])
    assert len(counted(row, same).rows) == 1
    other = iter([replace(effect.rows[0], changes=(), packs=(("orrinvale", 6),))])
    assert counted(row, other).rows == ()
    calm = withdrawn(common, "information")
    assert counted(calm, iter([replace(effect.rows[0], changes=())])).rows == ()


def test_what_cannot_be_judged_again_is_listed_and_counted(shop: Shop, packs: PackSet) -> None:
    job = on_record(shop, packs)
    row = nine(shop)
    other = shop.open_job(number="RO-none", id=uuid.uuid4(), job_id=uuid.uuid4())
    first = Assessment.objects.get(job=job)
    bare = Assessment.objects.create(
        **{field.attname: getattr(first, field.attname) for field in first._meta.concrete_fields}
        | {"id": uuid.uuid4(), "job_id": other.pk, "facts_sha256": "0" * 64}
    )
    Job.objects.filter(pk=other.pk).update(current_assessment=bare, state="archived")
    effect = counted(row, effect_of(row, Job.objects.all()))
    assert (effect.done.jobs, effect.done.unusable) == (1, 1)
    assert effect.line.endswith("1 could not be judged again.")
    assert {item.number for item in effect.rows if item.problem} == {"RO-none"}


def test_a_judgement_of_another_engine_is_first_made_anew(shop: Shop, packs: PackSet) -> None:
    on_record(shop, packs, engine="1")
    row = nine(shop)
    effect = counted(row, effect_of(row, Job.objects.all()))
    assert effect.done.kinds == {"newly_not_shown": 1}


def test_the_same_text_again_changes_nothing(shop: Shop, packs: PackSet) -> None:
    on_record(shop, packs)
    row = PackEditionOnFile.objects.get(pack="orrinvale")
    effect = counted(row, effect_of(row, Job.objects.all()))
    assert effect.line == "Of 1 archived job, all would be judged the same."
    assert effect.rows == ()
