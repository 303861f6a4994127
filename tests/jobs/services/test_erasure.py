"""Erasing a customer: who may, what goes, what stays, holds first; and nothing of the name is left."""

import json
import zlib
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps

from jobs import storage
from jobs.errors import Conflict, NotAllowed, NotFound, Refused
from jobs.ledger.verify import verify_organisation
from jobs.models import (
    Assessment,
    Deletion,
    FactsOnFile,
    IdempotencyRecord,
    Job,
    LogEntry,
    Packet,
    RecordedMoment,
    Refusal,
    RepairOrder,
    Vehicle,
)
from jobs.packets.additions import check_chain
from jobs.packets.verify import verify_pdf
from jobs.services import holds, packet, packet_sealing, redaction
from jobs.services.erasure import ErasureEntry, erase_customer, erasure_plan
from jobs.services.holds import HoldEntry
from jobs.services.person_keys import is_destroyed
from jobs.services.redaction import FieldChoice, RedactionEntry
from jobs.services.retention_plan import ERASED
from tests.jobs.kept_job import aged, copy_of, kept_file
from tests.jobs.sealed import judged, sealed_packet
from tests.jobs.shop import Shop, new_id

REASON = "Asked for in writing on 4 May."


@pytest.fixture(autouse=True)
def _store(settings: Any, tmp_path: Path) -> None:
    settings.EVIDENCE_ROOT = tmp_path / "stored"


def erase(shop: Shop, job: Job, hhmm: str = "18:00", login: str = "lveskel", **fields: Any) -> Any:
    aged()
    entry = ErasureEntry(**({"reason": REASON} | fields))
    return erase_customer(job=job, actor=shop.actor(login), as_of=shop.at(hhmm), entry=entry)


def refused_by(shop: Shop, job: Job, name: str, *evidence: Any) -> Refusal:
    return Refusal.objects.create(
        organisation=job.organisation, job=job, procedure_id="OV-FC-STATIC", refused_by_name=name,
        relation="owner", told_text_version="1", systems_named=["lane keeping assistance"], lamp_state="lit",
        witness=shop.people["itolvaar"], at=RecordedMoment.exact(shop.at("09:30")),
        created_by=shop.people["itolvaar"], received_at=shop.at("09:30"), content_sha256="5" * 64,
        evidence=[str(row.pk) for row in evidence],
    )  # fmt: skip


def test_who_may_erase_and_with_which_words(shop: Shop, job: Job) -> None:
    for login in ("itolvaar", "tachterly"):
        with pytest.raises(NotAllowed):
            erase(shop, job, login=login)
    for reason, code in (("short", "text_length"), ("x" * 501, "text_length")):
        with pytest.raises(Refused) as refusal:
            erase(shop, job, reason=reason)
        assert refusal.value.code == code
    with pytest.raises(Refused) as many:
        erase(shop, job, evidence=tuple(new_id() for _ in range(501)))
    assert many.value.code == "too_many"
    other = shop.open_job(number="EM-2026-0418")
    with pytest.raises(NotFound):
        erase(shop, job, evidence=(kept_file(shop, other, b"theirs").pk,))
    assert not Deletion.objects.exists()
    done = erase(shop, job, login="pvantongeren")
    assert done.removed == (f"order/{job.order_id}/customer",)


def test_files_of_the_person_go_and_the_rest_stays(shop: Shop, job: Job) -> None:
    gone = [
        kept_file(shop, job, text.encode(), shows=[text])
        for text in ("plate", "owner", "person", "registration")
    ]
    signed = kept_file(shop, job, b"a signature", "signature")
    named = kept_file(shop, job, b"a scan", "scan_summary")
    stays = [kept_file(shop, job, b"a lane", shows=["lane"]), kept_file(shop, job, b"a drive", "drive_log")]
    copy = copy_of(shop, gone[0])
    refused_by(shop, job, "R. Ashgrove", signed)
    told = erasure_plan(job=job, as_of=shop.at("17:00"), evidence=(named.pk,))
    done = erase(shop, job, evidence=(named.pk,))
    assert sorted(done.removed) == sorted(item.subject for item in told.items)
    assert not any(storage.exists(row.sha256) for row in (*gone, signed, named))
    assert not storage.exists(copy.sha256)
    assert all(storage.is_intact(row.sha256) for row in stays)
    assert Refusal.objects.get().refused_by_name == ERASED
    order = RepairOrder.objects.get(pk=job.order_id)
    assert (order.customer_name, order.customer_contact) == (ERASED, "")
    # Each was decided and logged with its hash, and a second time finds nothing left to do.
    assert LogEntry.objects.filter(what="erasure.deleted").count() == len(told.items)
    assert erase(shop, job, "19:00").removed == ()
    assert verify_organisation(shop.organisation).is_whole


