"""What falls due: instruments, qualifications, floor surveys, at the limit and one day beside it."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from jobs.access import Actor, actor_for_person
from jobs.models import (
    Bay,
    BayFloorSurvey,
    Equipment,
    Location,
    Person,
    Qualification,
    RecordedMoment,
    unscoped,
)
from jobs.selectors.due import due_within
from tests.jobs import rows
from tests.jobs.rows import NOON

TODAY = date(2026, 5, 12)


@pytest.fixture
def shop(db: None) -> tuple[Person, Location]:
    with unscoped():
        owner = rows.organisation()
        place = rows.location(owner)
        manager = rows.person(owner, "tachterly", place, roles=("location_manager",))
        stranger_shop = rows.location(rows.organisation("Sallowfield"), "SF")
        rows.tape(stranger_shop.organisation, "TM-900", home_location=stranger_shop, due_on=TODAY)
    return manager, place


def actor(person: Person) -> Actor:
    return actor_for_person(person, as_of=NOON)


@pytest.mark.parametrize(
    ("in_days", "listed"), [(-400, True), (-1, True), (0, True), (29, True), (30, True), (31, False)]
)
def test_an_instrument_is_listed_up_to_the_last_day_and_for_ever_after(
    shop: tuple[Person, Location], in_days: int, listed: bool
) -> None:
    manager, place = shop
    with unscoped():
        rows.tape(manager.organisation, home_location=place, due_on=TODAY + timedelta(days=in_days))
    found = due_within(actor(manager), days=30, on=TODAY)
    assert [(due.what, due.days_left) for due in found] == ([("TM-014", in_days)] if listed else [])


def test_only_instruments_that_need_a_certificate_here_are_listed(shop: tuple[Person, Location]) -> None:
    manager, place = shop
    with unscoped():
        elsewhere = rows.location(manager.organisation, "LM")
        for tag, fields in {
            "TM-1": {"home_location": elsewhere},
            "TM-2": {"home_location": place, "state": "retired"},
            "TM-3": {"home_location": place, "needs_certificate": False},
            "TM-4": {"home_location": place, "state": "quarantined"},
            "TM-5": {"home_location": None},
        }.items():
            rows.tape(manager.organisation, tag, due_on=TODAY, **fields)
        rows.tape(manager.organisation, "TM-6", home_location=place, due_on=None)
    found = due_within(actor(manager), days=30, on=TODAY)
    assert [due.what for due in found] == ["TM-4", "TM-5"]
    assert Equipment._meta.get_field("due_on").null


def qualification(person: Person, issued: str, expires: str | None, **fields: Any) -> None:
    Qualification.objects.create(
        organisation=person.organisation, person=person, kind="aim.static", issuer="x", number="1",
        issued_on=date.fromisoformat(issued), expires_on=date.fromisoformat(expires) if expires else None,
        created_by=person, received_at=NOON, content_sha256="0" * 64, **fields,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("certificates", "expected"),
    [
        ([("2024-05-01", "2026-05-20")], [date(2026, 5, 20)]),
        ([("2024-05-01", "2026-05-20"), ("2026-04-01", "2028-04-01")], []),
        ([("2024-05-01", "2026-05-20"), ("2026-04-01", None)], []),
        ([("2024-05-01", None), ("2026-04-01", "2026-05-20")], []),
        ([("2026-04-01", "2026-06-12")], []),
        ([("2026-04-01", "2026-06-11")], [date(2026, 6, 11)]),
    ],
)
def test_the_longest_qualification_of_a_kind_counts(
    shop: tuple[Person, Location], certificates: list[tuple[str, str | None]], expected: list[date]
) -> None:
    manager, _ = shop
    with unscoped():
        for issued, expires in certificates:
            qualification(manager, issued, expires)
    assert [due.due_on for due in due_within(actor(manager), days=30, on=TODAY)] == expected


def test_people_of_other_shops_and_those_who_left_are_not_listed(shop: tuple[Person, Location]) -> None:
    manager, place = shop
    with unscoped():
        elsewhere = rows.location(manager.organisation, "LM")
        qualification(rows.person(manager.organisation, "lmhand", elsewhere), "2024-05-01", "2026-05-20")
        gone = rows.person(manager.organisation, "gone", place)
        qualification(gone, "2024-05-01", "2026-05-20")
        Person.objects.filter(pk=gone.pk).update(is_active=False)
        qualification(manager, "2024-05-01", "2026-05-20", revoked_on=TODAY)
    assert due_within(actor(manager), days=30, on=TODAY) == ()
    manager.all_locations = True
    manager.save()
    assert [due.who for due in due_within(actor(manager), days=30, on=TODAY)] == ["Lmhand"]


def test_the_last_survey_of_a_bay_counts(shop: tuple[Person, Location]) -> None:
    manager, place = shop
    with unscoped():
        bay = Bay.objects.create(
            organisation=manager.organisation, location=place, code="EM-B2", length_mm=12000, width_mm=6000,
            height_mm=4000,
        )  # fmt: skip
        level = rows.tape(manager.organisation, "FL-001")

        def survey(at: datetime, **fields: Any) -> None:
            BayFloorSurvey.objects.create(
                organisation=manager.organisation, bay=bay, surveyed=RecordedMoment.exact(at),
                surveyed_by=manager, instrument=level, points=[], u_z_mm=0.3, created_by=manager,
                received_at=at, content_sha256="0" * 64, **fields,
            )  # fmt: skip

        survey(datetime(2025, 5, 20, 15, tzinfo=UTC))
    found = due_within(actor(manager), days=30, on=TODAY)
    assert [(due.kind, due.what, due.due_on) for due in found] == [
        ("floor_survey", "EM-B2", date(2026, 5, 20))
    ]
    with unscoped():
        survey(datetime(2026, 4, 1, 15, tzinfo=UTC))
    assert due_within(actor(manager), days=30, on=TODAY) == ()
    with unscoped():
        BayFloorSurvey.objects.filter(received_at__year=2026).update(voided_at=NOON, void_reason="lift")
    assert len(due_within(actor(manager), days=30, on=TODAY)) == 1
