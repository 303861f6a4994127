"""Redacted packets forged, without the key and with it: each is refused, or what it hides is told."""

import io
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from jobs.packets.redacting import packs_of
from rules.assess import assess
from rules.seal.bundle_check import check_bundle
from rules.seal.entries import EntryError
from rules.seal.redaction_check import must_be_shown
from rules.seal.report import Verification
from tests.jobs.packets.redacted_case import (
    WHY,
    forged_without_key,
    leaf_of,
    manifest_of,
    parts_of,
    parts_of_source,
    rebagged,
    redacted_case,
    redacted_source_of,
    redaction_of,
    rooted,
    sealed_anew,
)
from tests.jobs.packets.sealed_case import Sealed, sealed, signer

pytestmark = pytest.mark.slow

Told = dict[str, Any]
NAME = "order/customer_name"
VERDICT = "assessment/findings/00000"
JUDGED = "files/assessment.json"


@pytest.fixture(scope="module")
def full(sealed_packet: Sealed) -> Sealed:
    return sealed_packet


@pytest.fixture(scope="module")
def made(full: Sealed) -> Sealed:
    return sealed(redacted_case(full))


def checked(found: Sealed, folder: Path) -> Verification:
    found.bundle(folder / "bundle.zip")
    return of_file(folder / "bundle.zip")


def of_file(path: Path) -> Verification:
    with path.open("rb") as stream:
        return check_bundle(stream)


def wrong(found: Verification) -> set[str]:
    return {line.what for line in found.lines if line.result == "differs"}


# ------------------------------------------------------------------ what is forged


def put_in(entries: list[Told], told: Told) -> None:
    """Another name where one is withheld, with a salt and so a leaf of its own."""
    place = place_of(entries, NAME)
    entries[place] = {"path": NAME, "salt": "5a" * 16, "value": "B. Holloway"}
    told["fields"] = [item for item in told["fields"] if item["path"] != NAME]


def drop_leaf(entries: list[Told], told: Told) -> None:
    del entries[place_of(entries, NAME)]
    told["fields"] = [item for item in told["fields"] if item["path"] != NAME]


def hide_verdict(entries: list[Told], told: Told) -> None:
    hide(entries, told, VERDICT)
    hide(entries, told, JUDGED)


def hide_gate(entries: list[Told], told: Told) -> None:
    hide(entries, told, "assessment/disposition")
    hide(entries, told, JUDGED)


def relabel(entries: list[Told], told: Told) -> None:
    """A field that was shown becomes one that is withheld; the tree and its root stay as they are."""
    hide(entries, told, "order/payer")


def hide_without_a_word(entries: list[Told], told: Told) -> None:
    hide(entries, {"fields": []}, "order/payer")


def tell_of_what_is_there(entries: list[Told], told: Told) -> None:
    told["fields"].append(item_of("order/payer"))


def other_kind(entries: list[Told], told: Told) -> None:
    told["fields"][0]["kind"] = "trade_secret"


def unknown_kind(entries: list[Told], told: Told) -> None:
    told["fields"][0]["kind"] = "embarrassing"


def other_reason(entries: list[Told], told: Told) -> None:
    told["fields"][0]["why"] = "The customer asked for it in writing."


def no_reason(entries: list[Told], told: Told) -> None:
    told["fields"][0]["why"] = " "


def other_origin(entries: list[Told], told: Told) -> None:
    told["of"] = "EM-2026-0001/P1"


def hide(entries: list[Told], told: Told, path: str) -> None:
    place = place_of(entries, path)
    entries[place] = {"path": path, "leaf": leaf_of(entries[place])}
    told["fields"].append(item_of(path))


def item_of(path: str) -> Told:
    return {"path": path, "where": path, "kind": "other", "why": WHY, "follows": False}


def place_of(entries: list[Told], path: str) -> int:
    return next(place for place, entry in enumerate(entries) if entry["path"] == path)


Change = Callable[[list[Told], Told], None]
# The change, and which lines differ when whoever holds the key seals it anew; the others are his own word.
FORGERIES: Mapping[str, tuple[Change, set[str]]] = {
    "another value for a withheld one": (put_in, {"origin"}),
    "a withheld leaf left out": (drop_leaf, {"origin"}),
    "a verdict withheld": (hide_verdict, {"redaction"}),
    "the gate withheld": (hide_gate, {"redaction"}),
    "a shown field withheld": (relabel, set()),
    "withheld without a word": (hide_without_a_word, {"redaction"}),
    "told as withheld and there": (tell_of_what_is_there, {"redaction"}),
    "another kind": (other_kind, set()),
    "a kind that nobody knows": (unknown_kind, {"redaction"}),
    "another reason": (other_reason, set()),
    "no reason": (no_reason, {"redaction"}),
    "of another packet": (other_origin, {"redaction"}),
}


def forged_parts(made: Sealed, change: Change) -> dict[str, bytes | None]:
    manifest, told = manifest_of(made), redaction_of(made)
    change(manifest["entries"], told)
    manifest = rooted(manifest)
    told["root"] = manifest["root"]
    parts: dict[str, bytes | None] = dict(parts_of(manifest, told))
    if any(entry["path"] == JUDGED and "leaf" in entry for entry in manifest["entries"]):
        parts["assessment.json"] = None
    return parts


