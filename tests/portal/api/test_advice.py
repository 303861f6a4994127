"""Advice on a job: only from what was recorded and entered, and for the right caller only."""

from typing import Any

import pytest

from tests.portal.api.test_assessments import judge
from tests.portal.cast import Caller, Cast
from tests.portal.intake import OpenJob, earlier

pytestmark = pytest.mark.django_db

GOOD = {
    "way_minutes": "12",
    "work_minutes": "30.5",
    "forecast_temp_c": "-3.5",
    "forecast_rh_percent": "41",
}


def asking(path: str, **parameters: str) -> str:
    query = "&".join(f"{name}={value.replace('+', '%2B')}" for name, value in parameters.items())
    return f"{path}/advice?{query}"


def test_advice_for_the_right_caller_only(
    cast: Cast, packs: None, callers: tuple[Caller, Caller, Caller], job: OpenJob
) -> None:
    technician, sibling, stranger = callers
    path = f"{job.path}/advice"
    assert technician.get(path).codes == (404, "not_found")
    judge(cast, technician, job)
    told: dict[str, Any] = technician.get(path).json()
    for other in (sibling, stranger):
        assert other.get(path).codes == (404, "not_found")
    assert Caller().get(path).status == 401
    assert told["targets"] == []
    # Nobody knows yet what is fitted and what was done: then nothing is promised.
    assert told["home"]["answer"] == "cannot_tell"
    assert (told["home"]["earliest"], told["home"]["latest"]) == (None, None)
    assert "cannot tell yet" in told["home"]["reason"]
    assert all(step["source"] for step in told["home"]["steps"])


def test_entries_are_taken(cast: Cast, packs: None, technician: Caller, job: OpenJob) -> None:
    judge(cast, technician, job)
    until = earlier(hours=-3)
    told = technician.get(asking(job.path, **GOOD, shift_until=until)).json()
    steps = {step["name"]: step for step in told["home"]["steps"]}
    assert steps["aimer here until"]["source"] == "entered by hand"
    assert steps["aimer here until"]["at"] is not None
    assert steps["work in the bay"]["words"].startswith("30.5 min")


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("way_minutes", "far"),
        ("way_minutes", "-1"),
        ("way_minutes", "241"),
        ("way_minutes", "nan"),
        ("way_minutes", "1e1"),
        ("work_minutes", "1441"),
        ("forecast_temp_c", "61"),
        ("forecast_rh_percent", "101"),
        ("bay_free_at", "16:30"),
        ("bay_free_at", "2026-05-05T16:30:00"),
        ("shift_until", "2020-05-05T16:30:00Z"),
    ],
)
def test_what_cannot_be_meant_is_refused(
    cast: Cast, packs: None, technician: Caller, job: OpenJob, name: str, value: str
) -> None:
    judge(cast, technician, job)
    answer = technician.get(asking(job.path, **{name: value}))
    assert answer.codes == (400, "bad_parameter")
    assert answer.json()["parameter"] == name


def test_an_unknown_parameter_is_refused(technician: Caller, job: OpenJob) -> None:
    assert technician.get(f"{job.path}/advice?ratio=1").codes == (400, "unknown_parameter")
