"""One changed byte anywhere that counts makes verification fail, and the thing at fault is named."""

import io
import json
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from pikepdf import AttachedFileSpec, Name

from jobs.packets.finish import save
from jobs.packets.verify import verify_file, verify_pdf
from rules.canonical import canonical_bytes, sha256_hex
from rules.seal.enclosed import NotAPacketError
from rules.seal.report import Verification
from tests.jobs.packets.packet_case import Store, finished, open_record, picture
from tests.jobs.packets.sealed_case import Case, Sealed, sealed

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def released(kept: Store) -> Sealed:
    """The finished job, sealed and signed."""
    return sealed(Case(source=finished(kept), store=kept))


@pytest.fixture(scope="module")
def held(kept: Store) -> Sealed:
    """The open record, sealed and signed."""
    return sealed(Case(source=open_record(kept), store=kept))


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
        with tempfile.TemporaryDirectory() as folder:
            save(opened, Path(folder) / "other.pdf")
            return (Path(folder) / "other.pdf").read_bytes()


def attached(pdf: bytes, name: str) -> Any:
    with pikepdf.Pdf.open(io.BytesIO(pdf)) as opened:
        return json.loads(opened.attachments[name].get_file().read_bytes())


def test_an_untouched_file_agrees(released: Sealed, kept: Store) -> None:
    found = verify_pdf(released.pdf, stored=kept.is_intact, expected_pdf_sha256=sha256_hex(released.pdf))
    assert found.agrees
    assert {what for what, result in results(found).items() if result != "agrees"} == {
        "originals", "certificate", "key", "kept head",
    }  # fmt: skip
    assert (found.serial, found.root) == ("EM-2026-0417/P1", released.case.built().root)
    assert found.at_fault == ()


def test_alone_it_says_what_it_could_not_check(released: Sealed) -> None:
    found = verify_pdf(released.pdf)
    assert found.agrees
    assert results(found)["file"] == "not_checked"
    assert results(found)["storage"] == "not_checked"
    assert results(found)["verdicts"] == "agrees"


def test_a_bundle_is_compared_with_record_and_storage_too(
    released: Sealed, kept: Store, tmp_path: Path
) -> None:
    released.bundle(tmp_path / "bundle.zip")
    with (tmp_path / "bundle.zip").open("rb") as stream:
        found = verify_file(stream, stored=kept.is_intact, expected_pdf_sha256=sha256_hex(released.pdf))
        assert found.agrees
        assert (results(found)["file"], results(found)["storage"]) == ("agrees", "agrees")
        assert verify_file(stream, expected_pdf_sha256="00" * 32).at_fault == ("the PDF itself",)


def test_one_byte_of_an_original_in_a_bundle(released: Sealed, tmp_path: Path) -> None:
    released.bundle(tmp_path / "bundle.zip")
    original = picture(released.case.source.facts.photos[2].id)
    broken = bytearray((tmp_path / "bundle.zip").read_bytes())
    broken[broken.index(original) + len(original) // 2] ^= 1
    found = verify_file(io.BytesIO(bytes(broken)))
    assert {"archive", "bag", "files", "originals"} == {
        what for what, result in results(found).items() if result == "differs"
    }
    assert "evidence-0003.jpg" in found.at_fault


def test_a_stored_original_that_was_changed(released: Sealed) -> None:
    first = released.case.source.files[0].sha256
    assert verify_pdf(released.pdf, stored=lambda _: None).agrees  # nobody can say
    found = verify_pdf(released.pdf, stored=lambda sha256: sha256 != first)
    assert found.at_fault == ("evidence-0001.jpg (stored file)",)


def test_another_file_than_the_sealed_one(released: Sealed) -> None:
    assert verify_pdf(released.pdf, expected_pdf_sha256="00" * 32).at_fault == ("the PDF itself",)


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
def test_the_manifest_cannot_be_changed(released: Sealed, change: Callable[[dict[str, Any]], None]) -> None:
    manifest = attached(released.pdf, "manifest.json")
    change(manifest)
    found = verify_pdf(replaced(released.pdf, manifest_json=canonical_bytes(manifest)))
    assert results(found)["tree"] == "differs"


def test_facts_cannot_be_exchanged(released: Sealed) -> None:
    facts = attached(released.pdf, "facts.json")
    facts["vehicle"]["vin"] = "Z0ACR4H24T1004217"
    found = verify_pdf(replaced(released.pdf, facts_json=canonical_bytes(facts)))
    assert "facts.json" in found.at_fault
    assert results(found)["verdicts"] == "differs"


def test_a_kinder_verdict_is_found_by_judging_again(held: Sealed) -> None:
    """Even a manifest made to fit cannot make an open proof met: the enclosed facts say otherwise."""
    assessment = attached(held.pdf, "assessment.json")
    for finding in assessment["findings"]:
        finding["outcome"]["verdict"], finding["outcome"]["reasons"] = "met", []
    assessment["verdict"], assessment["disposition"] = "met", "release"
    found = verify_pdf(replaced(held.pdf, assessment_json=canonical_bytes(assessment)))
    line = next(line for line in found.lines if line.what == "verdicts")
    assert line.result == "differs"
    assert "CP-EVERY photos" in line.at_fault
    assert "verdict and gate of the whole record" in line.at_fault


def test_an_added_file_is_named(released: Sealed) -> None:
    found = verify_pdf(replaced(released.pdf, extra_json=b"{}"))
    assert found.line("files").at_fault == ("extra.json (not in the manifest)",)


def test_a_changed_log_entry_is_named(released: Sealed) -> None:
    manifest = attached(released.pdf, "manifest.json")
    entry = next(item for item in manifest["entries"] if item["path"] == "log/000000002")
    entry["value"]["entry"] = entry["value"]["entry"].replace("dpell", "itolvaar")
    found = verify_pdf(replaced(released.pdf, manifest_json=canonical_bytes(manifest)))
    assert "log entry 2" in found.at_fault


@pytest.mark.parametrize("data", [b"", b"no pdf", b"%PDF-1.7\n%%EOF"])
def test_what_is_no_packet_is_refused(data: bytes) -> None:
    with pytest.raises(NotAPacketError):
        verify_pdf(data)


@pytest.mark.parametrize("manifest", [b"{", b"[]", b"{}", b'{"format":"packet manifest 1","entries":[1]}'])
def test_a_manifest_of_another_form_is_refused(released: Sealed, manifest: bytes) -> None:
    with pytest.raises(NotAPacketError):
        verify_pdf(replaced(released.pdf, manifest_json=manifest))
