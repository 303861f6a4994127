"""What is told on packets by itself: newer packets, late certificates, changed rule texts, comebacks."""

from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest

from jobs.models import (
    Certificate,
    Equipment,
    EquipmentUse,
    Job,
    OutboxEntry,
    PackEditionOnFile,
    Packet,
    PacketAddition,
    scope,
)
from jobs.packets.additions import check_chain
from jobs.services import certificates, later_events, pack_desk
from jobs.services.late_certificates import certificate_came
from jobs.services.sealed_packets import day_words
from jobs.tasks import note_later_event
from tests.factories import VehicleFactory, second_organisation
from tests.jobs.sealed import judged, sealed_packet
from tests.jobs.services.test_equipment import point
from tests.jobs.shop import Shop, new_id


@pytest.fixture(autouse=True)
def _store(settings: Any, tmp_path: Path) -> None:
    settings.EVIDENCE_ROOT = tmp_path / "stored"


def told(kind: str) -> list[PacketAddition]:
    return list(PacketAddition.objects.filter(kind=kind).order_by("packet__number", "number"))


def work_off() -> list[str]:
    """Runs what waits as the worker does, and gives the states."""
    waiting = OutboxEntry.objects.filter(task=later_events.TASK, state="waiting").values_list("pk", flat=True)
    return [note_later_event.apply(args=(pk,), throw=True).get() for pk in waiting]


@pytest.mark.parametrize(
    ("at", "tz", "words"),
    [
        (date(2026, 5, 5), "America/Chicago", "5 May 2026"),
        ("04:59", "America/Chicago", "4 May 2026"),
        ("05:00", "America/Chicago", "5 May 2026"),
        ("04:59", "UTC", "5 May 2026"),
    ],
)
def test_days_are_those_of_the_place(at: Any, tz: str, words: str) -> None:
    """Midnight in Chicago is 05:00 UTC in summer (IANA time zone database)."""
    instant = at if isinstance(at, date) else datetime.fromisoformat(f"2026-05-05T{at}:00+00:00")
    assert day_words(instant, tz) == words


# ------------------------------------------------------------------ a newer packet


def test_old_and_new_name_each_other_once(shop: Shop, job: Job) -> None:
    old = sealed_packet(shop, job)
    new = sealed_packet(shop, job, number=2, hhmm="15:00", supersedes=old)
    for _ in range(2):
        later_events.packet_sealed(packet=new, as_of=shop.at("15:01"))
    first, second = told("superseded")
    assert (first.packet_id, second.packet_id) == (old.pk, new.pk)
    assert "On 5 May 2026 packet EM-2026-0417/P2 was sealed" in first.text
    assert first.facts["by"]["pdf_sha256"] == new.pdf_sha256
    assert "supersedes packet EM-2026-0417/P1" in second.text
    assert check_chain(old) == check_chain(new) == ()


def test_nothing_is_told_of_a_first_packet_or_a_failed_one(shop: Shop, job: Job) -> None:
    failed = sealed_packet(shop, job, state="failed", pdf_sha256="", built_at=None)
    new = sealed_packet(shop, job, number=2, supersedes=failed)
    assert later_events.packet_sealed(packet=new, as_of=shop.at("15:01")) == ()
    assert later_events.packet_sealed(packet=sealed_packet(shop, job, number=3), as_of=shop.at("15:01")) == ()


def test_the_nightly_look_tells_what_was_missed(shop: Shop, job: Job) -> None:
    old = sealed_packet(shop, job)
    sealed_packet(shop, job, number=2, hhmm="15:00", supersedes=old)
    missed = [later_events.tell_missed(organisation=shop.organisation, as_of=shop.at("23:00")) for _ in "ab"]
    assert missed == [2, 0]


# ------------------------------------------------------------------ certificates


def used(shop: Shop, job: Job, *days: date, tag: str = "PG-022") -> Equipment:
    gauge = Equipment.objects.get(tag=tag)
    for day in days:
        EquipmentUse.objects.create(
            organisation=shop.organisation, equipment=gauge, job=job, record_kind="reading",
            record_id=new_id(), used_at=shop.at("09:00"), used_on=day,
        )  # fmt: skip
    return gauge


def confirm(shop: Shop, gauge: Equipment, calibrated_on: date, number: str, days: int = 120) -> Certificate:
    """Transcribed by one, confirmed by another, so many days after the shop's day."""
    at = shop.at("09:00", days=days)
    row = certificates.add_certificate(
        equipment=gauge, actor=shop.actor("tachterly"), as_of=at,
        entry=certificates.CertificateEntry(
            id=new_id(), number=number, lab_name="Fellgate Metrology Laboratory",
            calibrated_on=calibrated_on.isoformat(), issued_on=calibrated_on.isoformat(),
            as_found=(point(error="3.5"),), as_left=(point(),),
        ),
    )  # fmt: skip
    return certificates.confirm_certificate(certificate=row, actor=shop.actor("lveskel"), as_of=at)


