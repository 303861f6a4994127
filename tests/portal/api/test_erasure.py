"""Erasing a customer through the API: only keepers of the whole organisation, only with words, and once."""

import json

import pytest

from jobs.models import IdempotencyRecord, Job, LogEntry, RepairOrder, unscoped
from jobs.services.retention_plan import ERASED
from tests.portal.cast import Caller, Cast
from tests.portal.intake import OpenJob

pytestmark = pytest.mark.django_db
BODY = {"reason": "Asked for in writing on 4 May."}


def order_of(job: OpenJob) -> RepairOrder:
    with unscoped():
        return Job.objects.select_related("order").get(pk=job.job).order


def test_a_stranger_erases_nothing_and_a_keeper_everything(
    cast: Cast, job: OpenJob, technician: Caller, estimator: Caller, stranger: Caller
) -> None:
    path, name = f"{job.path}/erasure", order_of(job).customer_name
    elsewhere = cast.caller("wenna-keeper", "quality_manager", site=cast.sallow)
    assert Caller().post(path, BODY).status == 401
    for caller in (technician, estimator):
        assert caller.post(path, BODY).codes == (403, "role_missing")
    assert elsewhere.post(path, BODY).codes == (404, "not_found")
    assert stranger.post(path, BODY).status in (403, 404)
    keeper = cast.caller("lorcan", "quality_manager")
    for body, code in (
        ({}, "required"),
        ({"reason": "short"}, "text_length"),
        (BODY | {"job": 1}, "unknown_field"),
    ):
        answer = keeper.post(path, body)
        assert (answer.status // 100, code in answer.body.decode()) == (4, True), answer.body
    assert order_of(job).customer_name == name
    with unscoped():
        assert not LogEntry.objects.filter(what="customer.erasure_asked").exists()
    answer = keeper.post(path, BODY, key="once")
    assert answer.status == 200, answer.body
    told = answer.json()
    assert told["removed"] == [f"order/{order_of(job).pk}/customer"]
    assert (told["stopped"], told["waiting"], told["shared"], told["additions"]) == ([], [], [], 0)
    assert order_of(job).customer_name == ERASED
    assert keeper.post(path, BODY, key="once").json() == told
    assert keeper.post(path, BODY, key="twice").json()["removed"] == []
    with unscoped():
        kept = [bytes(row.body).decode() for row in IdempotencyRecord.objects.all()]
    assert not any(name in body for body in kept)
    assert name not in json.dumps(keeper.get(job.path).json())
