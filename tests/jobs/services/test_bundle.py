"""Bundles by services: the sealed file for one's own people, a signed copy for others, each checked whole."""

import io
import json
import zipfile
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from jobs import copies, storage
from jobs.access import Actor, actor_for_person, get_packet_for
from jobs.errors import Conflict, Gone, NotFound
from jobs.models import AccessGrant, Job, LogEntry, Packet, PacketDownload, scope
from jobs.packets.additions import additions_listed
from jobs.packets.bundle import BundleError
from jobs.packets.verify import verify_file
from jobs.selectors.deletions import deleted_note, require_kept
from jobs.services import packet as packets
from jobs.services import packet_sealing, retention, retention_policy, sharing
from jobs.services.additions import add_to_packet
from jobs.services.bundle import take_bundle
from jobs.services.downloads import Caller
from jobs.services.heads import publish_head
from jobs.services.signing_keys import make_demo_key
from rules.seal.bundle_check import check_bundle
from rules.seal.report import Verification
from tests.factories import PersonFactory
from tests.jobs.kept_job import aged, delivered
from tests.jobs.services.test_evidence_intake import climate, picture
from tests.jobs.shop import Shop, eastmarch, new_id

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
    shop.observe_clock("07:29")
    made = shop.open_job()
    shop.upload(made, picture(shop, "08:00"), hhmm="08:00", shows=("plate",))
    climate(shop, made)
    return made


@pytest.fixture
def packet(shop: Shop, job: Job) -> Packet:
    asked = packets.request_packet(job=job, actor=shop.actor("tachterly"), as_of=shop.at("10:00"))
    done = packet_sealing.perform_packet(packet_id=asked.pk, as_of=shop.at("10:01"))
    assert done.state == "sealed", done.failure_message
    return done


def verified(download: PacketDownload, key: str | None = None) -> Verification:
    assert download.copy is not None
    with copies.path(download.copy).open("rb") as stream:
        return check_bundle(stream, key=key)


def names(download: PacketDownload) -> list[str]:
    assert download.copy is not None
    with zipfile.ZipFile(copies.path(download.copy)) as archive:
        return [name.partition("/")[2] for name in archive.namelist()]


def own(shop: Shop, packet: Packet, hhmm: str = "12:00") -> PacketDownload:
    return take_bundle(
        packet=packet,
        actor=shop.actor("tachterly"),
        as_of=shop.at(hhmm),
        caller=Caller(ip="192.0.2.7", user_agent="test", request_id="r-1"),
    )


def grant_to(shop: Shop, packet: Packet, **more: Any) -> tuple[AccessGrant, Actor]:
    outsider = PersonFactory(
        login="aquell", organisation=shop.organisation, roles=["auditor"], name="A. Quell"
    )
    entry = sharing.GrantEntry(
        id=new_id(), to_person="aquell", purpose="insurer_audit",
        until=(shop.at("12:00") + timedelta(days=10)).isoformat(), **more,
    )  # fmt: skip
    grant = sharing.grant_access(
        packet=packet, actor=shop.actor("tachterly"), as_of=shop.at("12:00"), entry=entry
    )
    return grant, actor_for_person(outsider, as_of=shop.at("12:00"))


def test_ones_own_people_get_the_sealed_file_with_all_that_belongs_to_it(shop: Shop, packet: Packet) -> None:
    add_to_packet(
        packet=packet,
        kind="look_back",
        text="A look-back.",
        facts={"a": 1},
        as_of=shop.at("11:00"),
        who="lveskel",
    )
    download = own(shop, packet)
    found = verified(download)
    assert [line.what for line in found.lines if line.result == "differs"] == []
    assert {line.what for line in found.lines if line.result == "not_checked"} <= {
        "certificate", "key", "earlier head", "kept head",
    }  # fmt: skip
    assert found.serial == packet.serial
    assert found.is_demo
    assert "DEMONSTRATION" in found.line("key").text
    assert found.pdf_sha256 == packet.pdf_sha256
    inside = names(download)
    assert {
        "data/packet.pdf",
        "data/sealing.json",
        "data/log-extract.json",
        "check.pyz",
        "check.html",
    } <= set(inside)
    assert {"data/additions/addition-0001.json", "data/additions/addition-0001.pdf"} <= set(inside)
    originals = [name for name in inside if name.startswith("data/evidence-")]
    assert len(originals) == 2


def test_the_same_bundle_twice_is_the_same_bytes(shop: Shop, packet: Packet) -> None:
    assert own(shop, packet).sha256 == own(shop, packet, "12:30").sha256


def test_it_is_counted_and_logged_with_its_hash(shop: Shop, packet: Packet) -> None:
    download = own(shop, packet)
    row = LogEntry.objects.filter(what="packet.downloaded").latest("n")
    told = json.loads(row.detail)
    assert (told["form"], told["sha256"], told["bytes"]) == ("bundle", download.sha256, download.size_bytes)
    assert (row.who, download.form, download.ip) == ("tachterly", "bundle", "192.0.2.7")


def test_additions_are_proven_by_the_head_signed_over_their_pages(shop: Shop, packet: Packet) -> None:
    """Taking the bundle prints what was not printed yet, and that signs a head over its entry."""
    add_to_packet(
        packet=packet, kind="comeback", text="It came again.", facts={}, as_of=shop.at("11:00"), who="lveskel"
    )
    for hhmm in ("11:30", "13:30"):
        line = verified(own(shop, packet, hhmm)).line("log extract")
        assert line.result == "agrees"
        assert "came after its head" not in line.text
        if hhmm == "11:30":
            publish_head(organisation=packet.organisation, as_of=shop.at("13:00") + timedelta(days=1))


