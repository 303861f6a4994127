"""Bags written and checked, against the public conformance suite and the library bagit."""

import hashlib
import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import bagit
import pytest

from rules.seal.bag import (
    BagError,
    Digest,
    decoded_path,
    encoded_path,
    info_text,
    oxum,
    path_fault,
    payload_tags,
    tag_manifest,
)
from rules.seal.bag_reading import check_bag
from tests.rules.seal.bags import BagInMemory, on_disk

REFERENCE: dict[str, Any] = json.loads(
    (Path(__file__).parents[2] / "reference" / "bagit_conformance.json").read_text(encoding="utf-8")
)
CASES = REFERENCE["cases"]
# A blank before the colon of bagit.txt: RFC 8493 section 2.1.1 gives the exact form.
WRONGLY_ACCEPTED = ("v1.0", "bagit-with-invalid-whitespace")


def digest(data: bytes) -> Digest:
    return Digest(hashlib.sha256(data).hexdigest(), len(data))


def bag_of(payload: dict[str, bytes], extra: dict[str, bytes] | None = None) -> dict[str, bytes]:
    told = payload_tags(
        {path: digest(data) for path, data in payload.items()}, [("Bagging-Date", "2026-01-31")]
    )
    tags = {**told, **(extra or {})}
    written = tag_manifest({path: digest(data) for path, data in tags.items()})
    return {**payload, **tags, "tagmanifest-sha256.txt": written}


PAYLOAD = {"data/job.json": b'{"job":"A-1"}', "data/photos/front.txt": b"not a real photo\n"}


def test_the_sample_bag_is_written_to_the_byte() -> None:
    # Sample after RFC 8493, validated with bagit 1.9.0.
    wanted = {path: text.encode() for path, text in REFERENCE["sample_bag"].items()}
    assert bag_of(PAYLOAD) == wanted


def test_there_are_forty_cases() -> None:
    assert len(CASES) == 40
    assert {case["version"] for case in CASES} == {"v0.97", "v1.0"}


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['version']}-{case['name']}")
def test_each_case_of_the_conformance_suite_is_judged_rightly(case: dict[str, Any], tmp_path: Path) -> None:
    contents = {path: bytes.fromhex(data) for path, data in case["files"].items()}
    report = check_bag(BagInMemory(contents))
    wanted = case["bagit_python"] == "valid"
    if case["group"] != "warning":
        wanted = case["group"] == "valid"
    assert report.is_valid is wanted, report
    # The library itself is asked too, so that the table is not merely believed.
    said = bagit_says(contents, tmp_path)
    assert said is (case["bagit_python"] == "valid")
    if said is not wanted:
        assert (case["version"], case["name"]) == WRONGLY_ACCEPTED


def bagit_says(contents: dict[str, bytes], folder: Path) -> bool:
    try:
        return bool(bagit.Bag(str(on_disk(contents, folder))).is_valid())
    except bagit.BagError:
        return False


NAMES = ("data/100% done.txt", "data/a%0Ab.txt", "data/line\nbreak.txt", "data/return\r.txt", "data/%25.txt")


@pytest.mark.parametrize("path", NAMES)
def test_odd_names_are_encoded_and_come_back(path: str, tmp_path: Path) -> None:
    # RFC 8493 section 2.1.3: CR, LF and % of a path are percent-encoded.
    assert decoded_path(encoded_path(path)) == path
    assert not {"\n", "\r"} & set(encoded_path(path))
    contents = bag_of({path: b"odd"})
    assert check_bag(BagInMemory(contents)).faults == []
    # bagit 1.9.0 encodes CR and LF and leaves the percent sign as it is; the standard asks for all three.
    assert bagit_says(contents, tmp_path) is ("%" not in path)


def test_encoding_of_paths_is_that_of_the_standard() -> None:
    assert encoded_path("data/50%\r\n") == "data/50%25%0D%0A"
    assert decoded_path("data/50%25%0d%0a%41") == "data/50%\r\n%41"


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="sha256sum is not installed")
def test_the_shell_checks_our_manifest(tmp_path: Path) -> None:
    folder = on_disk(bag_of(PAYLOAD), tmp_path)
    command = ["sha256sum", "--strict", "-c", "manifest-sha256.txt", "tagmanifest-sha256.txt"]
    assert subprocess.run(command, cwd=folder, check=False, capture_output=True).returncode == 0
    (folder / "data/job.json").write_bytes(b'{"job":"A-2"}')
    assert subprocess.run(command, cwd=folder, check=False, capture_output=True).returncode == 1


