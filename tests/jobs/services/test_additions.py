"""Additions to a sealed packet: chained, logged, once per event, read back, every break found."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from jobs import storage
from jobs.errors import Conflict, Refused
from jobs.models import Job, LogEntry, OutboxEntry, Packet, PacketAddition
from jobs.packets.additions import additions_listed, additions_of, check_chain
from jobs.services.additions import add_to_packet
from rules.canonical import CanonicalError, sha256_hex
from tests.jobs.sealed import ROOT, sealed_packet
from tests.jobs.shop import Shop
from tests.record_guards import without_guards


@pytest.fixture(autouse=True)
def _store(settings: Any, tmp_path: Path) -> None:
    settings.EVIDENCE_ROOT = tmp_path / "stored"


@pytest.fixture
def packet(shop: Shop, job: Job) -> Packet:
    return sealed_packet(shop, job)


def add(shop: Shop, packet: Packet, hhmm: str = "13:00", **fields: Any) -> PacketAddition:
    given: dict[str, Any] = {"kind": "look_back", "text": "A look-back said nothing new.", "facts": {"a": 1}}
    return add_to_packet(packet=packet, as_of=shop.at(hhmm), who="lveskel", **(given | fields))


def test_an_addition_is_stored_chained_and_logged(shop: Shop, packet: Packet) -> None:
    first = add(shop, packet)
    second = add(shop, packet, "14:00", facts={"a": 2})
    assert (first.number, first.previous, second.number, second.previous) == (1, "", 2, first.sha256)
    told = json.loads(storage.read(second.sha256))
    assert told == {
        "format": "addition 1", "packet": packet.serial, "number": 2, "kind": "look_back",
        "at": "2026-05-05T19:00:00.000000Z", "text": "A look-back said nothing new.", "facts": {"a": 2},
        "sealed": {"root": ROOT, "pdf_sha256": packet.pdf_sha256}, "previous": first.sha256,
    }  # fmt: skip
    entries = LogEntry.objects.filter(what="packet.added_to", target=f"packet/{packet.pk}").order_by("n")
    assert [json.loads(entry.detail)["sha256"] for entry in entries] == [first.sha256, second.sha256]
    assert {entry.who for entry in entries} == {"lveskel"}
    assert OutboxEntry.objects.filter(task="jobs.print_addition").count() == 2
    assert check_chain(packet) == ()
    before = packet.pdf_sha256
    packet.refresh_from_db()
    assert (packet.pdf_sha256, storage.is_intact(before)) == (before, True)


def test_the_same_event_is_added_once(shop: Shop, packet: Packet) -> None:
    first = add(shop, packet)
    assert add(shop, packet, "15:00").pk == first.pk
    named = add(shop, packet, key="certificate/7")
    assert add(shop, packet, key="certificate/7", facts={"a": 9}, text="Other words.").pk == named.pk
    assert PacketAddition.objects.count() == 2
    assert LogEntry.objects.filter(what="packet.added_to").count() == 2


def test_what_is_read_back_are_the_bytes(shop: Shop, packet: Packet) -> None:
    add(shop, packet)
    (item,) = additions_of(packet)
    assert sha256_hex(item.data) == item.sha256
    assert (item.name, item.pdf_name, item.pdf, item.title) == (
        "addition-0001.json", "addition-0001.pdf", None, "Look-back",
    )  # fmt: skip
    (line,) = additions_listed(packet)
    assert (line.number, line.text, line.who) == (1, "A look-back said nothing new.", "lveskel")


@pytest.mark.parametrize(
    ("fields", "error"),
    [
        ({"kind": "gossip"}, "bad_choice"),
        ({"text": ""}, "text_length"),
        ({"text": "x" * 4001}, "text_length"),
        ({"text": "x" * 4000}, ""),
        ({"text": "a\x07b"}, "text_signs"),
        ({"key": "k" * 201}, "text_length"),
        ({"key": "k" * 200}, ""),
        ({"facts": {"a": float("nan")}}, "canonical"),
    ],
)
def test_what_an_addition_may_say(shop: Shop, packet: Packet, fields: dict[str, Any], error: str) -> None:
    if not error:
        assert add(shop, packet, **fields).pk
        return
    with pytest.raises((Refused, CanonicalError)) as caught:
        add(shop, packet, **fields)
    assert error == "canonical" or getattr(caught.value, "code", "") == error
    assert not PacketAddition.objects.exists()


def test_only_a_sealed_packet_is_added_to(shop: Shop, job: Job) -> None:
    waiting = sealed_packet(shop, job, state="failed", pdf_sha256="", built_at=None)
    with pytest.raises(Conflict) as caught:
        add(shop, waiting)
    assert caught.value.code == "packet_not_sealed"


def _drop(row: PacketAddition) -> None:
    row.delete()


def _change_text(row: PacketAddition) -> None:
    PacketAddition.objects.filter(pk=row.pk).update(text="Nothing was found.")


def _change_file(row: PacketAddition) -> None:
    path = storage.path(row.sha256)
    path.write_bytes(path.read_bytes().replace(b"look-back", b"look-bacK"))


def _lose_file(row: PacketAddition) -> None:
    storage.path(row.sha256).unlink()


def _other_previous(row: PacketAddition) -> None:
    PacketAddition.objects.filter(pk=row.pk).update(previous="f" * 64)


TAMPERINGS = [_drop, _change_text, _change_file, _lose_file]
# That a first addition follows something is refused by the database itself.
BREAKS = [(tamper, number) for tamper in TAMPERINGS for number in (1, 2, 3)]


@pytest.mark.parametrize(("tamper", "number"), [*BREAKS, (_other_previous, 2), (_other_previous, 3)])
def test_every_break_of_the_chain_is_found(
    shop: Shop, packet: Packet, tamper: Callable[[PacketAddition], None], number: int
) -> None:
    """Somebody who owns the database lifts the guards; the chain and the log still tell on him."""
    for count in range(3):
        add(shop, packet, facts={"a": count})
    with without_guards():
        tamper(PacketAddition.objects.get(number=number))
    assert check_chain(packet)


def test_additions_of_another_packet_do_not_count(shop: Shop, job: Job, packet: Packet) -> None:
    other = sealed_packet(shop, job, number=2)
    add(shop, packet)
    add(shop, other, facts={"a": 2})
    assert [row.number for row in PacketAddition.objects.order_by("packet__number")] == [1, 1]
    with without_guards():
        PacketAddition.objects.filter(packet=other).update(packet=packet, number=2, previous="a" * 64)
    assert any("does not follow" in fault for fault in check_chain(packet))
    assert any("is not there" in fault for fault in check_chain(other))
