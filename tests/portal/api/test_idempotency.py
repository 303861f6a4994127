"""Idempotency keys: required, per caller, replayed, refused for another request, safe under two threads."""

import json
import threading
import uuid
from datetime import UTC, datetime

import pytest
from django.db import close_old_connections, connection, connections
from django.http import HttpResponse
from django.test import RequestFactory
from pytest_django.fixtures import Settings

from jobs.access import actor_for_token
from jobs.models import IdempotencyRecord, LogEntry, Vehicle, unscoped
from jobs.models.tenancy import scope
from portal import idempotency
from tests.portal.cast import Answer, Caller, Cast, make_cast
from tests.portal.intake import vehicle_body


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("key", "code"),
    [
        ("", "idempotency_key_missing"),
        ("k" * 201, "idempotency_key_bad"),
        ("k" * 1_000_000, "idempotency_key_bad"),
        ("a\tb", "idempotency_key_bad"),
        ("a b", "idempotency_key_bad"),
        ("ключ", "idempotency_key_bad"),
    ],
)
def test_a_key_is_required_and_plain(estimator: Caller, key: str, code: str) -> None:
    body = vehicle_body()
    assert estimator.post("vehicles", body, key=key).codes == (400, code)
    assert estimator.get(f"vehicles/{body['id']}").status == 404


@pytest.mark.django_db
def test_the_same_request_again_gives_the_first_answer_and_does_nothing(estimator: Caller) -> None:
    body = vehicle_body()
    first = estimator.post("vehicles", body, key="k1")
    again = estimator.post("vehicles", body, key="k1")
    assert (again.status, again.body) == (201, first.body)
    assert again.headers["ETag"] == first.headers["ETag"]
    assert again.headers["Content-Type"] == first.headers["Content-Type"]
    assert again.headers["Idempotent-Replay"] == "true"
    assert "Idempotent-Replay" not in first.headers
    with unscoped():
        assert LogEntry.objects.filter(what="vehicle.registered").count() == 1


@pytest.mark.django_db
def test_the_same_key_for_another_request_is_refused(estimator: Caller) -> None:
    assert estimator.post("vehicles", vehicle_body(), key="k1").status == 201
    other = vehicle_body()
    assert estimator.post("vehicles", other, key="k1").codes == (422, "idempotency_key_reused")
    assert estimator.post("orders", other, key="k1").codes == (422, "idempotency_key_reused")
    assert estimator.get(f"vehicles/{other['id']}").status == 404


@pytest.mark.django_db
def test_keys_of_two_callers_never_meet(cast: Cast, estimator: Caller, stranger: Caller) -> None:
    colleague = cast.caller("colleague", "estimator")
    for caller in (estimator, colleague, stranger):
        answer = caller.post("vehicles", vehicle_body(), key="k1")
        assert (answer.status, "Idempotent-Replay" in answer.headers) == (201, False)


@pytest.mark.django_db
def test_a_refusal_leaves_the_key_free(estimator: Caller) -> None:
    body = vehicle_body(vin="Z0ASD1F80S2011835")
    assert estimator.post("vehicles", body, key="k1").codes == (422, "vin_check_digit")
    right = body | {"vin": "Z0ASD1F89S2011835"}
    assert estimator.post("vehicles", right, key="k1").status == 201


@pytest.mark.django_db
def test_the_fingerprint_is_keyed_so_that_no_pin_can_be_guessed_from_it(settings: Settings) -> None:
    request = RequestFactory().post("/api/v1/x", data={"pin": "417204"}, content_type="application/json")
    before = idempotency.fingerprint(request)
    settings.SECRET_KEY = "another"
    assert idempotency.fingerprint(request) != before


@pytest.mark.django_db
def test_while_the_first_is_worked_on_the_second_waits(estimator: Caller) -> None:
    body = vehicle_body()
    with unscoped():
        first = _begin(estimator, body)
    assert estimator.post("vehicles", body, key="k1").codes == (409, "idempotency_in_flight")
    with unscoped():
        IdempotencyRecord.objects.filter(pk=first.record_id).update(
            started_at=datetime.now(tz=UTC) - idempotency.LEASE
        )
    # Its worker has died: after the lease the key is taken over, and the dead one's late end changes nothing.
    assert estimator.post("vehicles", body, key="k1").status == 201
    with unscoped():
        idempotency.finish(first, HttpResponse(b"late", status=202), as_of=datetime.now(tz=UTC))
        assert IdempotencyRecord.objects.get(pk=first.record_id).status == 201


def _begin(caller: Caller, body: dict[str, object]) -> idempotency.Claim:
    request = RequestFactory().post(
        "/api/v1/vehicles",
        data=json.dumps(body),
        content_type="application/json",
        headers={"Idempotency-Key": "k1"},
    )
    moment = datetime.now(tz=UTC)
    actor = actor_for_token(caller.token, as_of=moment)
    with scope(actor.organisation_id):
        return idempotency.begin(request, actor, as_of=moment)


@pytest.mark.django_db(transaction=True)
def test_two_threads_with_one_key_make_one_vehicle() -> None:
    name = str(connection.settings_dict["NAME"])
    assert "memory" not in name, "threads need a database in a file"
    caller = make_cast().caller("tobin-achterly", "estimator")
    body = vehicle_body()
    for round_number in range(5):
        sent = {**body, "id": str(uuid.uuid4())}
        answers = _at_once(Caller(caller.token), Caller(caller.token), sent, key=f"k{round_number}")
        made = [answer for answer in answers if answer.status == 201]
        rest = [answer.codes for answer in answers if answer.status != 201]
        assert made
        assert rest in ([], [(409, "idempotency_in_flight")])
        assert len({answer.body for answer in made}) == 1
    with unscoped():
        assert Vehicle.objects.count() == 5
        assert LogEntry.objects.filter(what="vehicle.registered").count() == 5


def _at_once(first: Caller, second: Caller, body: dict[str, object], *, key: str) -> list[Answer]:
    barrier = threading.Barrier(2)
    answers: list[Answer] = []

    def send(caller: Caller) -> None:
        close_old_connections()
        barrier.wait(timeout=10)
        answers.append(caller.post("vehicles", body, key=key))
        connections.close_all()

    threads = [threading.Thread(target=send, args=(caller,)) for caller in (first, second)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert len(answers) == 2
    return answers
