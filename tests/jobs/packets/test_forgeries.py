"""Forgeries made as well as can be: each is refused, and for the right reason.

The forger has the program, the packet and time; what he has not is the workshop's key, and the heads
of the log that were handed outside before.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from jobs.packets.source import PacketSource
from rules.canonical import canonical_bytes, sha256_hex
from rules.seal.bundle_check import check_bundle, check_packet
from rules.seal.report import Verification
from tests.jobs.packets.packet_case import Store, finished, log_lines, open_record
from tests.jobs.packets.sealed_case import (
    Case,
    Sealed,
    TestSigner,
    extract_of,
    sealed,
    sealing_of,
    signed_pdf,
    signer,
    thief,
)

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("forgeries"))


@pytest.fixture(scope="module")
def made(store: Store) -> Sealed:
    return sealed(Case(source=finished(store), store=store))


@pytest.fixture(scope="module")
def held(store: Store) -> Sealed:
    """An open record: proofs that are not shown, and a hold."""
    return sealed(Case(source=open_record(store), store=store))


def checked(found: Sealed, folder: Path, key: str | None = None) -> Verification:
    found.bundle(folder / "bundle.zip")
    with (folder / "bundle.zip").open("rb") as stream:
        return check_bundle(stream, key=key)


def wrong(found: Verification) -> set[str]:
    return {line.what for line in found.lines if line.result == "differs"}


def with_kinder_verdicts(source: PacketSource) -> PacketSource:
    """Every proof met and the car released, in assessment and so in pages, manifest and tree."""
    findings = tuple(
        replace(one, outcome=replace(one.outcome, verdict="met", reasons=()))
        for one in source.assessment.findings
    )
    kinder = replace(source.assessment, findings=findings, verdict="met", disposition="release")
    return replace(source, assessment=kinder)


def with_loosened_pack(source: PacketSource) -> PacketSource:
    """A rule text with another word in it; everything that follows from it is made anew."""
    first, *others = source.packs
    text = first.text.replace("title:", "title: A", 1)
    return replace(source, packs=(replace(first, text=text, sha256=sha256_hex(text.encode())), *others))


def with_other_reading(source: PacketSource) -> PacketSource:
    first, *others = source.facts.readings
    moved = replace(first, value=first.value + 1.0)
    return replace(source, facts=replace(source.facts, readings=(moved, *others)))


def with_other_log(source: PacketSource) -> PacketSource:
    return replace(source, log=log_lines([("itolvaar", "order.opened"), ("itolvaar", "signature.given")]))


def with_other_photo(source: PacketSource, store: Store) -> PacketSource:
    first, *others = source.files
    data = b"another picture"
    return replace(source, files=(replace(first, sha256=store.put(data), size_bytes=len(data)), *others))


CHANGES: Mapping[str, Callable[[PacketSource, Store], PacketSource]] = {
    "verdict": lambda source, store: with_kinder_verdicts(source),
    "rule text": lambda source, store: with_loosened_pack(source),
    "reading": lambda source, store: with_other_reading(source),
    "log entry": lambda source, store: with_other_log(source),
    "photo": with_other_photo,
}


def test_what_the_forgeries_are_made_from_agrees(made: Sealed, held: Sealed, tmp_path: Path) -> None:
    for one in (made, held):
        assert wrong(checked(one, tmp_path, signer().key_sha256)) == set()


@pytest.mark.parametrize("name", CHANGES)
def test_a_packet_made_anew_is_not_the_one_in_the_log(name: str, held: Sealed, tmp_path: Path) -> None:
    """Pages, parts, manifest, tree and root all fit; the seal is the true one of the true packet."""
    source = CHANGES[name](held.case.source, held.case.store)
    body = replace(held.case, source=source, body=None).built()
    forged = held.with_changes(
        case=replace(held.case, source=source), pdf=signed_pdf(body.pdf, held.sealing, None)
    )
    found = checked(forged, tmp_path)
    assert found.line("tree").result == "agrees"
    assert found.line("files").result == "agrees"
    entry = found.line("entry")
    assert {"log entry 7: root", "log entry 7: manifest_sha256", "packet.pdf: pages and attachments"} <= set(
        entry.at_fault
    )
    assert "pdf signature" in wrong(found)
    if name == "verdict":
        assert {"CP-EVERY photos", "verdict and gate of the whole record"} <= set(
            found.line("verdicts").at_fault
        )


@pytest.mark.parametrize("name", CHANGES)
def test_a_packet_sealed_anew_by_another_key_is_told_apart_by_the_key(
    name: str, held: Sealed, tmp_path: Path
) -> None:
    """Everything is consistent, log, head, proofs and signatures included; only the key is another."""
    source = CHANGES[name](held.case.source, held.case.store)
    forged = sealed(replace(held.case, source=source, by=thief(), body=None))
    found = checked(forged, tmp_path, signer().key_sha256)
    assert "key" in wrong(found)
    assert thief().key_sha256 in found.line("key").text
    # Without a key to compare nothing is claimed of it, and the verdicts are judged by themselves.
    alone = checked(forged, tmp_path)
    assert alone.line("key").result == "not_checked"
    # The judgement that was sealed is of the facts and texts before they were changed by hand.
    judged = ("verdict", "reading", "rule text")
    assert wrong(alone) == ({"verdicts"} if name in judged else set())


def seal_changed(made: Sealed, **changes: Any) -> Sealed:
    """The seal exchanged in the true packet; the PDF's signature cannot be made again without the key."""
    sealing = {**made.sealing, **changes}
    body = made.case.built()
    return made.with_changes(sealing=sealing, pdf=signed_pdf(body.pdf, sealing, None))


