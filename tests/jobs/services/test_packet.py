"""Packets by services: asked for, frozen, sealed once, served as sealed, superseded, failed with a name."""

import json
import uuid
from collections.abc import Iterator
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from jobs import storage
from jobs.errors import Conflict, NotAllowed, Refused
from jobs.models import AccessGrant, Assessment, Job, LogEntry, OutboxEntry, Packet, scope
from jobs.packets.source import PacketSource
from jobs.packets.verify import verify_pdf
from jobs.services import packet as packets
from jobs.services import packet_sealing, sharing
from jobs.services.person_keys import keys_of_source
from jobs.services.signing_keys import make_demo_key
from rules.canonical import sha256_hex
from tests.factories import PersonFactory
from tests.jobs.services.test_evidence_intake import climate, picture
from tests.jobs.shop import Shop, eastmarch

pytestmark = pytest.mark.slow


@pytest.fixture(autouse=True)
def store(settings: Any, tmp_path: Path) -> Path:
    settings.EVIDENCE_ROOT = tmp_path / "stored"
    settings.WM_SIGNING_DIR = str(tmp_path / "keys")
    return tmp_path


@pytest.fixture
def shop(db: None) -> Iterator[Shop]:
    made = eastmarch()
    with scope(made.organisation.pk):
        made.publish("common-practice.3.yaml", "orrinvale.7.yaml")
        make_demo_key(organisation=made.organisation, as_of=made.at("06:00"))
        yield made


@pytest.fixture
def job(shop: Shop) -> Job:
    """An open job with one photo and one climate log."""
    shop.observe_clock("07:29")
    made = shop.open_job()
    shop.upload(made, picture(shop, "08:00"), hhmm="08:00", shows=("plate",))
    climate(shop, made)
    return made


def ask(shop: Shop, job: Job, hhmm: str = "10:00", **more: Any) -> Packet:
    return packets.request_packet(job=job, actor=shop.actor("tachterly"), as_of=shop.at(hhmm), **more)


def sealed(shop: Shop, job: Job, hhmm: str = "10:00", **more: Any) -> Packet:
    asked = ask(shop, job, hhmm, **more)
    return packet_sealing.perform_packet(packet_id=asked.pk, as_of=shop.at(hhmm) + timedelta(seconds=20))


def entries(what: str) -> list[dict[str, Any]]:
    return [json.loads(row.detail) for row in LogEntry.objects.filter(what=what).order_by("n")]


def test_asking_makes_a_row_and_work_and_one_log_entry(shop: Shop, job: Job) -> None:
    packet = ask(shop, job)
    assert (packet.serial, packet.number, packet.state) == ("EM-2026-0417/P1", 1, "waiting")
    assert len(bytes(packet.salt_key)) == 32
    work = OutboxEntry.objects.get(task="jobs.build_packet")
    assert work.arguments == {"packet_id": str(packet.pk)}
    assert len(entries("packet.requested")) == 1


def test_one_that_waits_is_joined_and_ids_are_used_once(shop: Shop, job: Job) -> None:
    given = uuid.uuid4()
    first = ask(shop, job, packet_id=given)
    assert ask(shop, job, packet_id=given).pk == first.pk == given
    assert ask(shop, job, "10:01").pk == given
    with pytest.raises(Conflict) as caught:
        ask(shop, job, packet_id=given, kind="insurer")
    assert caught.value.code == "id_in_use"
    assert Packet.objects.count() == 1


def test_who_may_ask_and_for_what(shop: Shop, job: Job) -> None:
    PersonFactory.create(
        organisation=shop.organisation, login="jquell", name="Joris Quell", roles=["auditor"]
    )
    from_outside = shop.actor("tachterly")
    object.__setattr__(from_outside, "roles", frozenset({"auditor"}))
    with pytest.raises(NotAllowed) as caught:
        packets.request_packet(job=job, actor=from_outside, as_of=shop.at("10:00"))
    assert caught.value.code == "role_missing"
    with pytest.raises(Refused) as refused:
        ask(shop, job, kind="redacted")
    assert refused.value.code == "kind_not_built"
    assert Packet.objects.count() == 0
    assert ask(shop, job).state == "waiting"


