"""The production log and the custodian's form: every taking in order, safe cells, what the record states."""

import csv
import io
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from jobs.models import AccessGrant, Job, LogEntry, Packet, PacketAddition, PacketDownload, ShareLink, scope
from jobs.packets.production import (
    COLUMNS,
    ProductionLine,
    custodian_form,
    production_csv,
    production_lines,
    safe_cell,
)
from jobs.services.additions import add_to_packet
from jobs.services.holds import HoldEntry, place_hold
from tests.jobs.kept_job import aged, delivered, kept_file
from tests.jobs.sealed import sealed_packet
from tests.jobs.services.test_retention import run
from tests.jobs.shop import Shop, eastmarch, new_id
from tests.record_guards import without_guards

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(settings: Any, tmp_path: Path) -> Iterator[Shop]:
    settings.EVIDENCE_ROOT = tmp_path / "stored"
    made = eastmarch()
    with scope(made.organisation.pk):
        yield made


@pytest.fixture
def job(shop: Shop) -> Job:
    shop.observe_clock("07:29")
    return shop.open_job()


@pytest.fixture
def packet(shop: Shop, job: Job) -> Packet:
    return sealed_packet(shop, job)


def granted(shop: Shop, packet: Packet, **to: Any) -> AccessGrant:
    return AccessGrant.objects.create(
        organisation=shop.organisation, packet=packet, purpose="discovery", valid_from=shop.at("12:00"),
        until=shop.at("12:00", days=9), granted_at=shop.at("12:00"), granted_by=shop.people["lveskel"], **to,
    )  # fmt: skip


def taken(shop: Shop, packet: Packet, hhmm: str, **fields: Any) -> PacketDownload:
    given = {"sha256": "b" * 64, "size_bytes": 417, "request_id": "r-1"} | fields
    return PacketDownload.objects.create(
        organisation=shop.organisation, packet=packet, downloaded_at=shop.at(hhmm), **given
    )


# ------------------------------------------------------------------ cells


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        ("Brook & Vane", "Brook & Vane"),
        ("", ""),
        (417, "417"),
        (-5, "'-5"),
        # What a spreadsheet takes for a formula (OWASP, CSV Injection; from memory).
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-1", "'-1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1+1", "'\t=1+1"),
        ("  =1+1", "'  =1+1"),
        ("\r=1+1", "' =1+1"),
        ("\n=1+1", "' =1+1"),
        ("a\r\nb", "a b"),
        ("a\x0bb\u2028c", "a b c"),
        # Full-width signs: some programs take them for the plain ones.
        ("\uff1d1+1", "'\uff1d1+1"),
        ("\uff0b1", "'\uff0b1"),
        ("\u00a0=1", "'\u00a0=1"),
        ('say "=1"', 'say "=1"'),
        ("'=1", "'=1"),
    ],
)
def test_no_cell_is_a_formula(value: object, cell: str) -> None:
    assert safe_cell(value) == cell


def test_any_reader_of_rfc_4180_gets_the_same_cells_back() -> None:
    hostile = '=cmd|"/C calc"!A0'
    line = ProductionLine(
        at="2026-05-05T17:00:00.000000Z", recipient=hostile, login='a,"b"', serial="EM/P1", kind="full",
        sha256="b" * 64, bytes=417, request="two\r\nlines",
    )  # fmt: skip
    data = production_csv((line,))
    assert data.endswith(b"\r\n")
    assert data.count(b"\r\n") == 2
    head, row = list(csv.reader(io.StringIO(data.decode("utf-8"), newline=""), strict=True))
    assert tuple(head) == COLUMNS
    told = dict(zip(head, row, strict=True))
    assert (told["recipient"], told["login"], told["request"]) == (f"'{hostile}", 'a,"b"', "two lines")
    assert told["bytes"] == "417"
    assert production_csv(()).decode().count("\r\n") == 1


# ------------------------------------------------------------------ lines


