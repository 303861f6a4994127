"""Answers kept for repeated requests: gone after a week, and at once where they name somebody erased."""

import json
from datetime import timedelta

import pytest

from jobs.models import IdempotencyRecord
from jobs.services.answers import KEPT_FOR, forget_answers, forget_answers_about
from tests.factories import second_organisation
from tests.jobs.shop import Shop


def kept(shop: Shop, key: str, hhmm: str = "10:00", *, finished: bool = True, **fields: object) -> int:
    at = shop.at(hhmm)
    given = {
        "organisation": shop.organisation, "caller": "token:1", "key": key, "method": "POST", "path": "/x",
        "request_sha256": "0" * 64, "started_at": at, "finished_at": at if finished else None,
        "status": 201 if finished else None,
    }  # fmt: skip
    return IdempotencyRecord.objects.create(**(given | fields)).pk


@pytest.mark.parametrize(("second", "count"), [(0, 0), (1, 1)])
@pytest.mark.parametrize("finished", [True, False])
def test_an_answer_is_kept_for_a_week_to_the_second(
    shop: Shop, second: int, count: int, finished: bool
) -> None:
    kept(shop, "old", finished=finished)
    kept(shop, "fresh", "10:01")
    kept(shop, "theirs", finished=finished, organisation=second_organisation()["organisation"])
    then = shop.at("10:00") + KEPT_FOR + timedelta(seconds=second)
    assert forget_answers(as_of=then) == 2 * count
    assert set(IdempotencyRecord.objects.values_list("key", flat=True)) >= {"fresh"}


@pytest.mark.parametrize(
    ("body", "text", "is_gone"),
    [
        (json.dumps({"customer_name": "Ólaf Quill"}), "Ólaf Quill", True),
        (json.dumps({"customer_name": "Ólaf Quill"}, ensure_ascii=False), "Ólaf Quill", True),
        (json.dumps({"customer_name": 'Q "Q" Quill'}), 'Q "Q" Quill', True),
        (json.dumps({"customer_name": "P. Larkhill"}), "Ólaf Quill", False),
        (json.dumps({"customer_name": "P. Larkhill"}), " ", False),
        ("", "", False),
    ],
)
def test_answers_that_name_somebody_go(shop: Shop, body: str, text: str, is_gone: bool) -> None:
    kept(shop, "mine", body=body.encode())
    theirs = kept(shop, "mine", body=body.encode(), organisation=second_organisation()["organisation"])
    assert forget_answers_about([text]) == int(is_gone)
    assert IdempotencyRecord.objects.filter(key="mine").exists() is not is_gone
    assert IdempotencyRecord._base_manager.filter(pk=theirs).exists()