def test_an_as_found_result_after_sealing_is_told_on_the_packet(shop: Shop, job: Job) -> None:
    gauge = used(shop, job, date(2026, 5, 5))
    packet = sealed_packet(shop, job)
    row = confirm(shop, gauge, date(2026, 8, 12), "FM-26-811")
    assert work_off() == ["done"]
    (added,) = told("late_certificate")
    assert added.packet_id == packet.pk
    assert "On 2 Sep 2026, after sealing, calibration certificate FM-26-811 of" in added.text
    assert "As found: error +3.5 kPa at 250 kPa (U 2 kPa, k 2)" in added.text
    assert added.facts["used_on"] == ["2026-05-05"]
    assert (added.at, added.facts["record_sha256"]) == (shop.at("09:00", days=120), row.content_sha256)
    later_events.perform_event(event="certificate", subject=row.pk, as_of=shop.at("09:00", days=121))
    assert len(told("late_certificate")) == 1
    assert check_chain(packet) == ()


def test_a_certificate_known_at_sealing_and_an_unused_instrument_are_not_told(shop: Shop, job: Job) -> None:
    gauge = used(shop, job, date(2026, 5, 5))
    before = confirm(shop, gauge, date(2026, 2, 12), "FM-26-1", days=0)
    sealed_packet(shop, job)
    scanner = Equipment.objects.get(tag="SD-011")
    confirm(shop, scanner, date(2026, 8, 12), "FM-26-9")
    assert set(work_off()) == {"done"}
    assert Certificate.objects.filter(pk=before.pk, confirmed_by__isnull=False).exists()
    assert told("late_certificate") == []


@pytest.mark.parametrize(
    ("others", "mine", "is_told"),
    [
        # Used on 5 May. The last on or before the day, and the first on or after it, speak of the day.
        ([], date(2026, 5, 4), True),
        ([], date(2026, 5, 5), True),
        ([], date(2026, 5, 6), True),
        ([date(2026, 5, 5)], date(2026, 5, 4), False),
        ([date(2026, 5, 4)], date(2026, 5, 3), False),
        ([date(2026, 5, 3)], date(2026, 5, 4), True),
        ([date(2026, 5, 6)], date(2026, 5, 4), True),
        ([date(2026, 5, 5)], date(2026, 5, 6), False),
        ([date(2026, 5, 6)], date(2026, 5, 7), False),
        ([date(2026, 5, 8)], date(2026, 5, 7), True),
        ([date(2026, 5, 4)], date(2026, 5, 7), True),
    ],
)
def test_which_certificate_speaks_of_a_day(
    shop: Shop, job: Job, others: list[date], mine: date, is_told: bool
) -> None:
    gauge = used(shop, job, date(2026, 5, 5))
    for place, day in enumerate(others):
        confirm(shop, gauge, day, f"OTHER-{place}")
    OutboxEntry.objects.filter(task=later_events.TASK).update(state="done")
    sealed_packet(shop, job)
    confirm(shop, gauge, mine, "MINE")
    work_off()
    assert bool(told("late_certificate")) is is_told


def test_a_certificate_without_as_found_says_so(shop: Shop, job: Job) -> None:
    gauge = used(shop, job, date(2026, 5, 5))
    sealed_packet(shop, job)
    row = confirm(shop, gauge, date(2026, 8, 12), "FM-26-811")
    row.as_found = []
    certificate_came(certificate=row, as_of=shop.at("09:00", days=120))
    (added,) = told("late_certificate")
    assert "states no as-found result" in added.text


# ------------------------------------------------------------------ editions


def on_file(shop: Shop, edition: int, **fields: Any) -> PackEditionOnFile:
    given: dict[str, Any] = {
        "pack": "orrinvale", "source": b"", "sha256": f"{edition:064x}", "state": "published",
        "in_force_from": date(2026, 3, 1),
    } | fields  # fmt: skip
    return PackEditionOnFile.objects.create(organisation=shop.organisation, edition=edition, **given)


def test_a_replaced_edition_is_told_where_it_governed(shop: Shop, job: Job) -> None:
    seven = on_file(shop, 7, state="superseded", in_force_until=date(2026, 6, 1))
    eight = on_file(shop, 8, in_force_from=date(2026, 6, 1))
    governed = sealed_packet(shop, job, assessment=judged(shop, job))
    other = judged(shop, job, pack=("orrinvale", 6))
    sealed_packet(shop, job, number=2, assessment=other)
    sealed_packet(shop, job, number=3)
    for _ in range(2):
        at = shop.at("09:00", days=20)
        later_events.perform_event(event="edition_replaced", subject=eight.pk, as_of=at)
    (added,) = told("rule_change")
    assert added.packet_id == governed.pk
    assert "Edition 7 of pack orrinvale, which governed OV-FC-STATIC (Forward camera), is replaced by" in (
        added.text
    )
    assert "edition 8 from 1 Jun 2026 on" in added.text
    assert "not a finding of fault" in added.text
    assert added.facts["sha256"] == seven.sha256
    # Thousands of packets at once may be concerned: their pages are made when asked for.
    assert not OutboxEntry.objects.filter(task="jobs.print_addition").exists()


