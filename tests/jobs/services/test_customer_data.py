"""Addresses of downloads: kept whole for so many days of the organisation, then shortened in both tables."""

from datetime import UTC, datetime, timedelta

import pytest

from jobs.models import CopyTransfer, Job, Packet, PacketDownload
from jobs.selectors.download_addresses import old_addresses, shortened
from jobs.services.retention import run_retention
from jobs.services.retention_plan import plan_retention
from tests.jobs.sealed import sealed_packet
from tests.jobs.shop import Shop


@pytest.fixture
def packet(shop: Shop, job: Job, settings: object, tmp_path: object) -> Packet:
    settings.EVIDENCE_ROOT = tmp_path  # type: ignore[attr-defined]
    return sealed_packet(shop, job)


def taken(shop: Shop, packet: Packet, at: datetime, ip: str = "203.0.113.77") -> PacketDownload:
    download = PacketDownload.objects.create(
        organisation=shop.organisation, packet=packet, downloaded_at=at, sha256="b" * 64, size_bytes=9, ip=ip,
        person=shop.people["tachterly"],
    )  # fmt: skip
    CopyTransfer.objects.create(
        organisation=shop.organisation, download=download, at=at, first_byte=0, sent_bytes=9, complete=True,
        ip=ip,
    )  # fmt: skip
    return download


@pytest.mark.parametrize(
    ("ip", "short"),
    [
        # Documentation networks (RFC 5737, RFC 3849); 24 and 48 bits as common practice, no source.
        ("203.0.113.77", "203.0.113.0"),
        ("203.0.113.0", "203.0.113.0"),
        ("2001:db8:aaaa:bbbb:1::9", "2001:db8:aaaa::"),
        ("2001:db8:aaaa::", "2001:db8:aaaa::"),
        ("::1", "::"),
    ],
)
def test_what_tells_one_caller_from_the_next_goes(ip: str, short: str) -> None:
    assert shortened(ip) == short
    assert shortened(short) == short


@pytest.mark.parametrize(
    ("second", "is_due"),
    [(-1, False), (0, True)],
)
def test_an_address_is_kept_whole_to_the_end_of_its_last_day(
    shop: Shop, packet: Packet, second: int, is_due: bool
) -> None:
    """Taken at 23:30 in Chicago on 5 May (UTC-5, IANA time zone database), kept for 90 days after that."""
    taken(shop, packet, datetime(2026, 5, 6, 4, 30, tzinfo=UTC))
    midnight = datetime(2026, 8, 4, 5, 0, tzinfo=UTC)
    found = old_addresses(shop.organisation, keep_days=90, as_of=midnight + timedelta(seconds=second))
    assert [one.count for one in found] == ([2] if is_due else [])


def test_due_ones_are_shortened_and_the_rest_stays_whole(shop: Shop, packet: Packet) -> None:
    old, new = (taken(shop, packet, shop.at("12:00", days=days)) for days in (0, 80))
    none = PacketDownload.objects.create(
        organisation=shop.organisation, packet=packet, downloaded_at=shop.at("12:00"), sha256="b" * 64,
        size_bytes=9, person=shop.people["tachterly"],
    )  # fmt: skip
    at = shop.at("12:00", days=91)
    plan = plan_retention(organisation=shop.organisation, as_of=at)
    assert [item.kind for item in plan.items] == ["download_addresses"]
    assert "2 addresses of downloads" in plan.items[0].words
    done = run_retention(organisation=shop.organisation, as_of=at, plan_sha256=plan.sha256)
    assert done.removed == (plan.items[0].subject,)
    found = {row.pk: row.ip for row in PacketDownload.objects.all()}
    assert found == {old.pk: "203.0.113.0", new.pk: "203.0.113.77", none.pk: None}
    parts = {row.download_id: row.ip for row in CopyTransfer.objects.all()}
    assert parts == {old.pk: "203.0.113.0", new.pk: "203.0.113.77"}
    # Nothing is left to do until the next one is due, and then only that.
    assert plan_retention(organisation=shop.organisation, as_of=at).items == ()
    later = shop.at("12:00", days=171)
    again = plan_retention(organisation=shop.organisation, as_of=later)
    assert [item.subject == plan.items[0].subject for item in again.items] == [False]
    run_retention(organisation=shop.organisation, as_of=later, plan_sha256=again.sha256)
    assert set(PacketDownload.objects.filter(ip__isnull=False).values_list("ip", flat=True)) == {
        "203.0.113.0"
    }
