"""Surveys of bay floors by the API: kept, listed, made void; strangers find nothing."""

import uuid
from typing import Any

import pytest

from jobs.models import Bay, BayFloorSurvey, Equipment, unscoped
from tests.portal.cast import Caller, Cast
from tests.portal.intake import earlier
from tests.portal.tenancy_stage import survey_body

pytestmark = pytest.mark.django_db

WHERE = "bays/EM-B2/floor-surveys"


@pytest.fixture(autouse=True)
def _bay(cast: Cast) -> None:
    site = cast.eastmarch
    with unscoped():
        Bay.objects.create(
            organisation=site.organisation, location=site.location, code="EM-B2", length_mm=12_000,
            width_mm=6_500, height_mm=4_200,
        )  # fmt: skip
        Equipment.objects.create(
            organisation=site.organisation, tag="FL-001", cls="level", home_location=site.location,
            in_service_from="2025-01-01",
        )  # fmt: skip


def body(**fields: Any) -> dict[str, Any]:
    return survey_body("FL-001", **fields)


def test_a_survey_is_kept_listed_and_made_void(technician: Caller, stranger: Caller, sibling: Caller) -> None:
    sent = body(grid_note="Chalk grid")
    for outside in (stranger, sibling):
        assert outside.post(WHERE, sent).codes == (404, "not_found")
        assert outside.get(WHERE).codes == (404, "not_found")
    kept = technician.post(WHERE, sent)
    assert kept.status == 201
    assert kept.json()["id"] == sent["id"]
    assert technician.post(WHERE, sent).json()["content_sha256"] == kept.json()["content_sha256"]
    (listed,) = technician.get(WHERE).json()["results"]
    assert (listed["bay"], listed["instrument"], listed["grid_note"]) == ("EM-B2", "FL-001", "Chalk grid")
    assert (listed["u_z_mm"], listed["voided_at"], listed["computed"]["flatness_mm"]) == (0.0, None, 0.0)
    voiding = f"floor-surveys/{sent['id']}/voiding"
    for outside in (stranger, sibling):
        assert outside.post(voiding, {"reason": "A lift was set."}).codes == (404, "not_found")
    voided = technician.post(voiding, {"reason": "A lift was set.", "changed_at": earlier(minutes=1)})
    assert voided.status == 201
    assert voided.json()["void_reason"] == "A lift was set."
    assert technician.post(voiding, {"reason": "Something else."}).codes == (409, "already_voided")
    with unscoped():
        assert BayFloorSurvey.objects.count() == 1


def test_a_repeated_request_is_answered_and_not_done_again(technician: Caller) -> None:
    sent, key = body(), str(uuid.uuid4())
    first, again = (technician.post(WHERE, sent, key=key) for _ in range(2))
    assert (first.status, first.body) == (again.status, again.body)
    with unscoped():
        assert BayFloorSurvey.objects.count() == 1


@pytest.mark.parametrize(
    ("fields", "codes"),
    [
        ({"points": body()["points"][:8]}, (422, "too_few_points")),
        (
            {"points": [{"x": str(1000 * i), "y": "0", "z": "0"} for i in range(9)]},
            (422, "points_on_one_line"),
        ),
        ({"points": [{"x": 1.5, "y": "0", "z": "0"}] * 9}, (400, "bad_number")),
        ({"points": []}, (400, "list_empty")),
        ({"z_unit": "kPa"}, (422, "unit_mismatch")),
        ({"instrument": "FL-999"}, (422, "unknown_reference")),
        ({"surveyed_at": earlier(days=-2)}, (422, "instant_in_future")),
        ({"slope": "0"}, (400, "unknown_field")),
    ],
)
def test_what_is_refused(technician: Caller, fields: dict[str, Any], codes: tuple[int, str]) -> None:
    assert technician.post(WHERE, body(**fields)).codes == codes