def test_sealing_stores_the_bytes_once_and_logs_their_hash(shop: Shop, job: Job) -> None:
    packet = sealed(shop, job)
    assert packet.state == "sealed"
    data = packets.sealed_bytes(packet)
    assert sha256_hex(data) == packet.pdf_sha256
    assert len(data) == packet.pdf_bytes
    (told,) = entries("packet.sealed")
    assert (told["body_sha256"], told["root"]) == (packet.body_sha256, packet.merkle_root)
    assert told["body_bytes"] == packet.body_bytes
    assert sha256_hex(data[: told["body_bytes"]]) == packet.body_sha256
    (told,) = entries("packet.signed")
    assert (told["pdf_sha256"], told["pades_level"]) == (packet.pdf_sha256, "B-B")
    kept = Assessment.objects.get(pk=packet.assessment_id)
    source = PacketSource.from_bytes(storage.read(packet.source_sha256))
    assert kept.facts_sha256 == source.assessment.facts_sha256
    assert {item["path"] for item in packet.contents} >= {
        "facts.json",
        "evidence-0001.jpg",
        "evidence-0002.csv",
    }
    assert verify_pdf(data, stored=storage.is_intact, expected_pdf_sha256=packet.pdf_sha256).agrees


def test_repeating_the_work_changes_nothing(shop: Shop, job: Job) -> None:
    packet = sealed(shop, job)
    again = packet_sealing.perform_packet(packet_id=packet.pk, as_of=shop.at("11:00"))
    assert (again.pdf_sha256, again.built_at) == (packet.pdf_sha256, packet.built_at)
    assert len(entries("packet.sealed")) == 1


def test_a_second_attempt_builds_the_same_bytes_from_the_frozen_input(shop: Shop, job: Job) -> None:
    """The worker died after freezing; then something new came in. The packet speaks for its instant."""
    asked = ask(shop, job)
    begun = packet_sealing._begin(asked.pk)
    packet_sealing._frozen(begun, shop.at("10:00"))
    climate(shop, job, data=b"t,temp_c,rh_percent\n2026-05-05T10:10:00-05:00,19.9,51\n", hhmm="10:20")
    done = packet_sealing.perform_packet(packet_id=asked.pk, as_of=shop.at("10:30"))
    assert done.state == "sealed"
    assert "evidence-0003.csv" not in {item["path"] for item in done.contents}
    source = PacketSource.from_bytes(storage.read(done.source_sha256))
    keys = keys_of_source(organisation=shop.organisation, source=source, as_of=shop.at("11:00"))
    rebuilt = packet_sealing.build_packet(source, bytes(done.salt_key), storage.path, keys)
    assert rebuilt.pdf_sha256 == done.body_sha256
    assert packets.sealed_bytes(done).startswith(rebuilt.pdf)


def test_a_later_request_is_served_the_sealed_one_until_the_record_changes(shop: Shop, job: Job) -> None:
    first = sealed(shop, job)
    assert ask(shop, job, "12:00").pk == first.pk
    climate(shop, job, data=b"t,temp_c,rh_percent\n2026-05-05T12:10:00-05:00,19.9,51\n", hhmm="12:20")
    second = sealed(shop, job, "12:30")
    assert (second.serial, second.supersedes_id) == ("EM-2026-0417/P2", first.pk)
    assert second.pdf_sha256 != first.pdf_sha256
    first.refresh_from_db()
    assert sha256_hex(packets.sealed_bytes(first)) == first.pdf_sha256


def test_a_changed_original_is_named_and_nothing_is_sealed(shop: Shop, job: Job) -> None:
    asked = ask(shop, job)
    photo = next(iter(job.evidences.filter(number=1)))
    path = storage.path(photo.sha256)
    data = bytearray(path.read_bytes())
    data[100] ^= 1
    path.write_bytes(bytes(data))
    failed = packet_sealing.perform_packet(packet_id=asked.pk, as_of=shop.at("10:01"))
    assert (failed.state, failed.failure_code) == ("failed", "evidence_changed")
    assert "evidence-0001.jpg" in failed.failure_message
    assert entries("packet.failed")[0]["code"] == "evidence_changed"
    with pytest.raises(Conflict) as caught:
        packets.sealed_bytes(failed)
    assert caught.value.code == "packet_not_sealed"


