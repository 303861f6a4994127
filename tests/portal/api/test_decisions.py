"""Signatures and decisions: the PIN each time, the right role, the gate that stays shut, and the delivery."""

import uuid
from typing import Any

import pytest

from jobs.models import Delivery, SignOff, Waiver, unscoped
from tests.portal.api.test_assessments import judge
from tests.portal.cast import PIN, Caller, Cast
from tests.portal.intake import OpenJob, earlier

pytestmark = pytest.mark.django_db


def _sign(**changes: Any) -> dict[str, Any]:
    return {"id": str(uuid.uuid4()), "role": "technician", "pin": PIN, "statement_version": "1"} | changes


def test_the_work_is_signed_by_who_may_with_their_own_pin(
    estimator: Caller, technician: Caller, sibling: Caller, job: OpenJob
) -> None:
    where = f"{job.path}/sign-offs"
    assert sibling.post(where, _sign()).codes == (404, "not_found")
    assert estimator.post(where, _sign()).codes == (403, "role_missing")
    wrong = technician.post(where, _sign(pin="000000"))
    assert wrong.codes == (403, "pin_wrong")
    assert wrong.json()["tries_left"] == 4
    assert "000000" not in wrong.body.decode()
    with unscoped():
        assert SignOff.objects.count() == 0
    signed = technician.post(where, _sign())
    assert signed.status == 201
    assert signed.json()["person"] == "ines-tolvaar"
    assert signed.json()["covers"]


def test_wrong_pins_lock_although_each_request_is_refused(technician: Caller, job: OpenJob) -> None:
    where = f"{job.path}/sign-offs"
    answers = [technician.post(where, _sign(pin="111111")) for _ in range(5)]
    assert {answer.status for answer in answers} == {403}
    locked = technician.post(where, _sign())
    assert locked.codes == (403, "pin_locked")
    assert locked.json()["until"]


@pytest.mark.parametrize(
    ("change", "codes"),
    [
        ({"role": "release"}, (400, "bad_choice")),
        ({"pin": 417204}, (400, "wrong_type")),
        ({"pin": ""}, (400, "blank")),
        ({"covers": []}, (400, "unknown_field")),
    ],
)
def test_signatures_that_are_refused(
    technician: Caller, job: OpenJob, change: dict[str, Any], codes: tuple[int, str]
) -> None:
    assert technician.post(f"{job.path}/sign-offs", _sign(**change)).codes == codes


def test_the_release_stays_shut_and_says_what_is_in_the_way(
    cast: Cast, packs: None, estimator: Caller, technician: Caller, stranger: Caller, job: OpenJob
) -> None:
    where = f"{job.path}/release"
    body = {"id": str(uuid.uuid4()), "pin": PIN, "statement_version": "1"}
    assert technician.post(where, body).codes == (403, "role_missing")
    assert stranger.post(where, body).codes == (404, "not_found")
    reader = cast.caller("manager-reader", "location_manager", scopes=["read", "record", "sign"])
    assert reader.post(where, body).codes == (403, "scope_missing")
    shut = estimator.post(where, body)
    assert shut.codes == (409, "release_not_open")
    open_proofs = shut.json()["open"]
    assert {"procedure_id", "proof_id", "verdict", "reasons", "sentence", "change"} <= set(open_proofs[0])
    assert {proof["verdict"] for proof in open_proofs} <= {"not_met", "not_shown"}
    with unscoped():
        assert SignOff.objects.count() == 0
    assert estimator.get(job.path).json()["state"] != "released"


def test_an_organisation_without_rules_releases_nothing(estimator: Caller, job: OpenJob) -> None:
    body = {"id": str(uuid.uuid4()), "pin": PIN, "statement_version": "1"}
    assert estimator.post(f"{job.path}/release", body).codes == (409, "release_not_open")
    assert estimator.get(job.path).json()["state"] != "released"


def test_a_waiver_names_a_proof_that_is_there(
    cast: Cast, estimator: Caller, technician: Caller, job: OpenJob
) -> None:
    body = {
        "id": str(uuid.uuid4()),
        "procedure_id": "OV-FC-ROAD",
        "proof_id": "nothing",
        "reason": "The logger's battery was empty and the drive cannot be repeated today.",
        "instead": "The supply was read from the scan device.",
        "pin": PIN,
    }
    where = f"{job.path}/waivers"
    assert technician.post(where, body).codes == (403, "role_missing")
    assert estimator.post(where, body | {"reason": "because"}).codes == (400, "text_length")
    assert estimator.post(where, body).status == 422
    with unscoped():
        assert Waiver.objects.count() == 0


def test_an_explanation_is_the_reviewers(cast: Cast, technician: Caller, job: OpenJob) -> None:
    reviewer = cast.caller("dagny-pell", "quality_reviewer")
    body = {
        "id": str(uuid.uuid4()),
        "module": "Radio",
        "code": "B1A05-11",
        "text": "The aerial was broken before the crash; the owner knows and wants it left so.",
    }
    where = f"{job.path}/explanations"
    assert technician.post(where, body).codes == (403, "role_missing")
    assert reviewer.post(where, body | {"code": "X9"}).codes == (422, "code_format")
    assert reviewer.post(where, body | {"text": "short"}).codes == (400, "text_length")
    assert reviewer.post(where, body).status == 201


def test_a_refusal_is_of_a_procedure_that_may_be_declined(technician: Caller, job: OpenJob) -> None:
    body = {
        "id": str(uuid.uuid4()),
        "procedure_id": "OV-FC-ROAD",
        "refused_by_name": "R. Ashgrove",
        "relation": "owner",
        "told_text_version": "refusal-1",
        "systems_named": ["lane departure warning"],
        "lamp_state": "camera fault lit",
        "signed_at": earlier(minutes=5),
    }
    refused = technician.post(f"{job.path}/refusals", body)
    assert refused.status == 422
    assert technician.post(f"{job.path}/refusals", body | {"relation": "neighbour"}).codes == (
        400,
        "bad_choice",
    )


def test_a_car_that_leaves_on_hold_has_left_against_hold(
    cast: Cast, packs: None, estimator: Caller, stranger: Caller, job: OpenJob
) -> None:
    body = {
        "id": str(uuid.uuid4()),
        "delivered_at": earlier(minutes=1),
        "odometer_out": {"value": "21026", "unit": "km", "resolution": "1"},
        "device": str(cast.eastmarch.device.pk),
    }
    where = f"{job.path}/delivery"
    assert stranger.post(where, body).codes == (404, "not_found")
    assert estimator.post(where, body | {"odometer_out": {"value": "21026", "unit": "miles"}}).codes == (
        400,
        "bad_choice",
    )
    assert estimator.post(where, body | {"delivered_at": earlier(days=-3)}).codes == (
        422,
        "instant_in_future",
    )
    with unscoped():
        assert Delivery.objects.count() == 0
    assert estimator.post(where, body).status == 201
    assert estimator.get(job.path).json()["state"] == "delivered"
    judge(cast, estimator, job)
    assert estimator.get(job.path).json()["left_against_hold"] is True
    again = estimator.post(where, body | {"id": str(uuid.uuid4())})
    assert again.codes == (409, "already_delivered")
