"""The list of jobs: search by the start of a number or the end of a VIN, pages by key, own rows only."""

from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.access import Actor, actor_for_person
from jobs.models import Job, Person, unscoped
from jobs.selectors.jobs_list import jobs_page
from tests.jobs import rows
from tests.jobs.rows import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager() -> Person:
    with unscoped():
        owner, other = rows.organisation(), rows.organisation("Sallowfield")
        place = rows.location(owner)
        person = rows.person(owner, "tachterly", place)
        for number in range(7):
            # Pairs share their time of opening: the id decides between them.
            opened = NOON - timedelta(days=number // 2)
            rows.job(place, person, f"EM-2026-{number:04}", opened_at=opened, claim_number=f"HM {number}")
        foreign = rows.location(other, "SF")
        rows.job(foreign, rows.person(other, "wstroud", foreign), "EM-2026-0009", claim_number="HM 9")
        rows.job(rows.location(owner, "LM"), person, "LM-2026-0001")
    return person


def actor(person: Person) -> Actor:
    return actor_for_person(person, as_of=NOON)


def test_pages_meet_without_gap_or_repetition(manager: Person) -> None:
    seen: list[Job] = []
    after: tuple[Any, UUID] | None = None
    sizes = []
    while True:
        page = jobs_page(actor(manager), after=after, limit=3)
        seen += page.jobs
        sizes.append(len(page.jobs))
        if page.after is None:
            break
        after = page.after
    assert sizes == [3, 3, 1]
    assert len({job.pk for job in seen}) == 7
    assert seen == sorted(seen, key=lambda job: (job.opened_at, job.pk), reverse=True)


@pytest.mark.parametrize(
    ("search", "numbers"),
    [
        ("", 7),
        ("EM-2026-0003", 1),
        ("em-2026-0003", 1),
        ("EM-2026-000", 7),
        (" EM-2026-0003 ", 1),
        ("2026-0003", 0),
        ("HM 4", 1),
        ("T1004217", 7),
        ("Z0ACR4H24T1004217", 7),
        ("217", 0),
        ("EM-2026-0009", 0),
        ("HM 9", 0),
        ("LM-2026", 0),
        ("%", 0),
        ("x" * 500, 0),
    ],
)
def test_one_box_finds_by_start_of_number_and_end_of_vin(manager: Person, search: str, numbers: int) -> None:
    assert len(jobs_page(actor(manager), search=search).jobs) == numbers


def test_a_state_narrows(manager: Person) -> None:
    with unscoped():
        Job.objects.filter(number="EM-2026-0003").update(state="held")
    assert [job.number for job in jobs_page(actor(manager), state="held").jobs] == ["EM-2026-0003"]


def test_one_query_whatever_the_length(manager: Person) -> None:
    who = actor(manager)
    counts = []
    for limit in (1, 3):
        with CaptureQueriesContext(connection) as queries:
            for job in jobs_page(who, limit=limit).jobs:
                assert job.order.vehicle.vin
                assert job.location.code == "EM"
        counts.append(len(queries))
    assert counts == [1, 1]
