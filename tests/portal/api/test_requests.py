"""Requests that never become work: each gets problem details (RFC 9457) with a stable code."""

import json
import uuid
from typing import Any

import pytest
from django.conf import settings

from jobs.models import IdempotencyRecord, LogEntry, Vehicle, unscoped
from portal.errors import MEDIA_TYPE
from tests.portal.cast import LONG_AGO, Answer, Caller, Cast
from tests.portal.intake import OpenJob, vehicle_body

pytestmark = pytest.mark.django_db


def assert_problem(answer: Answer, status: int, code: str) -> None:
    """The members of RFC 9457 and ours; ``status`` equals the HTTP status (RFC 9457 section 3.1.2)."""
    assert answer.codes == (status, code)
    assert answer.headers["Content-Type"] == MEDIA_TYPE
    told = answer.json()
    assert told["status"] == status
    assert told["type"] == f"/api/problems#{code}"
    assert told["title"]
    assert told["request_id"] == answer.headers["X-Request-ID"]
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert b"Traceback" not in answer.body
    assert b"<html" not in answer.body.lower()


def rows() -> tuple[int, int, int]:
    with unscoped():
        return (Vehicle.objects.count(), LogEntry.objects.count(), IdempotencyRecord.objects.count())


def test_no_token_or_one_that_does_not_hold(cast: Cast, estimator: Caller) -> None:
    person = cast.person("left-long-ago", ("technician",), cast.eastmarch)
    expired = cast.token(person, cast.eastmarch, expires_at=LONG_AGO)
    revoked = cast.token(person, cast.eastmarch, revoked_at=LONG_AGO)
    person.is_active = False
    inactive = cast.token(person, cast.eastmarch)
    person.save()
    answers = [
        Caller().get("me"),
        Caller("wm_" + "x" * 43).get("me"),
        Caller("x").get("me"),
        Caller("y" * 5000).get("me"),
        Caller(expired).get("me"),
        Caller(revoked).get("me"),
        Caller(inactive).get("me"),
        Caller().get("me", Authorization="Basic aW5lczp4"),
        Caller().get("me", Authorization="Bearer"),
        Caller().get("me", Authorization="Bearer wm_\u00e9"),
        Caller().get("me", Authorization=f"Bearer {estimator.token} twice"),
    ]
    for answer in answers:
        assert_problem(answer, 401, "not_signed_in")
        assert answer.headers["WWW-Authenticate"] == "Bearer"
    assert estimator.get("me").status == 200


def test_the_scope_of_the_token_and_the_role_of_the_person(cast: Cast, estimator: Caller) -> None:
    reader = cast.caller("reader", "estimator", scopes=["read"])
    auditor = cast.caller("joris-quell", "auditor")
    body = vehicle_body()
    assert_problem(reader.post("vehicles", body), 403, "scope_missing")
    assert_problem(auditor.post("vehicles", body), 403, "role_missing")
    assert_problem(auditor.get("jobs"), 403, "role_missing")
    assert rows() == (0, 0, 0)
    assert estimator.post("vehicles", body).status == 201


@pytest.mark.parametrize(
    "path", ["/api/v1/nothing", "/api/nothing", "/api/v1/jobs/", "/api/v1/jobs/17", "/api/"]
)
def test_unknown_routes(estimator: Caller, path: str) -> None:
    assert_problem(estimator.get(path), 404, "not_found")
    assert_problem(Caller().get(path), 404, "not_found")


@pytest.mark.parametrize(
    "job_id", ["%00", "..%2f..%2fetc", "1" * 27, "null", "{}", "0" * 36, "A" * 5000, "%f0%9f%9a%97"]
)
def test_ids_that_are_none(estimator: Caller, job_id: str) -> None:
    assert_problem(estimator.get(f"jobs/{job_id}"), 404, "not_found")


@pytest.mark.parametrize("method", ["DELETE", "PUT", "PATCH", "OPTIONS", "TRACE", "BREW"])
def test_methods_that_a_route_does_not_have(estimator: Caller, method: str) -> None:
    answer = estimator.send(method, "vehicles", {}, {})
    assert answer.status in (403, 405)
    assert answer.code in ("not_allowed", "method_not_allowed")
    assert answer.headers["Content-Type"] == MEDIA_TYPE


@pytest.mark.parametrize(
    ("data", "codes"),
    [
        (b"", (400, "missing_field")),
        (b"{", (400, "parse_error")),
        (b'{"id": 1,}', (400, "parse_error")),
        (b"{'id': 1}", (400, "parse_error")),
        (b"\xff\xfe", (400, "parse_error")),
        (b"\xef\xbb\xbf{}", (400, "parse_error")),
        (b"[" * 100_000, (400, "too_deep")),
        (b"[" * 100_000 + b"]" * 100_000, (400, "too_deep")),
        (b'{"a":' * 100_000, (400, "too_deep")),
        (b'{"make": "a", "make": "b"}', (400, "duplicate_key")),
        (b'{"a": {"b": 1, "b": 2}}', (400, "duplicate_key")),
        (b'{"model_year": NaN}', (400, "number_not_finite")),
        (b'{"model_year": -Infinity}', (400, "number_not_finite")),
        (b'{"model_year": 1e999}', (400, "number_not_finite")),
        (b'{"model_year": ' + b"9" * 10_000 + b"}", (400, "number_too_big")),
        (b'{"make": "\\ud800"}', (400, "lone_surrogate")),
        (b'{"make": "a\\u0000b"}', (400, "nul_character")),
        (b"[]", (400, "wrong_type")),
        (b'"text"', (400, "wrong_type")),
        (b"null", (400, "wrong_type")),
        (b"7", (400, "wrong_type")),
    ],
)
def test_bodies_that_cannot_be_read(estimator: Caller, data: bytes, codes: tuple[int, str]) -> None:
    headers = {"Idempotency-Key": uuid.uuid4().hex}
    assert_problem(estimator.send("POST", "vehicles", data, headers), *codes)
    assert rows() == (0, 0, 0)


