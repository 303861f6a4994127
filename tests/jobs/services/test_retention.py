"""Retention: what is due to the day, plan and run as one, holds, shared files, and what is left to check."""

import json
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from jobs import storage
from jobs.errors import Conflict
from jobs.ledger.verify import verify_organisation
from jobs.models import Deletion, Job, LogEntry, PacketAddition, PictureCopy, RepairOrder, scope
from jobs.packets.additions import check_chain
from jobs.selectors.deletions import deleted_note, note_of_evidence, note_of_packet
from jobs.services import holds, retention, retention_policy
from jobs.services.holds import HoldEntry, HoldQuery
from jobs.services.retention import nightly, run_retention
from jobs.services.retention_plan import ERASED, Plan, plan_retention
from tests.factories import second_organisation
from tests.jobs.kept_job import aged, copy_of, delivered, kept_file
from tests.jobs.sealed import sealed_packet
from tests.jobs.shop import Shop, new_id

YEARS = 3653  # days from 5 May 2026 to 5 May 2036


@pytest.fixture(autouse=True)
def _store(settings: Any, tmp_path: Path) -> None:
    settings.EVIDENCE_ROOT = tmp_path / "stored"


@pytest.fixture
def car(shop: Shop, job: Job) -> Job:
    """Handed over on 5 May 2026 at 17:00 in Chicago."""
    return delivered(job, shop.at("17:00"))


def rule(shop: Shop, kind: str, amount: int | None) -> None:
    retention_policy.set_rule(
        actor=shop.actor("lveskel"), as_of=shop.at("18:00"), kind=kind, amount=amount,
        reason="Agreed with counsel on 4 May.",
    )  # fmt: skip


def plan(shop: Shop, days: int, hhmm: str = "12:00") -> Plan:
    return plan_retention(organisation=shop.organisation, as_of=shop.at(hhmm, days=days))


def run(shop: Shop, days: int, hhmm: str = "12:00") -> retention.Outcome:
    aged()
    told = plan(shop, days, hhmm)
    return run_retention(
        organisation=shop.organisation, as_of=shop.at(hhmm, days=days), plan_sha256=told.sha256
    )


def hold(shop: Shop, **fields: Any) -> Any:
    given: dict[str, Any] = {"id": new_id(), "matter": "Ashgrove against Harrowmere"} | fields
    entry = HoldEntry(**given)
    return holds.place_hold(actor=shop.actor("lveskel"), as_of=shop.at("19:00"), entry=entry)


# ------------------------------------------------------------------ due to the day


@pytest.mark.parametrize(
    ("kind", "evidence_kind", "amount"),
    [
        ("evidence_originals", "scan_summary", None),
        ("photo_originals", "photo", None),
        ("photo_originals", "video", 12),
        ("drive_logs", "drive_log", 13),
    ],
)
def test_a_file_is_due_on_the_day_after_its_last(
    shop: Shop, car: Job, kind: str, evidence_kind: str, amount: int | None
) -> None:
    """Delivered on 5 May 2026; kept through the last local day in Chicago, due from local midnight on."""
    kept_file(shop, car, b"a file", evidence_kind)
    months = amount or 120
    if amount is not None:
        rule(shop, kind, amount)
    last = retention_policy.last_day(shop.day, months, "months")
    zone = timedelta(hours=5)  # Chicago in May and June: UTC-5 (IANA time zone database)
    midnight = datetime(last.year, last.month, last.day, tzinfo=UTC) + timedelta(days=1) + zone
    for second, is_due in ((-1, False), (0, True)):
        at = midnight + timedelta(seconds=second)
        found = plan_retention(organisation=shop.organisation, as_of=at)
        assert ([item.kind for item in found.items if item.kind == kind] == [kind]) is is_due, second


@pytest.mark.parametrize(
    ("tz", "due_utc"),
    [
        # The same instant of delivery, 23:30 UTC on 5 May, is another local day in each place.
        ("America/Chicago", "2027-05-06T05:00:00+00:00"),
        ("Pacific/Auckland", "2027-05-06T12:00:00+00:00"),
        ("Asia/Kathmandu", "2027-05-06T18:15:00+00:00"),
    ],
)
def test_days_are_those_of_the_location(shop: Shop, job: Job, tz: str, due_utc: str) -> None:
    """Offsets from the IANA time zone database: Auckland +12 in May, Kathmandu +5:45 all year."""
    shop.location.tz = tz
    shop.location.save()
    delivered(job, datetime(2026, 5, 5, 23, 30, tzinfo=UTC))
    kept_file(shop, job, b"a drive", "drive_log")
    rule(shop, "drive_logs", 12)
    due = datetime.fromisoformat(due_utc)
    for second, count in ((-1, 0), (0, 1)):
        found = plan_retention(organisation=shop.organisation, as_of=due + timedelta(seconds=second))
        assert len(found.items) == count, second