def test_another_entry_is_not_in_the_log(made: Sealed, tmp_path: Path) -> None:
    entry = json.loads(made.sealing["entry"])
    entry["detail"]["kind"] = "owner"
    found = checked(seal_changed(made, entry=canonical_bytes(entry).decode()), tmp_path)
    assert found.line("log proof").at_fault == ("sealing.json: log_proof",)
    assert {"log proof", "pdf signature", "log extract"} <= wrong(found)


def test_another_head_is_not_signed(made: Sealed, tmp_path: Path) -> None:
    head = {**made.sealing["head"], "at": "2026-05-05T17:08:00.000000Z"}
    found = checked(seal_changed(made, head=head), tmp_path)
    assert found.line("head").at_fault == ("sealing.json: head",)
    assert "not made by that key" in found.line("head").text


def test_another_log_with_the_true_head_does_not_prove_it(made: Sealed, tmp_path: Path) -> None:
    """The forger writes his own history and keeps the true signature."""
    log = replace(made.log, entries=({**made.log.entries[0], "who": "nobody"}, *made.log.entries[1:]))
    sealing = {**sealing_of(log, made.n, None), "head_signature": made.sealing["head_signature"]}
    sealing["certificate"] = made.sealing["certificate"]
    sealing["earlier"] = made.sealing["earlier"]
    body = made.case.built()
    found = checked(made.with_changes(sealing=sealing, pdf=signed_pdf(body.pdf, sealing, None)), tmp_path)
    assert {"head", "earlier head"} <= wrong(found)


def test_a_history_written_anew_does_not_continue_the_head_handed_outside(
    made: Sealed, tmp_path: Path
) -> None:
    """Even with the true key: the workshop itself rewrites an old entry and seals once more."""
    log = replace(made.log, entries=({**made.log.entries[0], "who": "nobody"}, *made.log.entries[1:]))
    sealing = sealing_of(log, made.n, signer())
    sealing["earlier"] = {**made.sealing["earlier"], "consistency": sealing["earlier"]["consistency"]}
    pdf = signed_pdf(made.case.built().pdf, sealing, signer())
    found = checked(made.with_changes(sealing=sealing, pdf=pdf, log=log), tmp_path)
    assert found.line("earlier head").at_fault == ("sealing.json: earlier head",)