def test_what_another_job_holds_too_is_given_up_here_and_stays_there(shop: Shop, job: Job) -> None:
    other = shop.open_job(number="EM-2026-0418")
    mine, theirs = (kept_file(shop, one, b"one picture", shows=["plate"]) for one in (job, other))
    own = kept_file(shop, job, b"another picture", shows=["plate"])
    done = erase(shop, job)
    assert done.shared == (f"evidence/{mine.pk}/sha256",)
    assert {f"evidence/{row.pk}/sha256" for row in (mine, own)} < set(done.removed)
    assert (storage.is_intact(theirs.sha256), storage.exists(own.sha256)) == (True, False)
    # Once the other customer asks too, it goes; the first one need not ask again.
    assert erase(shop, other, "19:00").shared == ()
    assert not storage.exists(theirs.sha256)


def test_a_hold_over_this_job_stops_every_part_of_it(shop: Shop, job: Job) -> None:
    photo = kept_file(shop, job, b"a photo", shows=["plate"])
    entry = HoldEntry(id=new_id(), matter="Ashgrove against Harrowmere", jobs=(job.pk,))
    hold = holds.place_hold(actor=shop.actor("lveskel"), as_of=shop.at("12:00"), entry=entry)
    with pytest.raises(Conflict) as caught:
        erase(shop, job)
    assert (caught.value.code, caught.value.extra["holds"]) == ("under_legal_hold", [str(hold.pk)])
    assert storage.is_intact(photo.sha256)
    assert RepairOrder.objects.get(pk=job.order_id).customer_name == "R. Ashgrove"
    assert not Deletion.objects.exists()
    assert not LogEntry.objects.filter(what="customer.erasure_asked").exists()
    reason = "The matter was settled on 4 May."
    holds.ask_to_lift(hold=hold, actor=shop.actor("lveskel"), as_of=shop.at("13:00"), reason=reason)
    holds.lift_hold(hold=hold, actor=shop.actor("pvantongeren"), as_of=shop.at("14:00"))
    erase(shop, job)
    assert not storage.exists(photo.sha256)


@pytest.mark.parametrize(
    ("kinds", "without", "code"),
    [
        ((), False, ""),
        (("full",), False, "redacted_packet_missing"),
        (("full",), True, ""),
        (("full", "insurer"), False, "redacted_packet_missing"),
        (("full", "redacted"), False, ""),
    ],
)
def test_a_redacted_packet_comes_first(
    shop: Shop, job: Job, kinds: tuple[str, ...], without: bool, code: str
) -> None:
    made = [
        sealed_packet(shop, job, number=number, kind=kind, data=f"%PDF {kind}".encode())
        for number, kind in enumerate(kinds, start=1)
    ]
    if code:
        with pytest.raises(Conflict) as caught:
            erase(shop, job, without_redacted=without)
        assert caught.value.code == code
        assert all(storage.is_intact(row.pdf_sha256) for row in made)
        return
    erase(shop, job, without_redacted=without)
    assert [storage.exists(row.pdf_sha256) for row in made] == [row.kind == "redacted" for row in made]
    assert is_destroyed(organisation=shop.organisation, subject=f"customer/{job.pk}")
    for row in made:
        assert check_chain(row) == ()
        (added,) = row.additions.all()
        assert "erased at a person's request" in added.text


def test_a_car_keeps_its_plate_while_another_customer_has_it(shop: Shop, job: Job) -> None:
    Vehicle.objects.filter(pk=shop.vehicle.pk).update(plate="BRK 902")
    second = shop.open_job(number="EM-2026-0418", customer_name="P. Larkhill")
    erase(shop, job)
    assert Vehicle.objects.get(pk=shop.vehicle.pk).plate == "BRK 902"
    erase(shop, second, "19:00")
    assert Vehicle.objects.get(pk=shop.vehicle.pk).plate == ""


# ------------------------------------------------------------------ what was judged


@pytest.mark.parametrize(
    ("name", "before", "after"),
    [
        ("R. Ashgrove", {"person": "R. Ashgrove"}, {"person": ERASED}),
        ("R. Ashgrove", {"words": ["R. Ashgrove said so."]}, {"words": [f"{ERASED} said so."]}),
        ("Ólaf", {"words": "Ólaf, Ólafur"}, {"words": f"{ERASED}, Ólafur"}),
        ('Q "Q" Quill', {"words": 'by Q "Q" Quill'}, {"words": f"by {ERASED}"}),
        # People are called what the program calls things: codes, keys and other words stay.
        ("met", {"verdict": "met", "person": "met"}, {"verdict": "met", "person": ERASED}),
        ("person", {"person": "driver"}, {"person": "driver"}),
        ("Al", {"words": "All of Al"}, {"words": f"All of {ERASED}"}),
        ("glass", {"kind": "glass", "words": "glass set"}, {"kind": "glass", "words": f"{ERASED} set"}),
    ],
)
def test_names_go_from_kept_results_and_nothing_else_does(
    shop: Shop, job: Job, name: str, before: dict[str, Any], after: dict[str, Any]
) -> None:
    RepairOrder.objects.filter(pk=job.order_id).update(customer_name=name)
    made = judged(shop, job, result=json.dumps(before, ensure_ascii=False))
    erase(shop, Job.objects.get(pk=job.pk))
    assert json.loads(Assessment.objects.get(pk=made.pk).result) == after


