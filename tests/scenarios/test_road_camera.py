"""A windshield job with a camera aimed on the road, from intake to a packet that a stranger can check.

The day, its readings and every expected figure are of the invented world; that 600 s and 120 s are counted as
they are is common practice, no source.
"""

import io
import json
import subprocess
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pikepdf
import pytest

from jobs import storage
from jobs.models import Packet, unscoped
from jobs.packets.build import build_packet
from jobs.packets.source import PacketSource
from jobs.services.person_keys import keys_of_source
from portal.demo.steps import Plan
from portal.demo.windshield import Attempt, WindshieldJob
from rules.canonical import sha256_hex
from rules.explain import VERDICT_WORDS, readable
from tests.scenarios.packets import Taken, body_of, packet_of, told_in, unbroken, verify
from tests.scenarios.stage import DAY, Read, Sent, Stage, number_in, refused, row_counts, stored_files

pytestmark = [pytest.mark.django_db, pytest.mark.slow]

ROAD = "OV-FC-ROAD"


@dataclass(frozen=True)
class Played:
    """The day as it went: the gate on the way, the judgement at the end, the packet."""

    job: WindshieldJob
    before_aiming: Read
    ready_to_release: Read
    after: Read
    packet: Taken
    sent: tuple[Sent, ...]


@pytest.fixture(scope="module")
def played(stage: Stage) -> Played:
    job = WindshieldJob(stage.scene, Plan())
    attempt = Attempt(day=DAY)
    job.until_ready()
    job.prepare(attempt)
    before_aiming = Read(job.assessment())
    job.aim(attempt)
    job.finish(DAY)
    job.sign(DAY, "11:12", "itolvaar", "technician")
    job.sign(DAY, "11:25", "dpell", "quality_reviewer")
    ready_to_release = Read(job.assessment())
    job.release(DAY, "11:31")
    job.deliver(DAY, "11:42", 21026)
    after = Read(job.assessment())
    packet = packet_of(job, DAY, "11:50")
    return Played(job, before_aiming, ready_to_release, after, packet, tuple(stage.transport.sent))


# ------------------------------------------------------------------ the judgement


def test_the_gate_is_shut_until_the_last_proof_is_in(played: Played) -> None:
    assert played.before_aiming.told["disposition"] == "hold"
    assert played.before_aiming.verdict("CP-EVERY/final") == ("not_shown", ["missing"])
    assert played.before_aiming.verdict(f"{ROAD}/drive") == ("not_shown", ["missing"])
    assert played.ready_to_release.gate == ("met", "release")


def test_everything_is_met_in_the_end(played: Played) -> None:
    assert played.after.open == {}
    assert played.after.gate == ("met", "release")
    assert played.after.told["left_against_hold"] is False
    states = {item["procedure_id"]: item["state"] for item in played.after.told["requirements"]}
    assert {name for name, state in states.items() if state == "required"} == {"CP-EVERY", "CP-BOND", ROAD}
    assert "cannot_tell" not in states.values()
    assert played.after.procedure(ROAD)["accepted"] is True
    assert len(played.after.told["findings"]) == 13 + 3 + 11


def test_the_drive_counts_719_seconds(played: Played) -> None:
    drive = played.after.finding(f"{ROAD}/drive")
    assert drive["outcome"]["verdict"] == "met"
    assert [number_in(drive, f"run_{place}_s") for place in (1, 2, 3)] == [341, 233, 145]
    assert (number_in(drive, "counted_s"), number_in(drive, "longest_s")) == (719, 341)
    assert number_in(drive, "high_s") == 719
    assert number_in(drive, "track_km") == pytest.approx(18.92, abs=0.005)


def test_the_odometer_and_the_track_are_of_one_drive(played: Played) -> None:
    finding = played.after.finding(f"{ROAD}/odo")
    numbers = {item["name"]: item for item in finding["outcome"]["numbers"]}
    assert finding["outcome"]["verdict"] == "met"
    assert (numbers["odometer_km"]["lower"], numbers["odometer_km"]["upper"]) == (18, 20)
    track = numbers["track_km"]
    assert (round(track["lower"], 2), round(track["upper"], 2)) == (18.35, 19.49)


