"""The cast of the API tests, signed in to the pages; a page told as text."""

from collections.abc import Iterator

import pytest
from django.test import Client
from pytest_django.plugin import DjangoDbBlocker

from jobs.models import Person
from tests.portal.api.conftest import cast, estimator, job, packs, sibling, stranger, technician
from tests.portal.api.test_assessments import judge
from tests.portal.cast import Caller, Cast
from tests.portal.intake import OpenJob
from tests.portal.web.played import PlayedDay, play_day
from tests.portal.web.reading import signed_in
from tests.scenarios.conftest import stage
from tests.scenarios.kept import brought_back

__all__ = ["cast", "estimator", "job", "packs", "sibling", "stage", "stranger", "technician"]


@pytest.fixture(scope="module")
def day(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[PlayedDay]:
    """The played day as it stood; each test's own steps are undone after it."""
    with django_db_blocker.unblock(), brought_back(play_day) as played:
        yield played


@pytest.fixture
def judged(cast: Cast, packs: None, technician: Caller, job: OpenJob) -> OpenJob:
    """A job with nothing done yet, judged once: the gate holds it."""
    judge(cast, technician, job)
    return job


@pytest.fixture
def worker(cast: Cast) -> Client:
    """A technician of Eastmarch."""
    return signed_in(cast.person("ines-page", ("technician",), cast.eastmarch))


@pytest.fixture
def elsewhere(cast: Cast) -> Client:
    """A technician and manager of the sibling location."""
    return signed_in(cast.person("suri-page", ("technician", "location_manager"), cast.low_mill))


@pytest.fixture
def manager(cast: Cast) -> Client:
    """The location manager of Eastmarch."""
    return signed_in(cast.person("tobin-page", ("location_manager", "estimator"), cast.eastmarch))


@pytest.fixture
def operations(cast: Cast) -> Client:
    """The operations manager, who sees all locations."""
    person: Person = cast.person("perla-page", ("operations_manager",), cast.eastmarch, everywhere=True)
    return signed_in(person)