def test_kept_facts_are_emptied_where_somebody_refused(shop: Shop, job: Job) -> None:
    for number, with_refusal in enumerate((False, True), start=1):
        one = shop.open_job(number=f"EM-2026-050{number}", customer_name=f"Quill {number}")
        kept = FactsOnFile.objects.create(
            organisation=shop.organisation, job=one, sha256=f"{number:064x}", data=b"packed", size_bytes=6,
            stored_at=shop.at("12:00"),
        )  # fmt: skip
        if with_refusal:
            refused_by(shop, one, f"Quill {number}")
        erase(shop, one, f"1{number}:30")
        assert (bytes(FactsOnFile.objects.get(pk=kept.pk).data) == b"") is with_refusal


# ------------------------------------------------------------------ nothing is left


def redacted_of(shop: Shop, full: Packet) -> Packet:
    """A redacted packet with name, contact and plate withheld wherever they stand."""
    kinds = {
        "order/customer_name": "customer_name",
        "order/customer_contact": "contact",
        "order/plate": "plate",
    }
    for _ in range(3):
        fields = tuple(FieldChoice(path=path, kind=kind, why=REASON) for path, kind in kinds.items())
        entry = RedactionEntry(id=new_id(), fields=fields)
        try:
            asked = redaction.request_redaction(
                packet=full, actor=shop.actor("lveskel"), as_of=shop.at("11:00"), entry=entry
            )
        except Refused as refusal:
            kinds |= {hit["path"]: hit["kind"] for hit in refusal.extra["hits"]}  # type: ignore[attr-defined]
        else:
            break
    made = packet_sealing.perform_packet(packet_id=asked.pk, as_of=shop.at("11:00") + timedelta(minutes=1))
    assert made.state == "sealed", made.failure_message
    return made


def everywhere(text: str) -> list[str]:
    """Where the text still stands: any column of any table of the record, packed or not; any stored file."""
    found = []
    for model in apps.get_app_config("jobs").get_models():
        for row in model._base_manager.all():
            for field in model._meta.concrete_fields:
                value = getattr(row, field.attname)
                data = bytes(value) if isinstance(value, memoryview | bytes) else str(value).encode()
                if text.encode() in data or text.encode() in unpacked(data):
                    found.append(f"{model.__name__}.{field.name}")
    for name in storage.walk():
        data = storage.read(name)
        if text.encode() in data or text.encode() in unpacked(data):
            found.append(f"file {data[:12]!r}")
    return found


def unpacked(data: bytes) -> bytes:
    try:
        return zlib.decompress(data, wbits=47)
    except zlib.error:
        return b""


@pytest.mark.slow
def test_no_row_and_no_file_holds_the_name_any_more(shop: Shop) -> None:
    """A name, contact and plate nobody else has, planted where the program writes them; then looked for."""
    shop.publish("common-practice.3.yaml")
    shop.observe_clock("07:29")
    name, contact, plate = "Quillaume Xanthos", "xanthos@mail.example", "QXQ 909"
    job = shop.open_job(customer_name=name, customer_contact=contact)
    Vehicle.objects.filter(pk=shop.vehicle.pk).update(plate=plate)
    job = Job.objects.select_related("order__vehicle").get(pk=job.pk)
    refused_by(shop, job, name)
    IdempotencyRecord.objects.create(
        organisation=shop.organisation, caller="token:1", key="k1", method="POST", path="/api/v1/orders",
        request_sha256="0" * 64, status=201, body=json.dumps({"customer_name": name}).encode(),
        started_at=shop.at("07:31"), finished_at=shop.at("07:31"),
    )  # fmt: skip
    full = packet.request_packet(job=job, actor=shop.actor("tachterly"), as_of=shop.at("10:00"))
    full = packet_sealing.perform_packet(packet_id=full.pk, as_of=shop.at("10:01"))
    redacted = redacted_of(shop, full)
    assert len(everywhere(name)) >= 4
    done = erase(shop, job)
    assert (done.waiting, done.stopped, done.shared) == ((), (), ())
    left = {text: everywhere(text) for text in (name, contact, plate)}
    assert left == {name: [], contact: [], plate: []}
    assert verify_pdf(storage.read(redacted.pdf_sha256), stored=storage.is_intact).agrees
    assert verify_organisation(shop.organisation).is_whole
