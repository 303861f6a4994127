"""What was granted, taken and drawn is not changed; of a download only its address, when it gets old."""

from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from jobs.models import AccessGrant, CopyTransfer, PacketDownload, Person, Sample, ShareLink, unscoped
from tests.jobs import rows
from tests.jobs.rows import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _open() -> Iterator[None]:
    with unscoped():
        yield


@pytest.fixture
def by() -> Person:
    owner = rows.organisation()
    return rows.person(owner, "itolvaar", rows.location(owner))


@pytest.fixture
def made(by: Person) -> dict[str, Any]:
    """One row of each table."""
    packet = rows.packet(rows.job(by.locations.get(), by), by)
    own = {"organisation": by.organisation}
    span = {"valid_from": NOON, "until": NOON + timedelta(days=9), "purpose": "internal"}
    link = ShareLink.objects.create(
        token_sha256="a" * 64, to_name="A", to_company="B", made_at=NOON, made_by=by, **own, **span
    )
    grant = AccessGrant.objects.create(
        packet=packet, link=link, granted_at=NOON, granted_by=by, **own, **span
    )
    download = PacketDownload.objects.create(
        packet=packet, grant=grant, downloaded_at=NOON, sha256="b" * 64, size_bytes=9, ip="203.0.113.9", **own
    )
    sent = CopyTransfer.objects.create(
        download=download, at=NOON, first_byte=0, sent_bytes=9, complete=True, ip="203.0.113.9", **own
    )
    sample = Sample.objects.create(
        opened_by=by, opened_at=NOON, from_on=NOON.date(), to_on=NOON.date(), seed=bytes(32),
        seed_sha256="c" * 64, population_sha256="d" * 64, population_size=1, bad=1, size=1,
        confidence="0.95", access_until=NOON, **own,
    )  # fmt: skip
    return {"link": link, "grant": grant, "download": download, "sent": sent, "sample": sample}


def refused(act: Callable[[], object]) -> bool:
    try:
        with transaction.atomic():
            act()
    except IntegrityError:
        return True
    return False


@pytest.mark.parametrize(
    ("name", "change", "is_refused"),
    [
        ("download", {"ip": "203.0.113.0"}, False),
        ("download", {"sha256": "e" * 64}, True),
        ("download", {"recipient": "nobody"}, True),
        ("sent", {"ip": None}, False),
        ("sent", {"sent_bytes": 1}, True),
        ("link", {"wrong_tries": 1}, False),
        ("link", {"token_sha256": "e" * 64}, True),
        ("link", {"until": NOON + timedelta(days=99)}, True),
        ("grant", {"downloads": 1}, False),
        ("grant", {"until": NOON + timedelta(days=99)}, True),
        ("grant", {"sections": ["log"]}, True),
        ("sample", {"word": "lantern"}, False),
        ("sample", {"seed": b"1" * 32}, True),
        ("sample", {"population": [1]}, True),
    ],
)
def test_what_may_change(made: dict[str, Any], name: str, change: dict[str, Any], is_refused: bool) -> None:
    row = made[name]
    rows_of = type(row).objects.filter(pk=row.pk)
    assert refused(lambda: rows_of.update(**change)) is is_refused


@pytest.mark.parametrize("name", ["link", "grant", "download", "sent", "sample"])
def test_nothing_goes_away(made: dict[str, Any], name: str) -> None:
    row = made[name]
    assert refused(lambda: type(row).objects.filter(pk=row.pk)._raw_delete("default"))


def test_what_ended_stays_ended(made: dict[str, Any]) -> None:
    ended = {"revoked_at": NOON, "revoked_why": "asked"}
    for row in (made["link"], made["grant"]):
        rows_of = type(row).objects.filter(pk=row.pk)
        assert not refused(lambda rows_of=rows_of: rows_of.update(**ended))
        assert refused(lambda rows_of=rows_of: rows_of.update(revoked_at=None, revoked_why=""))
    assert refused(lambda: AccessGrant.objects.filter(pk=made["grant"].pk).update(downloads=5))
    sample = Sample.objects.filter(pk=made["sample"].pk)
    assert not refused(lambda: sample.update(drawn_at=NOON, word="lantern"))
    assert refused(lambda: sample.update(word="lamp"))