def test_a_log_written_anew_by_who_holds_the_key_differs_from_a_head_somebody_kept(
    made: Sealed, tmp_path: Path
) -> None:
    """Nothing in the file can tell: every proof and signature is true. Only a head from outside does."""
    kept = made.log.head(5)
    log = replace(made.log, entries=({**made.log.entries[0], "who": "nobody"}, *made.log.entries[1:]))
    sealing = sealing_of(log, made.n, signer())
    pdf = signed_pdf(made.case.built().pdf, sealing, signer())
    rows = list(log.entries)
    rows[made.n] = {**rows[made.n], "detail": {**rows[made.n]["detail"], "pdf_sha256": sha256_hex(pdf)}}
    log = replace(log, entries=tuple(rows[: made.n + 1]))
    extract = extract_of(log, made.n, made.case)
    forged = made.with_changes(sealing=sealing, pdf=pdf, log=log, additions={}, extract=extract)
    forged.bundle(tmp_path / "forged.zip")
    made.bundle(tmp_path / "true.zip")

    def asked(name: str, head: tuple[int, str] | None) -> Verification:
        with (tmp_path / name).open("rb") as stream:
            return check_bundle(stream, head=head)

    assert wrong(asked("forged.zip", None)) == set()
    assert "written a whole log anew" in asked("forged.zip", None).line("kept head").text
    assert wrong(asked("forged.zip", (kept.size, kept.root))) == {"kept head"}
    assert asked("true.zip", (kept.size, kept.root)).line("kept head").result == "agrees"
    none = asked("true.zip", (3, made.log.head(3).root)).line("kept head")
    assert (none.result, "are of 5, 7" in none.text) == ("not_checked", True)


def test_a_signature_that_is_left_out_is_missed(made: Sealed, tmp_path: Path) -> None:
    body = made.case.built()
    found = checked(made.with_changes(pdf=signed_pdf(body.pdf, made.sealing, None)), tmp_path)
    assert "pdf signature" in wrong(found)
    bare = {**made.sealing, "head_signature": "", "certificate": ""}
    stripped = made.with_changes(sealing=bare, pdf=signed_pdf(body.pdf, bare, None))
    assert (
        "log extract" in wrong(checked(stripped, tmp_path))
        or "NOT SIGNED" in checked(stripped, tmp_path).line("head").text
    )
    assert "key" in wrong(checked(stripped, tmp_path, signer().key_sha256))


def test_a_seal_that_is_left_out_is_missed(made: Sealed) -> None:
    found = check_packet(made.case.built().pdf)
    assert "seal" in wrong(found)


def test_half_a_certificate_and_bad_hex_are_no_seal(made: Sealed, tmp_path: Path) -> None:
    for changes in ({"certificate": ""}, {"n": made.n + 1}, {"log_proof": ["5A" * 32]}, {"more": 1}):
        found = checked(seal_changed(made, **changes), tmp_path)
        assert "seal" in wrong(found), changes


# ------------------------------------------------------------------ after sealing


def second_changed(made: Sealed, **changes: Any) -> dict[str, bytes]:
    told = json.loads(made.additions["addition-0002.json"]) | changes
    return {**made.additions, "addition-0002.json": canonical_bytes(told)}


ADDITIONS: Mapping[str, Callable[[Sealed], dict[str, bytes]]] = {
    "other words": lambda made: second_changed(made, text="It did not come again."),
    "another packet's": lambda made: second_changed(made, packet="EM-2026-0001/P1"),
    "another root": lambda made: second_changed(
        made, sealed={"root": "00" * 32, "pdf_sha256": sha256_hex(made.pdf)}
    ),
    "cut from the chain": lambda made: second_changed(made, previous="00" * 32),
    "another number": lambda made: second_changed(made, number=3),
    "another form": lambda made: second_changed(made, more=1),
    "another kind": lambda made: second_changed(made, kind="praise"),
    "the first left out": lambda made: {"addition-0002.json": made.additions["addition-0002.json"]},
    "the last left out": lambda made: {"addition-0001.json": made.additions["addition-0001.json"]},
    "one more": lambda made: {**made.additions, "addition-0003.json": made.additions["addition-0002.json"]},
    "pages of nothing": lambda made: {**made.additions, "addition-0009.pdf": b"%PDF-"},
    "another name": lambda made: {**made.additions, "note.json": b"{}"},
}