def test_somebody_from_outside_gets_a_signed_copy_and_a_stranger_nothing(shop: Shop, packet: Packet) -> None:
    _, auditor = grant_to(shop, packet, max_downloads=1)
    row = get_packet_for(auditor, packet.pk, as_of=shop.at("12:10"))
    download = take_bundle(packet=row, actor=auditor, as_of=shop.at("12:10"))
    found = verified(download)
    assert found.agrees, found.at_fault
    assert found.pdf_sha256 != packet.pdf_sha256
    assert found.line("pdf signature").result == "agrees"
    assert "stamped copy" in found.line("entry").text
    assert "data/recipient.json" in names(download)
    with pytest.raises((Gone, NotFound)):
        take_bundle(packet=row, actor=auditor, as_of=shop.at("12:11"))
    nobody = PersonFactory(login="nobody", organisation=shop.organisation, roles=["auditor"])
    with pytest.raises(NotFound):
        take_bundle(
            packet=packet, actor=actor_for_person(nobody, as_of=shop.at("12:00")), as_of=shop.at("12:12")
        )
    assert PacketDownload.objects.filter(form="bundle").count() == 1


def test_a_damaged_store_is_told_before_a_byte_goes_out(shop: Shop, packet: Packet) -> None:
    before = set(copies.all_kept())
    original = storage.path(next(item["sha256"] for item in packet.contents if "evidence-" in item["path"]))
    original.chmod(0o600)
    original.write_bytes(original.read_bytes()[:-1] + b"\x00")
    with pytest.raises(BundleError) as caught:
        own(shop, packet)
    assert caught.value.code == "original_changed"
    original.unlink()
    with pytest.raises(BundleError) as caught:
        own(shop, packet)
    assert caught.value.code == "original_missing"
    assert set(copies.all_kept()) == before
    assert not PacketDownload.objects.exists()


def test_what_retention_deleted_is_left_out_and_told_and_what_is_lost_is_a_failure(
    shop: Shop, job: Job, packet: Packet, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Photos go after a year; the run is killed before it tells the packet, and the bundle tells it then."""
    retention_policy.set_rule(
        actor=shop.actor("lveskel"), as_of=shop.at("18:00"), kind="photo_originals", amount=12,
        reason="Agreed with counsel on 4 May.",
    )  # fmt: skip
    delivered(job, shop.at("17:00"))
    photo = job.evidences.get(kind="photo")
    aged()
    later = shop.at("12:00", days=366)
    with monkeypatch.context() as killed:
        killed.setattr(retention, "tell_packets", lambda **_: 0)
        retention.nightly(organisation=shop.organisation, as_of=later)
    assert not storage.exists(photo.sha256)
    assert not additions_listed(packet)

    download = take_bundle(packet=packet, actor=shop.actor("tachterly"), as_of=later)
    assert "data/evidence-0001.jpg" not in names(download)
    found = verified(download)
    assert [line for line in found.lines if line.result == "differs"] == []
    line = found.line("originals")
    words = deleted_note(photo.sha256)
    assert words == "deleted under the retention policy on 6 May 2027; its SHA-256 remains"
    assert (line.result, f"evidence-0001.jpg is {words}" in line.text) == ("not_checked", True)
    assert found.line("additions").result == found.line("log extract").result == "agrees"
    assert [addition.kind for addition in additions_listed(packet)] == ["retention"]
    # Told once: the nightly run has nothing left to tell.
    assert retention.tell_packets(organisation=shop.organisation, as_of=later) == 0

    # Checked where the record is, storage is not said to be damaged.
    stored = io.BytesIO(packets.sealed_bytes(packet))
    here = verify_file(
        stored, stored=storage.is_intact, expected_pdf_sha256=packet.pdf_sha256, deleted=deleted_note
    )
    assert here.agrees
    assert f"evidence-0001.jpg is {words}" in here.line("storage").text
    assert not verify_file(stored, stored=storage.is_intact).agrees

    # The same words for the file itself.
    with pytest.raises(Gone) as gone:
        require_kept(photo)
    assert (gone.value.code, gone.value.message) == ("evidence_deleted", f"This file was {words}.")

    # Another original that is merely lost is no deletion.
    lost = job.evidences.exclude(pk=photo.pk).get()
    storage.path(lost.sha256).unlink()
    with pytest.raises(BundleError) as caught:
        take_bundle(packet=packet, actor=shop.actor("tachterly"), as_of=later)
    assert caught.value.code == "original_missing"

    # Ten years later the packet itself is deleted, which is told in the same words.
    aged()
    last = shop.at("12:00", days=3654)
    retention.nightly(organisation=shop.organisation, as_of=last)
    assert not storage.exists(packet.pdf_sha256)
    with pytest.raises(Gone) as gone:
        take_bundle(packet=packet, actor=shop.actor("tachterly"), as_of=last)
    assert gone.value.code == "packet_deleted"
    assert "deleted under the retention policy on 6 May 2036" in gone.value.message


def test_a_packet_that_is_not_sealed_has_no_bundle(shop: Shop, job: Job) -> None:
    asked = packets.request_packet(job=job, actor=shop.actor("tachterly"), as_of=shop.at("10:00"))
    with pytest.raises(Conflict) as caught:
        own(shop, asked)
    assert caught.value.code == "packet_not_sealed"
