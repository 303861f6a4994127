"""One changed byte anywhere that counts makes verification fail, and the thing at fault is named."""

import io
import json
from collections.abc import Callable
from typing import Any

import pikepdf
import pytest
from pikepdf import AttachedFileSpec, Name

from jobs.packets.build import BuiltPacket
from jobs.packets.enclosed import NotAPacketError
from jobs.packets.source import PacketSource
from jobs.packets.verify import Verification, verify_pdf
from rules.canonical import canonical_bytes
from tests.jobs.packets.packet_case import Store, picture

pytestmark = pytest.mark.slow
Case = tuple[PacketSource, BuiltPacket]


def results(found: Verification) -> dict[str, str]:
    return {line.what: line.result for line in found.lines}


def replaced(pdf: bytes, **files: bytes) -> bytes:
    """The file with attachments exchanged; names with ``_`` for ``.``."""
    with pikepdf.Pdf.open(io.BytesIO(pdf)) as opened:
        for key, data in files.items():
            name = key.replace("_", ".")
            opened.attachments[name] = AttachedFileSpec(
                opened, data, filename=name, mime_type="application/json", relationship=Name.Data
            )
        buffer = io.BytesIO()
        opened.save(buffer)
    return buffer.getvalue()


def attached(pdf: bytes, name: str) -> Any:
    with pikepdf.Pdf.open(io.BytesIO(pdf)) as opened:
        return json.loads(opened.attachments[name].get_file().read_bytes())


def test_an_untouched_file_agrees(released: Case, kept: Store) -> None:
    packet = released[1]
    found = verify_pdf(packet.pdf, stored=kept.is_intact, expected_pdf_sha256=packet.pdf_sha256)
    assert found.agrees
    assert set(results(found).values()) == {"agrees"}
    assert (found.serial, found.root) == ("EM-2026-0417/P1", packet.root)
    assert found.at_fault == ()


def test_alone_it_says_what_it_could_not_check(released: Case) -> None:
    found = verify_pdf(released[1].pdf)
    assert found.agrees
    assert results(found)["file"] == "not_checked"
    assert results(found)["storage"] == "not_checked"
    assert results(found)["verdicts"] == "agrees"


def test_one_byte_of_an_attached_original(released: Case) -> None:
    source, packet = released
    original = picture(source.facts.photos[2].id)
    place = packet.pdf.index(original) + len(original) // 2
    broken = bytearray(packet.pdf)
    broken[place] ^= 1
    found = verify_pdf(bytes(broken))
    assert not found.agrees
    assert found.at_fault == ("evidence-0003.jpg",)


def test_one_byte_of_the_stored_original(released: Case, tmp_path: Any) -> None:
    source, packet = released
    damaged = Store(tmp_path)
    for file in source.files:
        data = picture(source.facts.photos[0].id)
        damaged.path(file.sha256).write_bytes(data[:-1] + b"\x00" if file.number == 1 else data)
    found = verify_pdf(packet.pdf, stored=lambda sha256: damaged.is_intact(sha256) or None)
    assert found.agrees  # nobody can say
    first = source.files[0].sha256
    found = verify_pdf(packet.pdf, stored=lambda sha256: sha256 != first)
    assert found.at_fault == ("evidence-0001.jpg (stored file)",)


def test_another_file_than_the_sealed_one(released: Case) -> None:
    packet = released[1]
    found = verify_pdf(packet.pdf + b"\n", expected_pdf_sha256=packet.pdf_sha256)
    assert found.at_fault == ("the PDF itself",)


def change_value(path: str, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(manifest: dict[str, Any]) -> None:
        entry = next(item for item in manifest["entries"] if item["path"] == path)
        entry["value"] = value

    return change


@pytest.mark.parametrize(
    "change",
    [
        change_value("assessment/verdict", "not_met"),
        change_value("facts/vehicle/vin", "Z0ASD1F89S2011836"),
        lambda manifest: manifest["entries"].pop(),
        lambda manifest: manifest["entries"].reverse(),
        lambda manifest: manifest["entries"][3].update(salt="00" * 16),
        lambda manifest: manifest["entries"][3].pop("salt"),
        lambda manifest: manifest.update(root="00" * 32),
        lambda manifest: manifest["entries"].append(dict(manifest["entries"][0])),
    ],
)
def test_the_manifest_cannot_be_changed(released: Case, change: Callable[[dict[str, Any]], None]) -> None:
    manifest = attached(released[1].pdf, "manifest.json")
    change(manifest)
    found = verify_pdf(replaced(released[1].pdf, manifest_json=canonical_bytes(manifest)))
    assert results(found)["tree"] == "differs"


def test_facts_cannot_be_exchanged(released: Case) -> None:
    facts = attached(released[1].pdf, "facts.json")
    facts["vehicle"]["vin"] = "Z0ACR4H24T1004217"
    found = verify_pdf(replaced(released[1].pdf, facts_json=canonical_bytes(facts)))
    assert "facts.json" in found.at_fault
    assert results(found)["verdicts"] == "differs"


def test_a_kinder_verdict_is_found_by_judging_again(held: Case) -> None:
    """Even a manifest made to fit cannot make an open proof met: the enclosed facts say otherwise."""
    assessment = attached(held[1].pdf, "assessment.json")
    for finding in assessment["findings"]:
        finding["outcome"]["verdict"], finding["outcome"]["reasons"] = "met", []
    assessment["verdict"], assessment["disposition"] = "met", "release"
    found = verify_pdf(replaced(held[1].pdf, assessment_json=canonical_bytes(assessment)))
    line = next(line for line in found.lines if line.what == "verdicts")
    assert line.result == "differs"
    assert "CP-EVERY photos" in line.at_fault
    assert "verdict and gate of the whole record" in line.at_fault


def test_an_added_file_is_named(released: Case) -> None:
    found = verify_pdf(replaced(released[1].pdf, extra_json=b"{}"))
    assert found.at_fault == ("extra.json (not in the manifest)",)


def test_a_changed_log_entry_is_named(released: Case) -> None:
    manifest = attached(released[1].pdf, "manifest.json")
    entry = next(item for item in manifest["entries"] if item["path"] == "log/000000002")
    entry["value"]["entry"] = entry["value"]["entry"].replace("dpell", "itolvaar")
    found = verify_pdf(replaced(released[1].pdf, manifest_json=canonical_bytes(manifest)))
    assert "log entry 2" in found.at_fault


@pytest.mark.parametrize("data", [b"", b"no pdf", b"%PDF-1.7\n%%EOF"])
def test_what_is_no_packet_is_refused(data: bytes) -> None:
    with pytest.raises(NotAPacketError):
        verify_pdf(data)


@pytest.mark.parametrize("manifest", [b"{", b"[]", b"{}", b'{"format":"packet manifest 1","entries":[1]}'])
def test_a_manifest_of_another_form_is_refused(released: Case, manifest: bytes) -> None:
    with pytest.raises(NotAPacketError):
        verify_pdf(replaced(released[1].pdf, manifest_json=manifest))
