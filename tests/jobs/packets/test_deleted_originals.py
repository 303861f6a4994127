"""Originals that retention took away: told where the log proves it, a failure wherever it does not."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from rules.canonical import canonical_bytes, sha256_hex
from rules.seal.bundle_check import check_bundle
from rules.seal.report import Verification
from tests.jobs.packets.sealed_case import Log, Sealed, extract_of, instant, signer, thief

pytestmark = pytest.mark.slow

GONE = "evidence-0001.jpg"


@pytest.fixture(scope="module")
def made(sealed_packet: Sealed) -> Sealed:
    return sealed_packet


def checked(found: Sealed, folder: Path) -> Verification:
    found.bundle(folder / "bundle.zip")
    with (folder / "bundle.zip").open("rb") as stream:
        return check_bundle(stream)


def wrong(found: Verification) -> set[str]:
    return {line.what for line in found.lines if line.result == "differs"}


def retention(made: Sealed, *names: str, number: int = 1, why: str = "retention") -> dict[str, bytes]:
    """The addition that tells of deletions, as the services write it."""
    files = {file.name: file for file in made.case.source.files}
    rows = [
        {
            "deletion": f"d-{place}", "what": "a file", "why": why, "rule": "10 years", "on": "2036-05-05",
            "sha256": files[name].sha256, "at": "2036-05-05T21:30:00+00:00",
        }
        for place, name in enumerate(names)
    ]  # fmt: skip
    told = {
        "format": "addition 1", "packet": made.case.source.serial, "number": number, "kind": "retention",
        "at": instant(100 + number), "text": "These were deleted.", "facts": {"deleted": rows},
        "sealed": {"root": made.case.built().root, "pdf_sha256": sha256_hex(made.pdf)}, "previous": "",
    }  # fmt: skip
    return {f"addition-{number:04d}.json": canonical_bytes(told)}


def with_deletion(made: Sealed, name: str, *, covered: bool = True, kind: str = "retention") -> Sealed:
    """A bundle without an original, whose deletion stands in the log; ``covered``: under the later head."""
    bare = replace(made.case, additions=())
    added = retention(made, name)
    detail = {"packet": made.case.source.serial, "number": 1, "kind": kind}
    log = Log(made.log.entries[: made.n + 1])
    log = log.plus("packet.added_to", {**detail, "sha256": sha256_hex(added["addition-0001.json"])})
    if covered:
        log = log.plus("head.published", {})
    extract = json.loads(extract_of(log, made.n, bare))
    extract["entries"] = [one for one in extract["entries"] if "head.published" not in one["entry"]]
    gone = next(file.sha256 for file in made.case.source.files if file.name == name)
    return made.with_changes(
        case=bare, log=log, additions=added, extract=canonical_bytes(extract), deleted=(gone,)
    )


def test_an_original_that_the_log_proves_deleted_is_told_and_no_failure(made: Sealed, tmp_path: Path) -> None:
    found = checked(with_deletion(made, GONE), tmp_path)
    assert wrong(found) == set(), found.at_fault
    line = found.line("originals")
    assert line.result == "not_checked"
    assert f"{GONE} is deleted under the retention policy on 5 May 2036; its SHA-256 remains" in line.text
    # One that is there all the same has to have its hash.
    there = checked(with_deletion(made, GONE).with_changes(deleted=()), tmp_path)
    assert wrong(there) == set()
    assert "deleted" not in there.line("originals").text


def test_an_original_that_is_merely_missing_stays_a_failure(made: Sealed, tmp_path: Path) -> None:
    true = with_deletion(made, GONE)
    other = next(file.sha256 for file in made.case.source.files if file.name == "evidence-0002.jpg")
    cases: dict[str, tuple[Sealed, set[str]]] = {
        "no addition": (made.with_changes(deleted=true.deleted), {"files"}),
        "another one is missing too": (true.with_changes(deleted=(*true.deleted, other)), {"files"}),
        "an addition that the log does not tell of": (
            made.with_changes(
                deleted=true.deleted, additions={**made.additions, **retention(made, GONE, number=3)}
            ),
            {"files", "additions"},
        ),
        "an addition of after the later head": (with_deletion(made, GONE, covered=False), {"files"}),
        "a log entry of another kind": (with_deletion(made, GONE, kind="comeback"), {"files"}),
        "no extract": (true.with_changes(extract=None), {"files", "log extract"}),
    }
    for name, (forged, lines) in cases.items():
        found = checked(forged, tmp_path)
        assert wrong(found) == lines, (name, found.at_fault)
        assert any(f"{GONE} (missing)" in place for place in found.line("files").at_fault) or (
            name == "another one is missing too"
        )


def test_a_log_written_on_by_whoever_has_the_bundle_proves_no_deletion(made: Sealed, tmp_path: Path) -> None:
    """The proof of the sealing is enough to write on from it; only the key tells who did."""
    true = with_deletion(made, GONE)
    extract = json.loads(extract_of(true.log, true.n, replace(true.case, by=thief())))
    extract["entries"] = [one for one in extract["entries"] if "head.published" not in one["entry"]]
    forged = true.with_changes(extract=canonical_bytes(extract))
    found = checked(forged, tmp_path)
    assert wrong(found) == {"files"}
    for what in ("log extract", "additions"):
        assert found.line(what).result == "not_checked"
    assert thief().key_sha256 in found.line("log extract").text
    # A workshop that changed its key says so: whoever knows the later one gives it.
    with (tmp_path / "bundle.zip").open("rb") as stream:
        known = check_bundle(stream, key=signer().key_sha256, later_key=thief().key_sha256)
    assert wrong(known) == set()