def test_what_was_never_handed_over_is_kept(shop: Shop, job: Job) -> None:
    kept_file(shop, job, b"a photo")
    assert plan(shop, 50 * 366).items == ()


def test_a_rule_without_end_keeps_for_ever(shop: Shop, car: Job) -> None:
    kept_file(shop, car, b"a photo")
    rule(shop, "photo_originals", None)
    rule(shop, "derived_pictures", None)
    rule(shop, "customer_data", None)
    assert plan(shop, 49 * 366).items == ()


def test_copies_go_first_and_never_outlive_the_original(shop: Shop, car: Job) -> None:
    photo = kept_file(shop, car, b"a photo", working_copy_sha256=storage.put(b"a working copy"))
    copy = copy_of(shop, photo)
    assert [item.words for item in plan(shop, 731).items] == []
    assert {item.sha256 for item in plan(shop, 732).items} == {copy.sha256, photo.working_copy_sha256}
    rule(shop, "derived_pictures", None)
    rule(shop, "photo_originals", 12)
    assert {item.sha256 for item in plan(shop, 366).items} == {
        photo.sha256, copy.sha256, photo.working_copy_sha256,
    }  # fmt: skip
    run(shop, 366)
    assert not PictureCopy.objects.exists()
    assert list(storage.walk()) == []


def test_a_packet_counts_from_its_sealing_where_that_is_later(shop: Shop, car: Job) -> None:
    sealed_packet(shop, car, days=400)
    assert not [item for item in plan(shop, YEARS + 400).items if item.kind == "packets"]
    assert [item.kind for item in plan(shop, YEARS + 401).items if item.kind == "packets"] == ["packets"]


# ------------------------------------------------------------------ plan and run are one


def test_the_plan_writes_nothing_and_is_the_same_all_day(shop: Shop, car: Job) -> None:
    kept_file(shop, car, b"a photo")
    entries = LogEntry.objects.count()
    first, later = plan(shop, YEARS + 1, "00:01"), plan(shop, YEARS + 1, "23:59")
    assert first.sha256 == later.sha256
    assert first.items == later.items
    assert plan(shop, YEARS).sha256 != first.sha256
    assert (LogEntry.objects.count(), Deletion.objects.count()) == (entries, 0)


def test_the_run_does_what_the_plan_said_and_nothing_else(shop: Shop, car: Job) -> None:
    photo = kept_file(shop, car, b"a photo")
    scan = kept_file(shop, car, b"a scan", "scan_summary")
    told = plan(shop, YEARS + 1)
    done = run(shop, YEARS + 1)
    assert done.plan_sha256 == told.sha256
    assert sorted(done.removed) == sorted(item.subject for item in told.items)
    assert {row.sha256 for row in Deletion.objects.filter(removed_at__isnull=False)} == {
        photo.sha256, scan.sha256, "",
    }  # fmt: skip
    assert not storage.exists(photo.sha256)
    assert plan(shop, YEARS + 2).items == ()
    assert run(shop, YEARS + 2).removed == ()


def test_a_plan_that_no_longer_fits_is_refused(shop: Shop, car: Job) -> None:
    kept_file(shop, car, b"a photo")
    told = plan(shop, YEARS + 1)
    kept_file(shop, car, b"another photo")
    with pytest.raises(Conflict) as caught:
        run_retention(
            organisation=shop.organisation, as_of=shop.at("12:00", days=YEARS + 1), plan_sha256=told.sha256
        )
    assert caught.value.code == "plan_changed"
    assert len(list(storage.walk())) == 2
    assert not Deletion.objects.exists()


def test_each_deletion_is_decided_then_logged_with_the_hash(shop: Shop, car: Job) -> None:
    photo = kept_file(shop, car, b"a photo")
    run(shop, YEARS + 1)
    rows = LogEntry.objects.filter(what__startswith="retention.", target=f"job/{car.pk}").order_by("n")
    told = [(row.what, json.loads(row.detail)) for row in rows]
    about = [(what, item["sha256"]) for what, item in told if item["kind"] == "photo_originals"]
    assert about == [("retention.decided", photo.sha256), ("retention.deleted", photo.sha256)]
    assert verify_organisation(shop.organisation).is_whole


# ------------------------------------------------------------------ holds


