"""Sessions: begun, read, ended once under If-Match, with what the key did in between."""

import uuid
from typing import Any

import pytest

from tests.portal.cast import Caller, Cast
from tests.portal.intake import OpenJob, earlier

pytestmark = pytest.mark.django_db


@pytest.fixture
def session(cast: Cast, technician: Caller, job: OpenJob) -> str:
    body = start_body(cast)
    made = technician.post(f"{job.path}/sessions", body)
    assert (made.status, made.headers["ETag"]) == (201, '"1"'), made.body
    return f"{job.path}/sessions/{body['id']}"


def start_body(cast: Cast, **changes: Any) -> dict[str, Any]:
    return {
        "id": str(uuid.uuid4()),
        "procedure_id": "OV-FC-ROAD",
        "started_at": earlier(minutes=40),
        "device": str(cast.eastmarch.device.pk),
    } | changes


def end_body(cast: Cast, **changes: Any) -> dict[str, Any]:
    return {
        "ended_at": earlier(minutes=10),
        "device": str(cast.eastmarch.device.pk),
        "result": "completed",
        "result_text": "Camera learned, aiming complete",
    } | changes


def test_only_somebody_who_aims_begins_one(
    cast: Cast, estimator: Caller, technician: Caller, stranger: Caller, job: OpenJob
) -> None:
    body = start_body(cast)
    assert estimator.post(f"{job.path}/sessions", body).codes == (403, "role_missing")
    assert stranger.post(f"{job.path}/sessions", body).codes == (404, "not_found")
    assert technician.post(f"{job.path}/sessions", body).json()["attempt"] == 1
    assert technician.post(f"{job.path}/sessions", start_body(cast)).json()["attempt"] == 2
    assert len(estimator.get(f"{job.path}/sessions").json()["results"]) == 2


def test_it_ends_once_for_who_has_read_it(
    cast: Cast, technician: Caller, sibling: Caller, session: str
) -> None:
    body = end_body(cast)
    assert sibling.get(session).codes == (404, "not_found")
    assert sibling.post(f"{session}/end", body, If_Match="*").codes == (404, "not_found")
    assert technician.post(f"{session}/end", body).codes == (428, "if_match_missing")
    assert technician.post(f"{session}/end", body, If_Match='"4"').codes == (412, "version_conflict")
    ended = technician.post(f"{session}/end", body, If_Match='"1"')
    assert (ended.status, ended.headers["ETag"], ended.json()["result"]) == (200, '"2"', "completed")
    assert technician.get(session).json() == ended.json()
    assert technician.post(f"{session}/end", body, If_Match='"2"').codes == (409, "session_ended")


@pytest.mark.parametrize(
    ("change", "codes"),
    [
        ({"result": "passed"}, (400, "bad_choice")),
        ({"ended_at": earlier(minutes=90)}, (422, "times_backwards")),
        ({"results": {"left": 7}}, (400, "wrong_type")),
        ({"parts": [{"part": "still"}]}, (400, "missing_field")),
        ({"version": 1}, (400, "unknown_field")),
    ],
)
def test_ends_that_are_refused(
    cast: Cast, technician: Caller, session: str, change: dict[str, Any], codes: tuple[int, str]
) -> None:
    assert technician.post(f"{session}/end", end_body(cast, **change), If_Match="*").codes == codes
    assert technician.get(session).json()["result"] == ""


def test_what_the_key_did(cast: Cast, technician: Caller, stranger: Caller, session: str) -> None:
    events = [{"at": earlier(minutes=39), "state": "on"}, {"at": earlier(minutes=20), "state": "off"}]
    body = {"events": events, "device": str(cast.eastmarch.device.pk)}
    where = f"{session}/key-events"
    assert stranger.post(where, body).codes == (404, "not_found")
    assert technician.post(where, {"events": []}).codes == (400, "list_empty")
    assert technician.post(where, {"events": [{"at": events[0]["at"], "state": "lit"}]}).codes == (
        400,
        "bad_choice",
    )
    assert technician.post(where, body | {"events": events[::-1]}).codes == (422, "times_backwards")
    assert technician.post(where, body).status == 201


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"bay": "EM-B99"}, "unknown_reference"),
        ({"tool": "SD-999"}, "unknown_reference"),
        ({"observer": "wenna-stroud"}, "unknown_reference"),
        ({"reuses_part_of": str(uuid.uuid4())}, "unknown_reference"),
    ],
)
def test_things_that_are_not_here(
    cast: Cast, technician: Caller, stranger: Caller, job: OpenJob, change: dict[str, Any], code: str
) -> None:
    assert technician.post(f"{job.path}/sessions", start_body(cast, **change)).codes == (422, code)
    assert technician.get(f"{job.path}/sessions").json()["results"] == []