def test_a_body_over_the_limit(estimator: Caller) -> None:
    headers = {"Idempotency-Key": "k"}
    largest = settings.MAX_BODY_BYTES
    body = json.dumps(vehicle_body()).encode()
    fits = body + b" " * (largest - len(body))
    assert_problem(estimator.send("POST", "vehicles", fits + b" ", headers), 413, "body_too_large")
    assert rows() == (0, 0, 0)
    assert estimator.send("POST", "vehicles", fits, headers).status == 201


@pytest.mark.parametrize("stated", ["10995116277760", "9" * 30])
def test_a_content_length_of_terabytes(estimator: Caller, stated: str) -> None:
    given = estimator.client.post(
        "/api/v1/vehicles",
        data=b"{}",
        content_type="application/json",
        headers={"Authorization": f"Bearer {estimator.token}", "Idempotency-Key": "k"},
        CONTENT_LENGTH=stated,
    )
    assert (given.status_code, given.headers["Content-Type"]) == (413, MEDIA_TYPE)


@pytest.mark.parametrize(
    "media_type",
    [
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "multipart/form-data",
        "application/xml",
        "nonsense",
    ],
)
def test_content_types_that_are_not_json(estimator: Caller, media_type: str) -> None:
    data = json.dumps(vehicle_body()).encode()
    answer = estimator.send("POST", "vehicles", data, {"Idempotency-Key": "k"}, media_type=media_type)
    assert_problem(answer, 415, "media_type_not_supported")
    assert rows() == (0, 0, 0)


def test_answers_have_one_form(estimator: Caller) -> None:
    assert_problem(estimator.get("jobs", Accept="text/html"), 406, "not_acceptable")
    assert_problem(estimator.get("jobs", Accept="*/*;q=0"), 406, "not_acceptable")
    assert estimator.get("jobs", Accept="*/*").status == 200


def test_a_host_that_is_not_ours(estimator: Caller) -> None:
    assert_problem(estimator.get("jobs", Host="evil.invalid"), 400, "bad_request")


@pytest.mark.parametrize(
    ("offered", "is_taken"),
    [
        ("tablet-7.41", True),
        ("a" * 64, True),
        ("a" * 65, False),
        ('"}\nERROR forged', False),
        ("\x1b[31m", False),
        ("", False),
        ("é", False),
    ],
)
def test_request_ids_are_plain(estimator: Caller, offered: str, is_taken: bool) -> None:
    answer = estimator.get("jobs", X_Request_ID=offered)
    given = answer.headers["X-Request-ID"]
    assert (given == offered) is is_taken
    assert given.isascii()


def test_a_strangers_job_and_no_job_are_the_same_answer(stranger: Caller, job: OpenJob) -> None:
    headers = {"X-Request-ID": "same"}
    foreign = stranger.send("GET", f"jobs/{job.job}", None, headers)
    absent = stranger.send("GET", f"jobs/{uuid.uuid4()}", None, headers)
    assert foreign.codes == (404, "not_found")
    assert (foreign.body, foreign.headers) == (absent.body, absent.headers)


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("identity-readings", {"vin": "x"}),
        ("readings", {"readings": [{"value": 7}]}),
        ("scans", {"modules": [{"codes": [{"code": 7}]}]}),
    ],
)
def test_the_field_at_fault_is_named_by_its_path(
    technician: Caller, job: OpenJob, path: str, body: dict[str, Any]
) -> None:
    told = technician.post(f"{job.path}/{path}", body).json()
    assert told["status"] == 400
    assert told["code"] == told["errors"][0]["code"]
    assert all({"field", "code", "detail"} == set(entry) for entry in told["errors"])


def test_nested_unknown_fields_are_refused_too(cast: Cast, technician: Caller, job: OpenJob) -> None:
    module = {"name": "Camera", "system": "forward_camera", "answered": True, "colour": "red"}
    answer = technician.post(
        f"{job.path}/scans",
        {"id": str(uuid.uuid4()), "stage": "final", "tool": "", "device_serial": "7", "modules": [module]},
    )
    assert answer.status == 400
    named = {entry["field"]: entry["code"] for entry in answer.json()["errors"]}
    assert named["modules[0].colour"] == "unknown_field"


@pytest.mark.parametrize("header", ["X-Forwarded-For", "Accept-Language", "Range", "Cookie"])
def test_headers_of_any_length_do_no_harm(estimator: Caller, header: str) -> None:
    assert estimator.send("GET", "jobs", None, {header: "1, " * 3000}).status == 200


def test_security_headers_are_on_errors_too(estimator: Caller) -> None:
    for answer in (estimator.get("jobs"), estimator.get("nothing")):
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Referrer-Policy"] in ("no-referrer", "same-origin")
        assert answer.headers["X-Frame-Options"] == "DENY"
        assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