def test_a_hold_keeps_what_it_covers(shop: Shop, car: Job) -> None:
    photo = kept_file(shop, car, b"a photo")
    placed = hold(shop, jobs=(car.pk,))
    told = plan(shop, YEARS + 1)
    assert told.items == ()
    assert {kept.because for kept in told.kept} == {f"legal hold {placed.pk}"}
    run(shop, YEARS + 1)
    assert storage.exists(photo.sha256)
    assert RepairOrder.objects.get(pk=car.order_id).customer_name == "R. Ashgrove"


@pytest.mark.parametrize("step", ["_decide", "_remove"])
def test_a_hold_placed_during_a_run_stops_what_is_left(
    shop: Shop, car: Job, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """Customer data, then two files: the hold comes with the first file gone and the second at its turn."""
    files = [kept_file(shop, car, data) for data in (b"a photo", b"b photo")]
    real, seen = getattr(retention, step), []

    def with_hold(*args: Any) -> Any:
        seen.append(1)
        if len(seen) == 3:
            hold(shop, query=HoldQuery(locations=("EM",)))
        return real(*args)

    monkeypatch.setattr(retention, step, with_hold)
    done = run(shop, YEARS + 1)
    assert len(done.removed) == 2
    assert sum(storage.exists(row.sha256) for row in files) == 1
    stopped = Deletion.objects.filter(stopped_at__isnull=False)
    if step == "_remove":
        assert "legal hold" in stopped.get().stopped_because
    else:
        assert not stopped.exists()
    assert run(shop, YEARS + 2).removed == ()


def test_what_a_hold_stopped_is_due_again_once_it_is_lifted(
    shop: Shop, car: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    photo = kept_file(shop, car, b"a photo")
    placed: list[Any] = []

    def with_hold(*args: Any) -> Any:
        if not placed:
            placed.append(hold(shop, jobs=(car.pk,)))
        return real(*args)

    real = retention._remove
    monkeypatch.setattr(retention, "_remove", with_hold)
    run(shop, YEARS + 1)
    assert storage.exists(photo.sha256)
    reason = "The matter was settled on 4 May."
    at = shop.at("20:00", days=YEARS + 1)
    holds.ask_to_lift(hold=placed[0], actor=shop.actor("lveskel"), as_of=at, reason=reason)
    holds.lift_hold(hold=placed[0], actor=shop.actor("pvantongeren"), as_of=at)
    run(shop, YEARS + 2)
    assert not storage.exists(photo.sha256)


# ------------------------------------------------------------------ files that others need


def test_a_file_of_another_job_that_is_held_stays(shop: Shop, car: Job) -> None:
    other = delivered(shop.open_job(number="EM-2026-0418"), shop.at("17:00"))
    mine, theirs = kept_file(shop, car, b"one photo"), kept_file(shop, other, b"one photo")
    assert mine.sha256 == theirs.sha256
    hold(shop, jobs=(other.pk,))
    told = plan(shop, YEARS + 1)
    assert {kept.because for kept in told.kept if kept.item.evidence_id == mine.pk} == {
        "the same bytes are still needed elsewhere"
    }
    run(shop, YEARS + 1)
    assert storage.is_intact(mine.sha256)


def test_a_file_of_a_job_that_is_not_due_stays_until_both_are(shop: Shop, car: Job) -> None:
    other = delivered(shop.open_job(number="EM-2026-0418"), shop.at("17:00", days=30))
    mine, theirs = kept_file(shop, car, b"one photo"), kept_file(shop, other, b"one photo")
    copy = copy_of(shop, mine)
    run(shop, YEARS + 1)
    assert storage.is_intact(mine.sha256)
    # Its copies were due with the later of both, eight years before.
    assert not storage.exists(copy.sha256)
    run(shop, YEARS + 31)
    assert not storage.exists(theirs.sha256)
    assert Deletion.objects.filter(sha256=mine.sha256, removed_at__isnull=False).count() == 2


def test_another_business_keeps_its_file_and_nothing_is_told_of_it(shop: Shop, car: Job) -> None:
    mine = kept_file(shop, car, b"one photo")
    other = second_organisation()
    kept_file(shop, None, b"one photo", organisation=other["organisation"])
    told = plan(shop, YEARS + 1)
    assert "Sallowfield" not in json.dumps(told.to_plain())
    run(shop, YEARS + 1)
    assert storage.is_intact(mine.sha256)
    with scope(other["organisation"].pk):
        at = shop.at("12:00", days=9999)
        assert plan_retention(organisation=other["organisation"], as_of=at).items == ()


def test_bytes_that_have_just_come_again_wait(shop: Shop, car: Job) -> None:
    """The file was brought a second time and its row is not written yet: storage alone knows of it."""
    photo = kept_file(shop, car, b"a photo")
    told = plan(shop, YEARS + 1)
    at = shop.at("12:00", days=YEARS + 1)
    storage.put(b"a photo")
    done = run_retention(organisation=shop.organisation, as_of=at, plan_sha256=told.sha256)
    assert done.waiting == (f"evidence/{photo.pk}/sha256",)
    assert storage.is_intact(photo.sha256)
    assert plan(shop, YEARS + 1).unfinished == done.waiting
    run(shop, YEARS + 2)
    assert not storage.exists(photo.sha256)


def test_running_access_keeps_a_packet(shop: Shop, car: Job) -> None:
    packet = sealed_packet(shop, car)
    packet.grants.create(
        organisation=shop.organisation, purpose="discovery", to_email="a@example.org",
        valid_from=shop.at("12:00"), until=shop.at("12:00", days=YEARS + 30), granted_at=shop.at("12:00"),
        granted_by=shop.people["lveskel"],
    )  # fmt: skip
    told = plan(shop, YEARS + 1)
    assert [kept.because for kept in told.kept] == ["access to it is granted and has not ended"]
    assert [item.kind for item in plan(shop, YEARS + 30, "12:01").items if item.packet_id] == ["packets"]


# ------------------------------------------------------------------ what remains


def test_packets_tell_it_and_everything_checks(shop: Shop, car: Job) -> None:
    photo = kept_file(shop, car, b"a photo")
    packet = sealed_packet(shop, car, days=30)
    run(shop, YEARS + 1)
    (added,) = PacketAddition.objects.filter(kind="retention")
    assert (added.packet_id, added.number) == (packet.pk, 1)
    assert "EM-2026-0417, evidence 1 (photo)" in added.text
    assert {item["sha256"] for item in added.facts["deleted"]} == {photo.sha256, ""}
    assert check_chain(packet) == ()
    assert nightly(organisation=shop.organisation, as_of=shop.at("23:00", days=YEARS + 1)).told == 0
    assert deleted_note(photo.sha256) == (
        "deleted under the retention policy on 6 May 2036; its SHA-256 remains"
    )
    assert note_of_evidence(photo.pk) == deleted_note(photo.sha256)
    assert storage.is_intact(packet.pdf_sha256)
    run(shop, YEARS + 31)
    assert not storage.exists(packet.pdf_sha256)
    assert note_of_packet(packet.pk).startswith("deleted under the retention policy on 5 Jun 2036")
    packet.refresh_from_db()
    assert (packet.state, packet.merkle_root, check_chain(packet)) == ("sealed", "b" * 64, ())
    assert verify_organisation(shop.organisation).is_whole


def test_customer_data_are_blanked_and_the_order_stays(shop: Shop, car: Job) -> None:
    rule(shop, "customer_data", 12)
    run(shop, 366)
    order = RepairOrder.objects.select_related("vehicle").get(pk=car.order_id)
    assert (order.customer_name, order.customer_contact, order.vehicle.plate) == (ERASED, "", "")
    assert (order.number, order.vehicle.vin) == ("EM-2026-0417", "Z0ASD1F89S2011835")
    assert plan(shop, 367).items == ()


# ------------------------------------------------------------------ the command


def command(*arguments: str) -> tuple[int, str]:
    out = StringIO()
    try:
        call_command("retention", *arguments, stdout=out, stderr=out)
    except SystemExit as ended:
        return int(str(ended.code or 0)), out.getvalue()
    return 0, out.getvalue()


def test_the_command_tells_and_runs_by_the_hash(
    shop: Shop, car: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    photo = kept_file(shop, car, b"a photo")
    aged()
    at = shop.at("12:00", days=YEARS + 1)
    monkeypatch.setattr("jobs.management.commands.retention.now", lambda: at)
    org = str(shop.organisation.pk)
    status, text = command("--org", org, "--dry-run")
    assert (status, storage.exists(photo.sha256)) == (0, True)
    told = plan(shop, YEARS + 1)
    assert told.sha256 in text
    assert "EM-2026-0417, evidence 1 (photo)" in text
    status, text = command("--org", org, "--run", "--plan", "0" * 64)
    assert (status, storage.exists(photo.sha256)) == (1, True)
    assert "has changed" in text
    status, text = command("--org", org, "--run", "--plan", told.sha256)
    assert (status, storage.exists(photo.sha256)) == (0, False)
    status, text = command("--org", org, "--dry-run", "--json")
    assert json.loads(text)["plans"][0]["delete"] == []