def changed(**changes: bytes | None) -> dict[str, bytes]:
    contents = bag_of(PAYLOAD, {"notes.txt": b"a tag file\n"})
    for path, data in changes.items():
        if data is None:
            del contents[path]
        else:
            contents[path] = data
    return contents


FAULTY: dict[str, tuple[dict[str, bytes | None], str]] = {
    "payload changed": ({"data/job.json": b'{"job":"A-2"}'}, "data/job.json does not have the hash"),
    "payload missing": ({"data/job.json": None}, "data/job.json is missing"),
    "payload added": ({"data/more.txt": b"x"}, "data/more.txt is in no manifest"),
    "tag file changed": ({"notes.txt": b"another tag file\n"}, "notes.txt does not have the hash"),
    "tag file missing": ({"notes.txt": None}, "notes.txt is missing"),
    "no declaration": ({"bagit.txt": None}, "there is no bagit.txt"),
    "another version": (
        {"bagit.txt": b"BagIt-Version: 2.0\nTag-File-Character-Encoding: UTF-8\n"},
        "a known version",
    ),
    "a third line": (
        {"bagit.txt": b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\nX: y\n"},
        "exactly the two lines",
    ),
    "no manifest": ({"manifest-sha256.txt": None}, "there is no payload manifest"),
    "unknown hash": ({"manifest-crc32.txt": b"00  data/job.json\n"}, "a hash that is not known"),
    "short hash": ({"manifest-sha256.txt": b"abcd  data/job.json\n"}, "not a hash and a path"),
    "path outside": (
        {"manifest-sha256.txt": b"0" * 64 + b"  data/../../etc/passwd\n"},
        "leads out of the bag",
    ),
    "incomplete": ({"fetch.txt": b"http://127.0.0.1/x 5 data/elsewhere.txt\n"}, "is not in every manifest"),
    "wrong sum": ({"bag-info.txt": b"Payload-Oxum: 1.1\n"}, "Payload-Oxum says 1.1"),
    "two sums": ({"bag-info.txt": b"Payload-Oxum: 30.2\nPayload-Oxum: 30.2\n"}, "more than once"),
    "not UTF-8": ({"bag-info.txt": b"Source-Organization: \xff\n"}, "is not written in utf-8"),
    "no label": ({"bag-info.txt": b"hello\n"}, "has no label"),
}


def test_the_bag_that_the_faulty_ones_come_from_is_valid() -> None:
    report = check_bag(BagInMemory(changed()))
    assert (report.faults, report.warnings) == ([], [])


@pytest.mark.parametrize("name", FAULTY)
def test_what_is_wrong_with_a_bag_is_named(name: str) -> None:
    changes, told = FAULTY[name]
    report = check_bag(BagInMemory(changed(**changes)))
    assert any(told in fault for fault in report.faults), report.faults


@pytest.mark.parametrize(
    "path", ["", "/data/a", "~root/a", "data/../a", "..", "data//a", "data/./a", "C:\\a", "data\\..\\a"]
)
def test_paths_that_lead_elsewhere_are_not_written(path: str) -> None:
    assert path_fault(path)
    with pytest.raises(BagError):
        payload_tags({path: digest(b"")}, [])


def test_a_bag_holds_payload_and_its_tag_manifest_none() -> None:
    with pytest.raises(BagError, match="without payload"):
        payload_tags({}, [])
    with pytest.raises(BagError, match="does not belong"):
        tag_manifest({"data/a": digest(b"")})
    with pytest.raises(BagError, match="does not belong"):
        tag_manifest({"tagmanifest-sha256.txt": digest(b"")})


@pytest.mark.parametrize(
    "line", [("Two words", "x"), ("", "x"), ("A", ""), ("A", " x"), ("A", "x\ny"), ("A", "x\u202ey")]
)
def test_a_line_of_bag_info_that_would_be_read_otherwise_is_not_written(line: tuple[str, str]) -> None:
    with pytest.raises(BagError):
        info_text([line])


def test_payload_oxum_counts_bytes_and_files() -> None:
    assert oxum([Digest("", 13), Digest("", 17)]) == "30.2"