@pytest.mark.parametrize("name", ADDITIONS)
def test_additions_cannot_be_changed_left_out_or_put_in(name: str, made: Sealed, tmp_path: Path) -> None:
    found = checked(made.with_changes(additions=ADDITIONS[name](made)), tmp_path)
    assert wrong(found) == {"additions"}


def test_additions_and_log_extract_changed_together_miss_the_signed_head(
    made: Sealed, tmp_path: Path
) -> None:
    """The first addition is under the later signed head; the forger cannot sign another."""
    entries = list(made.log.entries)
    told = json.loads(made.additions["addition-0001.json"]) | {"text": "Nothing came."}
    first = canonical_bytes(told)
    second = canonical_bytes(
        json.loads(made.additions["addition-0002.json"]) | {"previous": sha256_hex(first)}
    )
    for place, data in ((made.n + 1, first), (made.n + 2, second)):
        entries[place] = {
            **entries[place],
            "detail": {**entries[place]["detail"], "sha256": sha256_hex(data)},
        }
    log = replace(made.log, entries=tuple(entries))
    forged = json.loads(extract_of(log, made.n, replace(made.case, by=None)))
    true = json.loads(made.extract or b"")
    forged |= {name: true[name] for name in ("head_signature", "certificate")}
    found = checked(
        made.with_changes(
            additions={"addition-0001.json": first, "addition-0002.json": second},
            extract=canonical_bytes(forged),
            log=log,
        ),
        tmp_path,
    )
    assert wrong(found) == {"log extract"}
    assert "log-extract.json: its head" in found.line("log extract").at_fault[0]


def test_an_extract_taken_out_with_the_additions_is_missed(made: Sealed, tmp_path: Path) -> None:
    """Nobody needs a key for that: both are dropped and the bag is made anew."""
    found = checked(made.with_changes(additions={}, extract=None), tmp_path)
    assert wrong(found) == {"log extract"}
    assert "missing" in found.line("log extract").text
    assert found.line("additions").result == "not_checked"


def test_an_extract_without_the_entry_of_the_finished_file_is_refused(made: Sealed, tmp_path: Path) -> None:
    extract = json.loads(made.extract or b"")
    left = [one for one in extract["entries"] if json.loads(one["entry"])["what"] != "packet.signed"]
    assert len(left) == len(extract["entries"]) - 1
    found = checked(made.with_changes(extract=canonical_bytes({**extract, "entries": left})), tmp_path)
    assert any("finished file" in place for place in found.line("log extract").at_fault)


def test_a_demonstration_key_stays_one_whatever_the_seal_says_of_it(made: Sealed, tmp_path: Path) -> None:
    """Whoever has such a key could sign again and leave the warning out; its certificate says what it is."""
    by = TestSigner("DEMONSTRATION KEY - not for evidence")
    assert not by.is_demo
    found = checked(sealed(replace(made.case, by=by)), tmp_path)
    assert found.is_demo
    assert "DEMONSTRATION" in found.line("key").text
    assert not checked(made, tmp_path).is_demo


def test_a_log_extract_of_another_packet_is_none(made: Sealed, held: Sealed, tmp_path: Path) -> None:
    found = checked(made.with_changes(extract=held.extract), tmp_path)
    assert "log extract" in wrong(found)


# ------------------------------------------------------------------ copies for recipients


def test_a_copy_says_whose_pages_it_has_and_rests_on_its_signature(made: Sealed, tmp_path: Path) -> None:
    found = check_packet(made.pdf)
    assert "stamped copy" not in found.line("entry").text
    assert found.line("originals").result == "not_checked"