def test_a_withdrawn_edition_is_told_with_its_severity(shop: Shop, job: Job) -> None:
    shop.publish("common-practice.3.yaml")
    row = PackEditionOnFile.objects.get(pack="common-practice")
    packet = sealed_packet(shop, job, assessment=judged(shop, job, pack=("common-practice", row.edition)))
    OutboxEntry.objects.filter(task=later_events.TASK).update(state="done")
    pack_desk.withdraw_pack(
        row=row, actor=shop.actor("lveskel"), as_of=shop.at("13:00"), on=shop.day, severity="safety",
        reason="The distance to the target was printed wrong.",
    )  # fmt: skip
    assert work_off() == ["done"]
    (added,) = told("rule_change")
    assert added.packet_id == packet.pk
    assert "was withdrawn on 5 May 2026 (severity: safety)" in added.text
    assert "printed wrong" in added.text


def test_publishing_asks_for_it_in_the_same_transaction(shop: Shop) -> None:
    shop.publish("common-practice.3.yaml")
    asked = OutboxEntry.objects.filter(task=later_events.TASK)
    assert [entry.arguments["event"] for entry in asked] == ["edition_replaced"]


# ------------------------------------------------------------------ comebacks


def later_job(shop: Shop, sensors: list[str], *, vin: str = "", days: int = 60, **fields: Any) -> Job:
    car = VehicleFactory.create(organisation=shop.organisation, created_by=shop.people["tachterly"])
    if vin:
        car.vin = vin
        car.save()
    made = shop.open_job(number=f"EM-2026-{days:04d}", vehicle=car.pk, **fields)
    Job.objects.filter(pk=made.pk).update(opened_at=shop.at("08:00", days=days))
    judged(shop, made, sensors=sensors)
    return made


def look(shop: Shop, days: int = 61) -> int:
    return later_events.tell_missed(organisation=shop.organisation, as_of=shop.at("03:00", days=days))


def test_a_comeback_names_the_systems(shop: Shop, job: Job) -> None:
    packet = sealed_packet(shop, job, assessment=judged(shop, job, sensors=["forward_camera", "front_radar"]))
    later_job(shop, ["forward_camera", "rear_corner_radar"])
    assert [look(shop), look(shop, 62)] == [1, 0]
    (added,) = told("comeback")
    assert added.packet_id == packet.pk
    assert "order EM-2026-0060 at Eastmarch, opened on 4 Jul 2026" in added.text
    assert "systems of this packet: forward camera." in added.text
    assert added.facts["systems"] == ["forward_camera"]


def test_further_systems_of_the_same_order_are_told_again(shop: Shop, job: Job) -> None:
    sealed_packet(shop, job, assessment=judged(shop, job, sensors=["forward_camera", "front_radar"]))
    again = later_job(shop, ["forward_camera"])
    look(shop)
    judged(shop, again, sensors=["forward_camera", "front_radar"])
    assert look(shop, 62) == 1
    assert [row.facts["systems"] for row in told("comeback")] == [
        ["forward_camera"], ["forward_camera", "front_radar"],
    ]  # fmt: skip


@pytest.mark.parametrize("case", ["other systems", "other car", "earlier order", "same order"])
def test_what_is_no_comeback(shop: Shop, job: Job, case: str) -> None:
    sealed_packet(shop, job, assessment=judged(shop, job))
    if case == "other systems":
        later_job(shop, ["rear_corner_radar"])
    elif case == "other car":
        later_job(shop, ["forward_camera"], vin="Z0ACR4H24T1004217")
    elif case == "earlier order":
        later_job(shop, ["forward_camera"], days=-1)
    assert look(shop) == 0


def test_strangers_never_learn_of_the_same_car(shop: Shop, job: Job) -> None:
    """The same VIN comes to another business: neither packet tells of the other's order."""
    mine = sealed_packet(shop, job, assessment=judged(shop, job))
    other = second_organisation()
    car = VehicleFactory.create(organisation=other["organisation"], created_by=other["wstroud"])
    assert car.vin == job.order.vehicle.vin
    theirs = Job.objects.get(pk=job.pk)
    theirs.pk, theirs.organisation, theirs.location = new_id(), other["organisation"], other["location"]
    order = theirs.order
    order.pk, order.organisation, order.location, order.vehicle = (
        new_id(), other["organisation"], other["location"], car,
    )  # fmt: skip
    order.save(force_insert=True)
    theirs.order, theirs.opened_at = order, shop.at("08:00", days=60)
    theirs.save(force_insert=True)
    with scope(other["organisation"].pk):
        kept = judged(shop, theirs, organisation=other["organisation"])
        Job.objects.filter(pk=theirs.pk).update(current_assessment=kept)
    assert look(shop) == 0
    with scope(other["organisation"].pk):
        at = shop.at("03:00", days=61)
        assert later_events.tell_missed(organisation=other["organisation"], as_of=at) == 0
    assert Packet.objects.get(pk=mine.pk).additions.count() == 0
