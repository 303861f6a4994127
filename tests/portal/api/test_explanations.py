"""Explanations of a judgement: the same words as on the pages, for the right caller only."""

import json

import pytest

from jobs.models import Assessment, unscoped
from rules.canonical import from_plain
from rules.explain import explanations
from rules.result import Assessment as Judgement
from tests.portal.api.test_assessments import judge
from tests.portal.cast import Caller, Cast
from tests.portal.intake import OpenJob

pytestmark = pytest.mark.django_db


def test_every_proof_and_every_requirement_is_explained(
    cast: Cast, packs: None, callers: tuple[Caller, Caller, Caller], job: OpenJob
) -> None:
    technician, sibling, stranger = callers
    path = f"{job.path}/assessment/explanations"
    assert technician.get(path).codes == (404, "not_found")
    judge(cast, technician, job)
    told = technician.get(path).json()
    for other in (sibling, stranger):
        assert other.get(path).codes == (404, "not_found")
    assert Caller().get(path).status == 401
    assert (told["statement"], told["pending"]) == ("cannot_tell", False)
    assert told["proofs"]
    for proof in told["proofs"]:
        assert proof["required"]
        assert proof["shows"]
        assert proof["why"]
        assert bool(proof["change"]) == (proof["verdict"] != "met")
        assert proof["text"].startswith(f"{proof['required']} ({proof['citation']}).")
    for requirement in told["requirements"]:
        assert requirement["triggers"]
        assert all(part["fact"] for trigger in requirement["triggers"] for part in trigger["parts"])


def test_they_are_the_words_of_the_stored_judgement(
    cast: Cast, packs: None, technician: Caller, job: OpenJob
) -> None:
    judge(cast, technician, job)
    with unscoped():
        stored = from_plain(Judgement, json.loads(Assessment.objects.get(job=job.job).result))
    told = technician.get(f"{job.path}/assessment/explanations").json()["proofs"]
    assert [one["text"] for one in told] == [one.text for one in explanations(stored)]


def test_an_unknown_parameter_is_refused(cast: Cast, technician: Caller, job: OpenJob) -> None:
    assert technician.get(f"{job.path}/assessment/explanations?lang=de").codes == (400, "unknown_parameter")
