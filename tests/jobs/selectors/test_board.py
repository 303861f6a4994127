"""The morning board: own locations only, counts by reason, the worst first, always the same few queries."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.access import actor_for_person
from jobs.models import Location, Person, unscoped
from jobs.selectors.board import board_for
from tests.jobs import rows
from tests.jobs.rows import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def shops() -> tuple[Person, dict[str, Location]]:
    with unscoped():
        owner, other = rows.organisation(), rows.organisation("Sallowfield")
        places = {code: rows.location(owner, code) for code in ("EM", "LM", "TG")}
        manager = rows.person(owner, "tachterly", places["EM"], places["LM"], roles=("location_manager",))
        stranger = rows.person(other, "wstroud")
        rows.job(rows.location(other, "SF"), stranger, "SF-1", disposition="hold", hold_reason="missing")
    return manager, places


def add(place: Location, by: Person, number: str, **fields: Any) -> None:
    with unscoped():
        rows.job(place, by, number, **fields)


def test_the_board_counts_and_sorts_by_consequence(shops: tuple[Person, dict[str, Location]]) -> None:
    manager, places = shops
    hold = {"disposition": "hold", "state": "held"}
    earlier = {"opened_at": NOON - timedelta(days=1)} | hold
    add(places["EM"], manager, "EM-1", verdict="not_shown", hold_reason="missing", **earlier)
    add(places["EM"], manager, "EM-2", verdict="not_met", hold_reason="too_short", **hold)
    add(places["EM"], manager, "EM-3", verdict="not_shown", hold_reason="missing", **hold)
    add(places["EM"], manager, "EM-4", verdict="met", disposition="release")
    add(places["EM"], manager, "EM-5")
    add(places["EM"], manager, "EM-6", state="delivered", verdict="met", left_against_hold=True)
    add(places["EM"], manager, "EM-7", state="delivered", verdict="met")
    add(places["TG"], manager, "TG-1", verdict="not_met", hold_reason="too_short", **hold)
    board = board_for(actor_for_person(manager, as_of=NOON))
    assert [place.code for place in board] == ["EM", "LM"]
    eastmarch, low_mill = board
    assert [job.number for job in eastmarch.jobs] == ["EM-6", "EM-2", "EM-1", "EM-3", "EM-5", "EM-4"]
    assert (eastmarch.open_count, eastmarch.held_count, eastmarch.left_against_hold_count) == (5, 3, 1)
    assert eastmarch.reasons == (("missing", 2), ("too_short", 1))
    assert (low_mill.open_count, low_mill.jobs) == (0, ())


def test_a_long_list_is_cut_and_its_counts_are_not(shops: tuple[Person, dict[str, Location]]) -> None:
    manager, places = shops
    for number in range(4):
        opened = NOON - timedelta(days=number)
        add(places["EM"], manager, f"EM-{number}", disposition="hold", verdict="not_met", opened_at=opened)
    (eastmarch, _) = board_for(actor_for_person(manager, as_of=NOON), jobs_per_location=2)
    assert [job.number for job in eastmarch.jobs] == ["EM-3", "EM-2"]
    assert eastmarch.held_count == 4


def test_the_number_of_queries_does_not_grow(shops: tuple[Person, dict[str, Location]]) -> None:
    manager, places = shops
    counts = []
    for number in range(3):
        add(places["EM"], manager, f"EM-{number}")
        actor = actor_for_person(manager, as_of=NOON)
        with CaptureQueriesContext(connection) as queries:
            board_for(actor)
        counts.append(len(queries))
    assert counts == [3, 3, 3]


def test_somebody_who_looks_from_outside_sees_no_board(shops: tuple[Person, dict[str, Location]]) -> None:
    manager, places = shops
    with unscoped():
        auditor = rows.person(manager.organisation, "jquell", places["EM"], roles=("auditor",))
    assert board_for(actor_for_person(auditor, as_of=NOON)) == ()
    assert len(board_for(actor_for_person(manager, as_of=NOON))) == 2