def test_every_taking_is_told_in_order_with_its_grant(shop: Shop, job: Job, packet: Packet) -> None:
    second = sealed_packet(shop, job, number=2, kind="counsel", data=b"%PDF 2")
    by_mail = granted(shop, packet, to_email="counsel@example.org")
    link = ShareLink.objects.create(
        organisation=shop.organisation, token_sha256="a" * 64, to_name="Hanne Brook",
        to_company="Brook & Vane", purpose="discovery", valid_from=shop.at("12:00"),
        until=shop.at("12:00", days=9), made_at=shop.at("12:00"), made_by=shop.people["lveskel"],
    )  # fmt: skip
    by_link = granted(shop, second, link=link)
    taken(shop, second, "15:00", grant=by_link)
    taken(shop, packet, "13:00", person=shop.people["tachterly"])
    taken(shop, packet, "14:00", grant=by_mail, sha256="c" * 64)
    taken(shop, packet, "16:00", person=shop.people["tachterly"])
    AccessGrant.objects.filter(pk=by_mail.pk).update(revoked_at=shop.at("14:30"), revoked_why="asked")
    other = shop.open_job(number="EM-2026-0418")
    taken(shop, sealed_packet(shop, other, data=b"%PDF 3"), "13:30", person=shop.people["tachterly"])
    lines = production_lines(job, shop.at("15:00"))
    assert [(line.at[11:16], line.serial[-2:], line.sha256[0]) for line in lines] == [
        ("18:00", "P1", "b"), ("19:00", "P1", "c"), ("20:00", "P2", "b"),
    ]  # fmt: skip
    own, mailed, linked = lines
    assert (own.login, own.grant, own.granted_by, own.purpose) == ("tachterly", "", "", "")
    assert own.recipient == f"Brackwater Repair Group, {shop.people['tachterly'].name}"
    assert (mailed.recipient, mailed.login) == ("counsel@example.org", "")
    assert (mailed.grant, mailed.granted_by, mailed.purpose) == (str(by_mail.pk), "lveskel", "discovery")
    assert mailed.revoked_at == "2026-05-05T19:30:00.000000Z"
    assert (linked.recipient, linked.revoked_at) == ("link for Hanne Brook at Brook & Vane", "")


# ------------------------------------------------------------------ the form


def test_the_form_states_what_the_record_holds_and_leaves_the_rest_to_a_person(
    shop: Shop, job: Job, packet: Packet
) -> None:
    at = shop.at("16:00")
    add_to_packet(packet=packet, kind="comeback", text="It came again.", facts={}, as_of=at, who="itolvaar")
    taken(shop, packet, "14:00", person=shop.people["tachterly"])
    entry = HoldEntry(id=new_id(), matter="Ashgrove against Harrowmere", jobs=(job.pk,))
    hold = place_hold(actor=shop.actor("lveskel"), as_of=shop.at("15:00"), entry=entry)
    form = custodian_form(packet, at)
    last = LogEntry.objects.order_by("-n").first()
    assert last is not None
    assert form["log"] == {"entries": last.n, "newest_hash": last.hash}
    assert form["record"] == {
        "order": "EM-2026-0417", "packet": "EM-2026-0417/P1", "kind": "full",
        "speaks_for": "2026-05-05T17:00:00.000000Z", "sealed_at": "2026-05-05T17:00:00.000000Z",
        "root": packet.merkle_root, "pdf_sha256": packet.pdf_sha256,
        "manifest_sha256": packet.manifest_sha256,
    }  # fmt: skip
    assert [row["kind"] for row in form["additions"]] == ["comeback"]
    assert form["additions_check"] == ["The additions form a whole chain and stand in the log."]
    assert form["holds"] == [
        {"hold": str(hold.pk), "placed_at": "2026-05-05T20:00:00.000000Z", "placed_by": "lveskel",
         "matter": "Ashgrove against Harrowmere"},
    ]  # fmt: skip
    assert [line["login"] for line in form["handed_out"]] == ["tachterly"]
    assert form["deleted"] == []
    # The program certifies nothing: who, on what knowledge, where and when are blank.
    assert set(form["to_be_filled_in"].values()) == {""}
    assert {"name", "signature", "date", "basis_of_knowledge"} <= set(form["to_be_filled_in"])


def test_a_broken_chain_of_additions_is_stated(shop: Shop, packet: Packet) -> None:
    at = shop.at("16:00")
    for text in ("It came again.", "And again."):
        add_to_packet(packet=packet, kind="comeback", text=text, facts={}, as_of=at, who="itolvaar", key=text)
    with without_guards():
        PacketAddition.objects.filter(number=1).update(sha256="f" * 64)
    told = custodian_form(packet, at)["additions_check"]
    assert told
    assert not any("whole chain" in words for words in told)


def test_what_was_deleted_is_stated_with_its_hash(shop: Shop, job: Job, packet: Packet) -> None:
    photo = kept_file(shop, delivered(job, shop.at("17:00")), b"a photo")
    aged()
    run(shop, 3654)
    form = custodian_form(packet, shop.at("12:00", days=3654) + timedelta(hours=1))
    assert photo.sha256 in {row["sha256"] for row in form["deleted"]}
    assert all("retention policy" in row["why"] for row in form["deleted"])
