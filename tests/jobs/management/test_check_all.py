"""The whole check in this process: what each damage is called, what was deleted on purpose, the status."""

import json
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from jobs import storage
from jobs.ledger.heads import signed_plain
from jobs.models import Job, LogEntry, Packet, PacketAddition, scope
from jobs.services import whole_check
from jobs.services.additions import add_to_packet
from jobs.services.heads import publish_head
from jobs.services.whole_check import check_everything, counts_of_record
from rules.canonical import canonical_bytes
from rules.seal.report import Verification
from tests.factories import second_organisation
from tests.jobs.kept_job import aged, delivered, kept_file
from tests.jobs.sealed import sealed_packet
from tests.jobs.services.test_retention import run
from tests.jobs.shop import Shop, eastmarch
from tests.record_guards import without_guards


@pytest.fixture
def shop(db: None, settings: Any, tmp_path: Path) -> Iterator[Shop]:
    settings.EVIDENCE_ROOT = tmp_path / "stored"
    made = eastmarch()
    with scope(made.organisation.pk):
        yield made


@pytest.fixture
def job(shop: Shop) -> Job:
    shop.observe_clock("07:29")
    return shop.open_job()


@pytest.fixture
def read_as_sealed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Reading sealed files is slow and tested elsewhere: here their bytes only have to be the stored ones."""
    seen: list[str] = []

    def told(pdf: bytes, *, stored: Any, expected_pdf_sha256: str) -> Any:
        seen.append(expected_pdf_sha256)
        return Verification(form="packet", serial="", root="", pdf_sha256="", lines=())

    monkeypatch.setattr(whole_check, "verify_pdf", told)
    return seen


def command(*arguments: str) -> tuple[int, dict[str, Any]]:
    out, err = StringIO(), StringIO()
    try:
        call_command("check_all", "--json", *arguments, stdout=out, stderr=err)
    except SystemExit as ended:
        return int(str(ended.code)), json.loads(out.getvalue() or "{}")
    return 0, json.loads(out.getvalue())


@pytest.mark.usefixtures("read_as_sealed")
def test_a_sound_record_agrees_and_is_counted(shop: Shop, job: Job) -> None:
    packet = sealed_packet(shop, job)
    kept_file(shop, job, b"a photo")
    with scope(second_organisation()["organisation"].pk):
        pass
    storage.put(b"named by nobody")
    status, told = command()
    assert (status, told["faults"]) == (0, [])
    assert told["counts"] | {"log_entries": 0, "bytes": 0} == {
        "organisations": 2, "jobs": 1, "evidence": 1, "log_entries": 0, "packets": 1, "additions": 0,
        "files": 3, "bytes": 0, "unnamed": 1,
    }  # fmt: skip
    last = LogEntry.objects.order_by("-n").first()
    assert last is not None
    assert told["heads"][str(shop.organisation.pk)] == {"n": last.n, "hash": last.hash}
    assert counts_of_record()["packets"] == 1
    assert packet.state == "sealed"


@pytest.mark.usefixtures("read_as_sealed")
def test_each_damage_is_named(shop: Shop, job: Job) -> None:
    packet = sealed_packet(shop, job)
    photo, scan = kept_file(shop, job, b"a photo"), kept_file(shop, job, b"a scan", "scan_summary")
    at = shop.at("16:00")
    for text in ("It came again.", "And again."):
        add_to_packet(packet=packet, kind="comeback", text=text, facts={}, as_of=at, who="itolvaar", key=text)
    assert command()[0] == 0
    storage.path(photo.sha256).unlink()
    storage.path(scan.sha256).write_bytes(b"a scam")
    storage.path(packet.pdf_sha256).write_bytes(b"another file")
    with without_guards():
        LogEntry.objects.filter(n=2).update(who="nobody")
        PacketAddition.objects.filter(number=1).update(text="It never came.", sha256="f" * 64)
    status, told = command()
    said = "\n".join(told["faults"])
    assert status == 1
    for words in (
        "log of Brackwater Repair Group: hash at entry 2",
        f"stored file {photo.sha256} is missing",
        f"stored file {scan.sha256} is damaged",
        f"stored file {packet.pdf_sha256} is damaged",
        f"packet {packet.serial}: The file stored under {packet.pdf_sha256} was changed.",
    ):
        assert words in said
    assert any(
        fault.startswith(f"packet {packet.serial}: ") and "ddition" in fault for fault in told["faults"]
    )


def test_a_sealed_file_that_is_no_packet_is_named(shop: Shop, job: Job) -> None:
    packet = sealed_packet(shop, job, data=b"%PDF-1.7 nothing else")
    (fault,) = check_everything().faults
    assert fault.startswith(f"packet {packet.serial}: ")
    assert check_everything(packets=False).faults == ()


def test_what_was_deleted_on_purpose_is_no_fault(shop: Shop, job: Job, read_as_sealed: list[str]) -> None:
    kept_file(shop, delivered(job, shop.at("17:00")), b"a photo")
    packet = sealed_packet(shop, job)
    aged()
    run(shop, 3654)
    assert not storage.exists(Packet.objects.get(pk=packet.pk).pdf_sha256)
    assert command() == (0, command()[1])
    assert read_as_sealed == []


def test_a_head_kept_outside(shop: Shop, job: Job, tmp_path: Path) -> None:
    head = publish_head(organisation=shop.organisation, as_of=shop.at("20:00"))
    assert head is not None
    kept = tmp_path / "head.json"
    kept.write_bytes(canonical_bytes(signed_plain(head)))
    assert command("--against", str(kept))[0] == 0
    other = signed_plain(head)
    for change, status, words in (
        ({"root": "0" * 64}, 1, "outside_head"),
        ({"size": head.size + 9}, 1, "outside_head"),
        ({"organisation": "00000000-0000-4000-8000-000000000417"}, 1, "there is no log of"),
    ):
        kept.write_text(json.dumps({"head": other["head"] | change}))
        found, told = command("--against", str(kept))
        assert (found, words in str(told["faults"])) == (status, True), told
    # What cannot be compared is neither the same nor different.
    kept.write_text("no head")
    assert command("--against", str(kept)) == (2, {})
    assert command("--against", str(tmp_path / "absent")) == (2, {})
