"""The manifest: every statement and file is a leaf, the root follows, withholding keeps it."""

import json
from dataclasses import replace
from typing import Any

import pytest

from jobs.packets.manifest import build_manifest, flatten, grouped, is_withheld
from jobs.packets.source import OrderCard, PacketSource, attachment_name
from rules.canonical import canonical_bytes, sha256_hex, to_plain
from rules.merkle import entry_leaf, entry_salt, tree_root
from tests.jobs.packets.packet_case import KEY, Store, finished


@pytest.fixture
def source(store: Store) -> PacketSource:
    return finished(store)


def entries(data: bytes) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(data)["entries"]
    return found


def test_the_root_follows_from_the_entries(source: PacketSource) -> None:
    manifest = build_manifest(source, KEY)
    rows = entries(manifest.data)
    assert [row["path"] for row in rows] == sorted(row["path"] for row in rows)
    leaves = []
    for row in rows:
        assert row["salt"] == entry_salt(KEY, row["path"]).hex()
        leaves.append(entry_leaf({row["path"]: row["value"]}, bytes.fromhex(row["salt"])))
    assert tree_root(leaves).hex() == manifest.root == json.loads(manifest.data)["root"]
    assert manifest.sha256 == sha256_hex(manifest.data)


def test_every_fact_verdict_and_file_is_an_entry(source: PacketSource) -> None:
    rows = {row["path"]: row["value"] for row in entries(build_manifest(source, KEY).data)}
    assert rows["facts/vehicle/vin"] == "Z0ASD1F89S2011835"
    assert rows["assessment/verdict"] == "met"
    assert rows["order/customer_name"] == "R. Ashgrove"
    for file in source.files:
        assert rows[f"files/{file.name}"] == {
            "sha256": file.sha256, "bytes": file.size_bytes, "media_type": file.media_type,
        }  # fmt: skip
    plain = to_plain(source.facts)
    for reading in plain["readings"]:
        assert canonical_bytes(rows[f"facts/readings/{reading['id']}"]) == canonical_bytes(reading)
    assert {"files/facts.json", "files/assessment.json", "files/pack-orrinvale-7.yaml"} <= rows.keys()


@pytest.mark.parametrize(
    "change",
    [
        {"serial": "EM-2026-0417/P2"},
        {"order": OrderCard(customer_name="R. Ashgrave")},
        {"log_head": "cd" * 32},
        {"supersedes": "EM-2026-0417/P0"},
        {"files": ()},
    ],
)
def test_any_other_content_has_another_root(source: PacketSource, change: dict[str, Any]) -> None:
    assert build_manifest(replace(source, **change), KEY).root != build_manifest(source, KEY).root


def test_another_key_has_another_root_and_keys_have_32_bytes(source: PacketSource) -> None:
    assert build_manifest(source, bytes(32)).root != build_manifest(source, KEY).root
    with pytest.raises(ValueError, match="32 bytes"):
        build_manifest(source, b"short")


def test_what_is_withheld_ships_its_leaf_only(source: PacketSource) -> None:
    full = build_manifest(source, KEY)
    less = build_manifest(replace(source, withheld=("order/customer_name", "log/")), KEY)
    assert less.root == full.root
    assert b"Ashgrove" in full.data
    assert b"Ashgrove" not in less.data
    hidden = [row for row in entries(less.data) if "leaf" in row]
    assert {row["path"].split("/")[0] for row in hidden} == {"order", "log"}
    assert all("salt" not in row and "value" not in row for row in hidden)


def test_withheld_names_a_path_or_a_folder() -> None:
    assert is_withheld("order/plate", ("order/plate",))
    assert is_withheld("log/000000001", ("log/",))
    assert not is_withheld("order/plates", ("order/plate",))
    assert not is_withheld("logs/1", ("log/",))


def test_flatten_names_records_by_id_or_place() -> None:
    plain = {"a": 1, "b": {"c": 2}, "d": [{"id": "x", "v": 1}], "e": [{"v": 2}], "f": [1, 2], "g": []}
    assert dict(flatten("p", plain, 1)) == {
        "p/a": 1, "p/b/c": 2, "p/d/x": {"id": "x", "v": 1}, "p/e/00000": {"v": 2}, "p/f": [1, 2], "p/g": [],
    }  # fmt: skip


def test_a_source_survives_its_bytes(source: PacketSource) -> None:
    data = source.to_bytes()
    again = PacketSource.from_bytes(data)
    assert again == source
    assert again.to_bytes() == data
    assert build_manifest(again, KEY).data == build_manifest(source, KEY).data


def test_nothing_from_outside_names_an_attachment() -> None:
    assert attachment_name(4, "image/jpeg") == "evidence-0004.jpg"
    assert attachment_name(12, "application/x-unknown") == "evidence-0012.bin"


def test_hashes_are_grouped_by_four() -> None:
    assert grouped("0123456789abcdef") == "0123 4567 89ab cdef"
