"""The pages of additions: PDF/A, the addition attached, signed with its proof from the log, made once."""

import io
import json
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from pypdf import PdfReader

from jobs import storage
from jobs.models import AdditionPrint, Job, OutboxEntry, PacketAddition
from jobs.packets.additions import additions_of
from jobs.services.addition_print import ensure_printed, print_addition, value_words
from jobs.services.additions import add_to_packet
from jobs.services.signing_keys import make_demo_key
from jobs.tasks import print_addition as print_task
from rules.seal.log_proofs import entry_leaf, shows_inclusion
from rules.seal.pdf_seal import read_seal
from tests.jobs.packets import pdfa
from tests.jobs.sealed import sealed_packet
from tests.jobs.shop import Shop

TEXT = "On 2 Sep 2026 a certificate came, ±0.5 mm.\nThe sealed packet stays as it was."


@pytest.fixture(autouse=True)
def _store(settings: Any, tmp_path: Path) -> None:
    settings.EVIDENCE_ROOT = tmp_path / "stored"


# Its pages have no pictures.
OF_AN_ADDITION = pdfa.OF_A_PACKET - {"/Figure"}


def added(shop: Shop, job: Job, kind: str = "late_certificate", **fields: Any) -> PacketAddition:
    packet = job.packets.first() or sealed_packet(shop, job)
    given: dict[str, Any] = {"text": TEXT, "facts": {"used_on": ["2026-05-05"], "adjusted": True}} | fields
    return add_to_packet(packet=packet, kind=kind, as_of=shop.at("13:00"), who="later-events", **given)


@pytest.mark.slow
def test_the_pages_are_pdfa_with_the_addition_and_its_proof(shop: Shop, job: Job) -> None:
    make_demo_key(organisation=shop.organisation, as_of=shop.at("08:00"))
    row = added(shop, job)
    made = print_addition(addition_id=row.pk, as_of=shop.at("13:05"))
    pdf = storage.read(made.sha256)
    assert pdfa.faults(pdf, OF_AN_ADDITION) == []
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        attached = {name: spec.get_file().read_bytes() for name, spec in opened.attachments.items()}
    assert attached["addition.json"] == storage.read(row.sha256)
    proof = json.loads(attached["sealing.json"])
    entry = json.loads(proof["entry"])
    assert entry["detail"]["sha256"] == row.sha256
    path = [bytes.fromhex(step) for step in proof["log_proof"]]
    head = proof["head"]
    assert shows_inclusion(entry_leaf(entry), proof["n"] - 1, head["size"], path, bytes.fromhex(head["root"]))
    found = read_seal(pdf)
    assert (found.fault, found.holds, found.key_sha256) == ("", True, made.key_sha256)
    again = print_addition(addition_id=row.pk, as_of=shop.at("14:00"))
    assert (again.pk, AdditionPrint.objects.count()) == (made.pk, 1)
    (item,) = additions_of(row.packet)
    assert item.pdf == pdf


@pytest.mark.slow
def test_without_a_key_the_page_says_so(shop: Shop, job: Job) -> None:
    row = added(shop, job)
    made = print_addition(addition_id=row.pk, as_of=shop.at("13:05"))
    assert made.key_sha256 == ""
    pdf = storage.read(made.sha256)
    assert pdfa.faults(pdf, OF_AN_ADDITION) == []
    assert read_seal(pdf).is_signed is False
    assert "This page carries no signature" in PdfReader(io.BytesIO(pdf)).pages[0].extract_text()


@pytest.mark.slow
def test_the_worker_prints_and_what_was_left_is_printed_when_asked(shop: Shop, job: Job) -> None:
    row = added(shop, job)
    late = added(shop, job, "rule_change", facts={"pack": "orrinvale"})
    entry = OutboxEntry.objects.get(task="jobs.print_addition")
    assert print_task.apply(args=(entry.pk,), throw=True).get() == "done"
    assert [made.addition_id for made in AdditionPrint.objects.all()] == [row.pk]
    ensure_printed(packet=row.packet, as_of=shop.at("15:00"))
    assert {made.addition_id for made in AdditionPrint.objects.all()} == {row.pk, late.pk}


@pytest.mark.slow
def test_long_facts_run_over_pages(shop: Shop, job: Job) -> None:
    many = {f"point_{place}": "a long line of words that fills the table " * 20 for place in range(40)}
    row = added(shop, job, text="x " * 1900, facts=many)
    pdf = storage.read(print_addition(addition_id=row.pk, as_of=shop.at("13:05")).sha256)
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert len(opened.pages) > 2
        assert json.loads(opened.attachments["addition.json"].get_file().read_bytes())["facts"] == many
    assert pdfa.faults(pdf, OF_AN_ADDITION) == []


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (None, "none"),
        ([], "none"),
        (True, "yes"),
        (2.50, "2.5"),
        (["a", "b"], "a; b"),
        ({"used_on": ["x", "y"], "n": 2}, "used on x; y, n 2"),
        ([{"error": 3.5, "unit": "kPa"}], "error 3.5, unit kPa"),
    ],
)
def test_facts_in_words(value: Any, words: str) -> None:
    assert value_words(value) == words


def test_a_very_long_value_is_cut_and_says_so() -> None:
    assert value_words("x" * 1200) == "x" * 1200
    assert value_words("x" * 1201).endswith("(all of it in addition.json)")