def test_the_adhesive_is_ready_at_10_10(played: Played) -> None:
    finding = played.after.finding("CP-BOND/ready")
    assert finding["outcome"]["verdict"] == "met"
    assert number_in(finding, "guarded_temp") == pytest.approx(18.49, abs=0.005)
    assert number_in(finding, "guarded_rh") == pytest.approx(49.5, abs=0.05)
    assert number_in(finding, "minutes") == 90
    ready = datetime.fromisoformat(played.after.told["ready"]["ready_cautious"])
    # The tablet's clock was compared with the server's: known to well below a second.
    exact = datetime(2026, 5, 5, 15, 10, tzinfo=UTC)
    assert exact <= ready < exact + timedelta(seconds=1)
    assert "Ready not before 10:10 on 2026-05-05" in finding["outcome"]["sentence"]


# ------------------------------------------------------------------ the packet


def test_the_packet_is_what_was_sealed(played: Played, tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    assert played.packet.state["serial"] == "EM-2026-0417/P1"
    assert sha256_hex(played.packet.pdf) == played.packet.state["pdf_sha256"]
    status, told = verify(played.packet.pdf, tmp_path, capsys)
    assert (status, "DIFFERS" in told) == (0, False), told


def test_the_text_of_the_packet_says_everything(played: Played, tmp_path: Path) -> None:
    text = body_of(played.packet.pdf, tmp_path)
    packed = unbroken(text)
    for finding in played.after.told["findings"]:
        outcome = finding["outcome"]
        assert VERDICT_WORDS[outcome["verdict"]] in text
        for part in (*told_in(finding), *(readable(note) for note in outcome["notes"])):
            assert unbroken(part) in packed, (finding["procedure_id"], finding["proof_id"], part)
    for words in ("719 s", "341", "233", "145", "10:10", "Gate: release", "not shown", "waived", "refused"):
        assert words in text


def test_qpdf_finds_nothing(played: Played, tmp_path: Path) -> None:
    path = tmp_path / "packet.pdf"
    path.write_bytes(played.packet.pdf)
    checked = subprocess.run(["qpdf", "--check", str(path)], capture_output=True, check=False)
    assert checked.returncode == 0, checked.stdout.decode() + checked.stderr.decode()


def test_the_attachments_open_and_are_what_was_uploaded(played: Played) -> None:
    uploaded = {
        sha256_hex(sent.body)
        for sent in played.sent
        if sent.method == "PUT" and "/evidence/" in sent.path and sent.body is not None
    }
    with pikepdf.Pdf.open(io.BytesIO(played.packet.pdf)) as pdf:
        attached = {name: spec.get_file().read_bytes() for name, spec in pdf.attachments.items()}
    names = {"manifest.json", "facts.json", "assessment.json"}
    assert names | {"pack-orrinvale-7.yaml", "pack-common-practice-3.yaml"} <= attached.keys()
    entries = json.loads(attached["manifest.json"])["entries"]
    evidence = {entry["value"]["sha256"] for entry in entries if entry["path"].startswith("files/evidence-")}
    assert len(uploaded) > 10
    # The originals travel in the bundle; the packet names each by its hash.
    assert evidence == uploaded
    assert not any(name.startswith("evidence-") for name in attached)


def test_one_byte_of_stored_evidence(played: Played, tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    """The verifier names the file of the packet whose stored original is no longer what it was."""
    uploaded = next(sent for sent in played.sent if "drive-first.gpx" in sent.path)
    assert uploaded.body is not None
    path = storage.path(sha256_hex(uploaded.body))
    untouched = path.read_bytes()
    name = next(item["path"] for item in _contents(played) if item["sha256"] == sha256_hex(uploaded.body))
    try:
        path.chmod(0o600)
        path.write_bytes(untouched[:500] + bytes([untouched[500] ^ 1]) + untouched[501:])
        status, told = verify(played.packet.pdf, tmp_path, capsys)
    finally:
        path.write_bytes(untouched)
    assert status == 1
    at_fault = [line for line in told.splitlines() if "at fault" in line]
    assert len(at_fault) == 1
    assert name in at_fault[0]
    assert verify(played.packet.pdf, tmp_path, capsys)[0] == 0


def test_built_again_it_is_the_same_to_the_last_byte(played: Played) -> None:
    with unscoped():
        packet = Packet.objects.get(pk=played.packet.id)
    source = PacketSource.from_bytes(storage.read(packet.source_sha256))
    keys = keys_of_source(organisation=packet.organisation, source=source, as_of=packet.as_of)
    body = build_packet(source, bytes(packet.salt_key), storage.path, keys).pdf
    assert sha256_hex(body) == packet.body_sha256
    # What sealing adds comes behind it.
    assert played.packet.pdf.startswith(body)


def test_asked_for_again_it_is_the_same_packet(played: Played) -> None:
    tablet = played.job.scene.at(DAY, "12:05", "tachterly", "Packet asked for once more")
    answer = tablet.post(f"{played.job.base}/packets", {"id": played.job.id("packet", 2), "kind": "full"})
    assert (answer["id"], answer["state"]) == (played.packet.id, "sealed")


def _contents(played: Played) -> list[dict[str, str]]:
    with unscoped():
        return list(Packet.objects.get(pk=played.packet.id).contents)


# ------------------------------------------------------------------ everything sent a second time


def test_every_request_sent_again_is_the_same_row(played: Played, stage: Stage) -> None:
    """Same id and same key: the same answer, no new row, no new file."""
    sent = [one for one in played.sent if one.method in ("POST", "PUT")]
    assert len(sent) > 80
    rows, files = row_counts(), stored_files()
    for one in sent:
        again = stage.transport.send(one.method, one.path, one.headers, one.body)
        _same_answer(one, again.status, again.body)
    assert row_counts() == rows
    assert stored_files() == files


def test_every_record_sent_again_under_another_key_is_the_same_row(played: Played, stage: Stage) -> None:
    """A tablet that lost its keys still has its ids. (A slip is a new one for each key.)"""
    sent = [one for one in played.sent if one.method == "POST" and one.body and "id" in json.loads(one.body)]
    sent = [one for one in sent if not one.path.endswith("/slips")]
    assert len(sent) > 60
    rows, files = row_counts(), stored_files()
    for place, one in enumerate(sent):
        headers = {**one.headers, "Idempotency-Key": f"another-{place}"}
        again = stage.transport.send(one.method, one.path, headers, one.body)
        assert (again.status, again.json()["id"]) == (one.answer.status, one.answer.json()["id"]), one.path
    now = row_counts()
    assert now.pop("IdempotencyRecord") == rows.pop("IdempotencyRecord") + len(sent)
    assert now == rows
    assert stored_files() == files


def _same_answer(one: Sent, status: int, body: bytes) -> None:
    if one.method == "POST":
        assert (status, body) == (one.answer.status, one.answer.body), one.path
    elif "/evidence/" in one.path:
        assert (one.answer.status, status) == (201, 200), one.path
    else:
        # A mapping carries the version it was made on: the second time it is an old one.
        assert status == 412, one.path


def test_a_lost_car_is_not_delivered_twice(played: Played) -> None:
    tablet = played.job.scene.at(DAY, "12:20", "tachterly", "Keys handed over once more")
    problem = refused(
        tablet.post,
        f"{played.job.base}/delivery",
        {
            "id": played.job.id("delivery", "another"),
            "delivered_at": tablet.clock().isoformat(),
            "odometer_out": {"value": "21026", "unit": "km", "resolution": "1"},
            "device": tablet.device,
        },
    )
    assert (problem["status"], problem["code"]) == (409, "already_delivered")
