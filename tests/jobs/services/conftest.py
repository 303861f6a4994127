"""Fixtures of the service tests: Eastmarch with its scope open, and a job in it."""

from collections.abc import Iterator

import pytest

from jobs.models import Job, scope
from tests.jobs.shop import Shop, eastmarch


@pytest.fixture
def shop(db: None) -> Iterator[Shop]:
    made = eastmarch()
    with scope(made.organisation.pk):
        yield made


@pytest.fixture
def job(shop: Shop) -> Job:
    shop.observe_clock("07:29")
    return shop.open_job()
