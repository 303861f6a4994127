"""Estimate lines, their meaning under If-Match, operations, and the list that is closed and opened again."""

import uuid
from typing import Any

import pytest

from tests.portal.cast import Caller, Cast
from tests.portal.intake import OpenJob, earlier

pytestmark = pytest.mark.django_db


def _line(caller: Caller, job: OpenJob, line_no: int = 1) -> str:
    body = {"id": str(uuid.uuid4()), "line_no": line_no, "text": "R&I glass, windshield, new part"}
    made = caller.post(f"{job.path}/estimate-lines", body)
    assert (made.status, made.headers["ETag"]) == (201, '"0"')
    return str(body["id"])


def test_two_desks_map_one_line(
    estimator: Caller, technician: Caller, stranger: Caller, job: OpenJob
) -> None:
    line = _line(estimator, job)
    path = f"{job.path}/estimate-lines/{line}/mapping"
    glass = {"operations": ["glass.windshield.replaced"], "touches_nothing": False}
    nothing = {"operations": [], "touches_nothing": True}
    assert stranger.put(path, glass, If_Match="*").codes == (404, "not_found")
    assert estimator.put(path, glass).codes == (428, "if_match_missing")
    mapped = estimator.put(path, glass, If_Match='"0"')
    assert (mapped.status, mapped.headers["ETag"], mapped.json()["version"]) == (200, '"1"', 1)
    assert technician.put(path, nothing, If_Match='"0"').codes == (412, "version_conflict")
    (row,) = estimator.get(f"{job.path}/estimate-lines").json()["results"]
    assert (row["operations"], row["touches_nothing"], row["version"]) == (
        ["glass.windshield.replaced"],
        False,
        1,
    )
    assert technician.put(path, nothing, If_Match='"1"').status == 200
    (row,) = estimator.get(f"{job.path}/estimate-lines").json()["results"]
    assert (row["operations"], row["touches_nothing"], row["version"]) == ([], True, 2)


@pytest.mark.parametrize(
    ("mapping", "codes"),
    [
        ({}, (422, "mapping_empty")),
        ({"operations": ["glass.windshield.replaced"], "touches_nothing": True}, (422, "mapping_both")),
        ({"operations": ["kitchen.sink.replaced"]}, (422, "unknown_operation")),
        ({"operations": "glass.windshield.replaced"}, (400, "wrong_type")),
        ({"touches_nothing": "yes"}, (400, "wrong_type")),
        ({"touches_nothing": 1}, (400, "wrong_type")),
        ({"version": 0}, (400, "unknown_field")),
    ],
)
def test_what_a_mapping_may_say(
    estimator: Caller, job: OpenJob, mapping: dict[str, Any], codes: tuple[int, str]
) -> None:
    path = f"{job.path}/estimate-lines/{_line(estimator, job)}/mapping"
    assert estimator.put(path, mapping, If_Match='"0"').codes == codes
    assert estimator.get(f"{job.path}/estimate-lines").json()["results"][0]["version"] == 0


def test_a_line_of_another_job_is_not_there(
    estimator: Caller, stranger: Caller, cast: Cast, job: OpenJob
) -> None:
    unknown = f"{job.path}/estimate-lines/{uuid.uuid4()}/mapping"
    assert estimator.put(unknown, {"touches_nothing": True}, If_Match="*").codes == (404, "not_found")


def test_lines_are_numbered_once(estimator: Caller, job: OpenJob) -> None:
    _line(estimator, job, 3)
    body = {"id": str(uuid.uuid4()), "line_no": 3, "text": "again"}
    assert estimator.post(f"{job.path}/estimate-lines", body).codes == (409, "line_number_taken")
    assert estimator.post(f"{job.path}/estimate-lines", body | {"line_no": 0}).codes == (400, "bad_number")
    assert estimator.post(f"{job.path}/estimate-lines", body | {"line_no": "4"}).codes == (400, "wrong_type")


def test_the_list_closes_when_every_line_is_mapped_and_opens_with_a_reason(
    cast: Cast, estimator: Caller, stranger: Caller, job: OpenJob
) -> None:
    line = _line(estimator, job)
    closing = {"id": str(uuid.uuid4()), "at": earlier(minutes=10), "device": str(cast.eastmarch.device.pk)}
    where = f"{job.path}/operations-closings"
    held = estimator.post(where, closing)
    assert held.codes == (409, "lines_unmapped")
    assert held.json()["lines"] == [1]
    path = f"{job.path}/estimate-lines/{line}/mapping"
    estimator.put(path, {"touches_nothing": True}, If_Match='"0"')
    assert stranger.post(where, closing).codes == (404, "not_found")
    assert estimator.post(where, closing).status == 201
    assert estimator.post(where, closing | {"id": str(uuid.uuid4())}).codes == (409, "already_closed")
    reopen = f"{job.path}/operations-reopenings"
    assert estimator.post(reopen, {}).codes == (400, "missing_field")
    assert stranger.post(reopen, {"reason": "We found more damage."}).codes == (404, "not_found")
    assert estimator.post(reopen, {"reason": "We found more damage."}).status == 201
    assert estimator.post(reopen, {"reason": "We found more damage."}).codes == (409, "not_closed")


def test_an_operation_is_withdrawn_with_a_reason_once(
    technician: Caller, sibling: Caller, job: OpenJob
) -> None:
    operation = str(uuid.uuid4())
    body = {
        "id": operation,
        "operation": "camera.forward.unplugged",
        "started_at": earlier(minutes=50),
        "done_at": earlier(minutes=40),
        "found_later": True,
    }
    assert technician.post(f"{job.path}/operations", body).status == 201
    where = f"{job.path}/operations/{operation}/withdrawal"
    reason = {"reason": "Recorded on the wrong job."}
    assert sibling.post(where, reason).codes == (404, "not_found")
    assert technician.post(where, {"reason": "  "}).codes == (400, "blank")
    assert technician.post(where, reason).status == 201
    assert technician.post(where, reason).codes == (409, "already_ended")


@pytest.mark.parametrize(
    ("change", "codes"),
    [
        ({"operation": "kitchen.sink.replaced"}, (422, "unknown_operation")),
        ({"done_at": "2026-11-25T10:00"}, (400, "bad_instant")),
        ({"by": "nobody-here"}, (422, "unknown_reference")),
        ({"by": "wenna-stroud"}, (422, "unknown_reference")),
        ({"zone_detail": "kitchen"}, (400, "bad_choice")),
    ],
)
def test_operations_that_are_refused(
    technician: Caller, stranger: Caller, job: OpenJob, change: dict[str, Any], codes: tuple[int, str]
) -> None:
    body = {"id": str(uuid.uuid4()), "operation": "glass.windshield.replaced", "done_at": earlier(minutes=9)}
    assert technician.post(f"{job.path}/operations", body | change).codes == codes
