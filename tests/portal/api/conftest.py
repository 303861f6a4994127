"""The cast, and a job at Eastmarch that the estimator opened."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import pytest

from jobs.access import actor_for_person
from jobs.models.tenancy import scope
from jobs.services.pack_desk import publish_pack
from tests.portal.cast import Caller, Cast, make_cast
from tests.portal.intake import OpenJob, open_job

PACKS: Final = Path(__file__).parents[3] / "fixtures" / "packs"
# Before the day from which each is in force.
PUBLISHED: Final = (
    ("common-practice.3.yaml", datetime(2025, 12, 16, 12, tzinfo=UTC)),
    ("orrinvale.8.yaml", datetime(2026, 6, 11, 12, tzinfo=UTC)),
)


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


@pytest.fixture
def callers(technician: Caller, sibling: Caller, stranger: Caller) -> tuple[Caller, Caller, Caller]:
    """The right one, then two wrong ones."""
    return technician, sibling, stranger


@pytest.fixture
def packs(cast: Cast) -> None:
    """The rules in force at Brackwater: common practice and one maker's pack."""
    publisher = cast.person("pack-desk", ("quality_manager",), cast.eastmarch, everywhere=True)
    cast.person("lorcan-veskel", ("quality_manager",), cast.eastmarch, everywhere=True)
    for name, moment in PUBLISHED:
        actor = actor_for_person(publisher, as_of=moment)
        with scope(actor.organisation_id):
            data = (PACKS / name).read_bytes()
            publish_pack(actor=actor, as_of=moment, data=data, approved_by="lorcan-veskel")