def test_burying_marks_it_failed_but_never_a_sealed_one(shop: Shop, job: Job) -> None:
    asked = ask(shop, job)
    packet_sealing.bury_packet(packet_id=asked.pk, error="no room left", as_of=shop.at("10:05"))
    asked.refresh_from_db()
    assert (asked.state, asked.failure_code) == ("failed", "packet_not_built")
    done = sealed(shop, job, "10:10")
    packet_sealing.bury_packet(packet_id=done.pk, error="late", as_of=shop.at("10:15"))
    done.refresh_from_db()
    assert done.state == "sealed"


def test_the_copy_for_a_recipient(shop: Shop, job: Job) -> None:
    packet = sealed(shop, job)
    PersonFactory.create(
        organisation=shop.organisation, login="jquell", name="Joris Quell", roles=["auditor"]
    )
    grant = sharing.grant_access(
        packet=packet, actor=shop.actor("tachterly"), as_of=shop.at("11:00"),
        entry=sharing.GrantEntry(
            id=uuid.uuid4(), to_person="jquell", purpose="insurer_audit", until=shop.text("11:00", days=30)
        ),
    )  # fmt: skip
    copy = packets.stamped_copy(packet=packet, grant=grant, at=shop.at("11:30"))
    found = verify_pdf(copy, expected_pdf_sha256=packet.pdf_sha256)
    assert found.agrees
    assert found.root == packet.merkle_root
    assert sha256_hex(packets.sealed_bytes(packet)) == packet.pdf_sha256
    other = AccessGrant(pk=uuid.uuid4(), packet_id=uuid.uuid4())
    with pytest.raises(Conflict) as caught:
        packets.stamped_copy(packet=packet, grant=other, at=shop.at("11:30"))
    assert caught.value.code == "grant_of_another_packet"


# ------------------------------------------------------------------ the command


def run(*arguments: str) -> tuple[int, str]:
    out, err = StringIO(), StringIO()
    with pytest.raises(SystemExit) as caught:
        call_command("verify_packet", *arguments, stdout=out, stderr=err)
    return int(str(caught.value.code)), out.getvalue() + err.getvalue()


def test_the_command_checks_file_storage_and_record(shop: Shop, job: Job, store: Path) -> None:
    packet = sealed(shop, job)
    file = store / "packet.pdf"
    file.write_bytes(packets.sealed_bytes(packet))
    status, text = run(str(file))
    assert status == 0
    assert "Nothing has changed since it was sealed" in text
    status, text = run(str(file), "--json")
    told = json.loads(text)
    assert (status, told["agrees"], told["root"]) == (0, True, packet.merkle_root)

    photo = next(iter(job.evidences.filter(number=1)))
    path = storage.path(photo.sha256)
    original = path.read_bytes()
    path.write_bytes(original[:-1] + bytes([original[-1] ^ 1]))
    status, text = run(str(file))
    assert status == 1
    assert "evidence-0001.jpg (stored file)" in text
    status, text = run(str(file), "--alone")
    assert status == 0
    # Without the sealed hash at hand nothing is said of the pages that a person reads.
    assert "The printed pages were not compared" in text
    assert "Nothing has changed" not in text
    path.write_bytes(original)

    # The customer's name in the attached manifest, which lies in the file uncompressed.
    broken = file.read_bytes().replace(b'"R. Ashgrove"', b'"R. Ashgrave"')
    assert broken != file.read_bytes()
    file.write_bytes(broken)
    status, text = run(str(file), "--json")
    assert status == 1
    assert "order/customer_name" in text or "tree root" in text


def test_the_command_tells_what_is_no_packet(store: Path, db: None) -> None:
    file = store / "note.txt"
    file.write_text("no packet")
    assert run(str(file))[0] == 2
    assert run(str(store / "absent.pdf"))[0] == 2