def test_the_redacted_packet_itself_agrees_and_keeps_the_root(
    full: Sealed, made: Sealed, tmp_path: Path
) -> None:
    found = checked(made, tmp_path)
    assert wrong(found) == set(), found.at_fault
    assert found.root == full.case.built().root
    assert {line.what for line in found.lines if line.result == "agrees"} >= {
        "archive", "bag", "tree", "files", "log", "redaction", "entry", "log proof", "head", "pdf signature",
        "log extract", "origin", "additions",
    }  # fmt: skip
    assert f"Log entry {full.n} sealed {full.case.source.serial}" in found.line("origin").text
    assert "1 are withheld" in found.line("originals").text


@pytest.mark.parametrize("name", FORGERIES)
def test_without_the_key_the_log_entry_names_another_manifest_or_list(
    name: str, made: Sealed, tmp_path: Path
) -> None:
    found = checked(forged_without_key(made, forged_parts(made, FORGERIES[name][0])), tmp_path)
    assert {"entry", "pdf signature"} <= wrong(found)
    at = set(found.line("entry").at_fault)
    assert at & {f"log entry {made.n}: {part}" for part in ("manifest_sha256", "redaction_sha256")}
    assert FORGERIES[name][1] <= wrong(found)


@pytest.mark.parametrize("name", FORGERIES)
def test_with_the_key_the_copy_still_cannot_change_what_was_sealed(
    name: str, made: Sealed, tmp_path: Path
) -> None:
    """The workshop itself seals it anew, log and all; the first sealing of the full packet is in its log."""
    change, lines = FORGERIES[name]
    found = checked(sealed_anew(made, forged_parts(made, change), signer()), tmp_path)
    assert wrong(found) == lines, found.at_fault
    if "origin" in lines:
        assert "another root" in found.line("origin").text
    if name == "a verdict withheld":
        assert f"{VERDICT} (nobody may withhold it)" in found.line("redaction").at_fault


def test_without_the_first_sealing_in_the_extract_the_origin_is_not_said_to_agree(
    made: Sealed, tmp_path: Path
) -> None:
    alone = sealed(replace(made.case, origin=None, body=made.case.built()))
    line = checked(alone, tmp_path).line("origin")
    assert line.result == "not_checked"
    assert made.case.source.serial in line.text


# ------------------------------------------------------------------ pictures


def test_a_painted_picture_is_not_swapped_dropped_or_joined_by_its_original(
    full: Sealed, made: Sealed, tmp_path: Path
) -> None:
    made.bundle(tmp_path / "true.zip")
    first = made.case.source.files[0]
    original = full.case.store.path(full.case.source.files[0].sha256).read_bytes()
    cases: dict[str, tuple[dict[str, bytes | None], str]] = {
        "swapped": ({f"data/{first.name}": other_picture()}, first.name),
        "the original under its name": ({f"data/{first.name}": original}, first.name),
        "dropped": ({f"data/{first.name}": None}, f"{first.name} (missing)"),
        "the original beside it": ({"data/evidence-0001.jpg": original}, "evidence-0001.jpg"),
    }
    for name, (changes, place) in cases.items():
        found = of_file(rebagged(tmp_path / "true.zip", changes, tmp_path / "forged.zip"))
        assert found.line("bag").result == "agrees", name
        assert "redaction" in wrong(found), name
        assert any(place in at for at in found.line("redaction").at_fault), (name, found.at_fault)


def other_picture() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (640, 480), (10, 120, 90)).save(out, "JPEG")
    return out.getvalue()


# ------------------------------------------------------------------ what verdicts rest on


def test_a_withheld_reading_leaves_its_verdicts_unjudged_and_named(
    full: Sealed, made: Sealed, tmp_path: Path
) -> None:
    """Chosen as the product lets one choose; nothing differs, and nothing is said to agree that cannot be."""
    reading = deciding_reading(full)
    path = f"facts/readings/{reading}"
    source = redacted_source_of(full, {path: "trade_secret"})
    assert source.redaction is not None
    other = made.with_changes(case=replace(made.case, source=source))
    found = checked(sealed_anew(other, parts_of_source(made, source), signer()), tmp_path)
    assert wrong(found) == set(), found.at_fault
    line = found.line("verdicts")
    assert line.result == "not_checked"
    assert path in line.text
    told = source.redaction.not_judged_again
    assert told
    for item in told:
        assert f"{item.procedure_id} {item.proof_id}" in line.text
    assert found.line("content").result == "not_checked"


def deciding_reading(full: Sealed) -> str:
    """The first reading without which some verdict comes out otherwise."""
    source = full.case.source
    for reading in source.facts.readings:
        left = tuple(one for one in source.facts.readings if one.id != reading.id)
        again = assess(
            packs_of(source), replace(source.facts, readings=left), as_of=source.assessment.gate_at
        )
        if [one.verdict for one in again.findings] != [one.verdict for one in source.assessment.findings]:
            return reading.id
    raise AssertionError("no verdict rests on a reading")


def test_no_service_withholds_a_verdict(full: Sealed) -> None:
    for path in (VERDICT, "assessment/verdict", "assessment/procedures/00000", "packet/serial"):
        assert must_be_shown(path)
        with pytest.raises(EntryError, match="always shown"):
            redacted_source_of(full, {path: "other"})
    for path in (f"{VERDICT}/words", "assessment/decisions/00000", "packet/log_head", "facts/readings/r-1"):
        assert not must_be_shown(path)
