"""The daily look ahead."""

import json
from datetime import date, timedelta

import pytest

from jobs.models import Equipment, LogEntry, scope
from jobs.services import due
from tests.factories import CertificateFactory, QualificationFactory, second_organisation
from tests.jobs.shop import Shop


def certify(shop: Shop, due_on: date) -> Equipment:
    """A certificate of twelve months before the day on which it runs out."""
    gauge = Equipment.objects.get(tag="PG-022")
    CertificateFactory.create(
        equipment=gauge, calibrated_on=due_on.replace(year=due_on.year - 1), issued_on=due_on,
        transcribed_by=shop.people["itolvaar"], confirmed_by=shop.people["dpell"],
    )  # fmt: skip
    return gauge


@pytest.mark.parametrize(
    ("days", "told"),
    [
        (31, False),
        (30, True),
        (29, False),
        (14, True),
        (7, True),
        (2, False),
        (1, True),
        (0, False),
        (-1, True),
    ],
)
def test_days_on_which_a_certificate_is_told(shop: Shop, days: int, told: bool) -> None:
    gauge = certify(shop, shop.day + timedelta(days=days))
    notices = due.look_ahead(organisation=shop.organisation, as_of=shop.at("06:00"))
    assert [(notice.what, notice.days_left) for notice in notices] == ([("PG-022", days)] if told else [])
    gauge.refresh_from_db()
    assert gauge.due_on == shop.day + timedelta(days=days)


def test_an_unconfirmed_certificate_gives_no_due_day(shop: Shop) -> None:
    CertificateFactory.create(
        equipment=Equipment.objects.get(tag="PG-022"), transcribed_by=shop.people["itolvaar"]
    )
    due.look_ahead(organisation=shop.organisation, as_of=shop.at("06:00"))
    assert Equipment.objects.get(tag="PG-022").due_on is None


def test_the_day_is_the_organisations_own(shop: Shop) -> None:
    certify(shop, shop.day + timedelta(days=7))
    # 6 May in UTC, still 5 May in Chicago.
    (notice,) = due.look_ahead(organisation=shop.organisation, as_of=shop.at("23:30"))
    assert notice.days_left == 7


def test_looking_twice_a_day_tells_once(shop: Shop) -> None:
    certify(shop, shop.day + timedelta(days=7))
    for hhmm in ("06:00", "06:05", "23:00"):
        assert len(due.look_ahead(organisation=shop.organisation, as_of=shop.at(hhmm))) == 1
    (entry,) = LogEntry.objects.filter(what="due.looked_ahead")
    assert json.loads(entry.detail)["notices"][0]["what"] == "PG-022"
    due.look_ahead(organisation=shop.organisation, as_of=shop.at("06:00", days=1))
    assert LogEntry.objects.filter(what="due.looked_ahead").count() == 2


def test_qualifications_are_told_and_foreign_ones_are_not(shop: Shop) -> None:
    QualificationFactory.create(
        person=shop.people["itolvaar"], kind="aim.dynamic", expires_on=shop.day + timedelta(days=14)
    )
    other = second_organisation()
    QualificationFactory.create(
        person=other["wstroud"], kind="aim.static", expires_on=shop.day + timedelta(days=14)
    )
    notices = due.look_ahead(organisation=shop.organisation, as_of=shop.at("06:00"))
    assert [(notice.what, notice.who) for notice in notices] == [("aim.dynamic", "Ines Tolvaar")]
    with scope(other["organisation"].pk):
        theirs = due.look_ahead(organisation=other["organisation"], as_of=shop.at("06:00"))
    assert [notice.who for notice in theirs] == ["Wenna Stroud"]
