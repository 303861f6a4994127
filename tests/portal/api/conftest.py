"""The cast, and a job at Eastmarch that the estimator opened."""

import pytest

from tests.portal.cast import Caller, Cast, make_cast
from tests.portal.intake import OpenJob, open_job


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast()


@pytest.fixture
def estimator(cast: Cast) -> Caller:
    return cast.caller("tobin-achterly", "estimator", "location_manager")


@pytest.fixture
def technician(cast: Cast) -> Caller:
    return cast.caller("ines-tolvaar", "technician")


@pytest.fixture
def sibling(cast: Cast) -> Caller:
    """Works at the sibling location only."""
    return cast.caller("low-mill-desk", "estimator", "technician", "location_manager", site=cast.low_mill)


@pytest.fixture
def stranger(cast: Cast) -> Caller:
    """Works for another organisation."""
    return cast.caller("wenna-stroud", "estimator", "technician", "location_manager", site=cast.sallow)


@pytest.fixture
def job(cast: Cast, estimator: Caller) -> OpenJob:
    return open_job(estimator, cast.eastmarch)
