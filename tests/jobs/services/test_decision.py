"""Sign-offs, waivers, refusals and explanations."""

from typing import Any

import pytest

from jobs.errors import Conflict, NotAllowed, Refused
from jobs.facts import job_facts
from jobs.models import Explanation, Job, Organisation, Refusal, SignOff, Waiver
from jobs.services import decision, fitted, session
from jobs.services.decision import ExplanationEntry, RefusalEntry, SignOffEntry, WaiverEntry
from rules.merkle import covers_root
from rules.sign_offs import covers_of
from tests.factories import PIN
from tests.jobs.shop import Shop, new_id

REASON = "The picture file was damaged on the tablet, the plate was compared by two people."


@pytest.fixture
def packs(shop: Shop) -> None:
    shop.publish("common-practice.3.yaml")


def sign(shop: Shop, job: Job, login: str, role: str, hhmm: str = "09:00", **fields: Any) -> SignOff:
    given: dict[str, Any] = {"id": new_id(), "role": role, "pin": PIN, "statement_version": "t-1"} | fields
    return decision.sign(job=job, actor=shop.actor(login), as_of=shop.at(hhmm), entry=SignOffEntry(**given))


@pytest.mark.parametrize(
    ("login", "role", "allowed"),
    [
        ("itolvaar", "technician", True),
        ("mondry", "technician", True),
        ("tachterly", "technician", False),
        ("dpell", "technician", False),
        ("dpell", "quality_reviewer", True),
        # Whether she may review is judged and printed; her signature is recorded.
        ("itolvaar", "quality_reviewer", True),
        ("pvantongeren", "quality_reviewer", False),
    ],
)
def test_who_may_sign_as_what(shop: Shop, job: Job, login: str, role: str, allowed: bool) -> None:
    if allowed:
        signed = sign(shop, job, login, role)
        assert (signed.person.login, signed.role, signed.reauthenticated) == (login, role, True)
        assert (signed.at.clock, signed.at.reading) == ("server", shop.at("09:00"))
        return
    with pytest.raises(NotAllowed) as refusal:
        sign(shop, job, login, role)
    assert refusal.value.code == "role_missing"
    assert not SignOff.objects.exists()


def test_nobody_signs_the_release_here(shop: Shop, job: Job) -> None:
    with pytest.raises(Refused) as refusal:
        sign(shop, job, "tachterly", "release")
    assert refusal.value.code == "bad_choice"


def test_a_signature_covers_what_the_record_holds_then(shop: Shop, job: Job) -> None:
    signed = sign(shop, job, "itolvaar", "technician")
    expected = covers_of(job_facts(job=job, as_of=shop.at("09:00")), shop.at("09:00"))
    assert (tuple(signed.covers), signed.covers_root) == (expected, covers_root(expected))
    assert len(expected) == 1
    entry = fitted.FittedEntry(id=new_id(), sensor="lidar", state="no", way="sight", at=shop.text("09:01"))
    fitted.record_fitted(job=job, actor=shop.actor("itolvaar"), as_of=shop.at("09:02"), entry=entry)
    assert len(sign(shop, job, "itolvaar", "technician", "09:03").covers) == 2


def waive(shop: Shop, job: Job, login: str = "tachterly", **fields: Any) -> Waiver:
    given: dict[str, Any] = {
        "id": new_id(), "procedure_id": "CP-EVERY", "proof_id": "photos", "reason": REASON,
        "instead": "Plate compared by two people", "pin": PIN,
    } | fields  # fmt: skip
    return decision.grant_waiver(
        job=job, actor=shop.actor(login), as_of=shop.at("09:00"), entry=WaiverEntry(**given)
    )


@pytest.mark.usefixtures("packs")
def test_a_waiver_needs_the_role_that_the_pack_names(shop: Shop, job: Job) -> None:
    for login, code in (("itolvaar", "role_missing"), ("lveskel", "waive_role_missing")):
        with pytest.raises(NotAllowed) as refusal:
            waive(shop, job, login)
        assert refusal.value.code == code
    assert (waive(shop, job).role, Waiver.objects.count()) == ("location_manager", 1)
    assert waive(shop, job, "lveskel", proof_id="second").role == "quality_manager"


@pytest.mark.usefixtures("packs")
@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"reason": "x" * 39}, "text_length"),
        ({"reason": " " * 10 + "x" * 35}, "text_length"),
        ({"instead": "nothing"}, "text_length"),
        ({"proof_id": "codes"}, "not_waivable"),
        ({"proof_id": "horoscope"}, "unknown_proof"),
        ({"procedure_id": "OV-FC-ROAD"}, "unknown_procedure"),
    ],
)
def test_what_cannot_be_waived(shop: Shop, job: Job, fields: dict[str, Any], code: str) -> None:
    with pytest.raises(Refused) as refusal:
        waive(shop, job, **fields)
    assert refusal.value.code == code
    assert not Waiver.objects.exists()


@pytest.mark.usefixtures("packs")
def test_a_reason_of_forty_characters_will_do(shop: Shop, job: Job) -> None:
    assert waive(shop, job, reason="x" * 40).reason == "x" * 40


@pytest.mark.usefixtures("packs")
def test_whoever_did_the_work_waives_none_of_its_proofs(shop: Shop, job: Job) -> None:
    shop.people["tachterly"].roles = ["location_manager", "technician"]
    shop.people["tachterly"].save()
    session.start_session(
        job=job, actor=shop.actor("tachterly"), as_of=shop.at("08:30"),
        entry=session.SessionEntry(id=new_id(), procedure_id="CP-EVERY", started_at=shop.text("08:29")),
    )  # fmt: skip
    with pytest.raises(NotAllowed) as refusal:
        waive(shop, job)
    assert refusal.value.code == "same_person"


def refuse(shop: Shop, job: Job, **fields: Any) -> Refusal:
    given: dict[str, Any] = {
        "id": new_id(), "procedure_id": "OV-SV-STILL", "refused_by_name": "R. Ashgrove", "relation": "owner",
        "told_text_version": "owner-3", "systems_named": ("Surround View Camera",),
        "lamp_state": "camera lamp lit", "signed_at": shop.text("08:55"),
    } | fields  # fmt: skip
    return decision.record_refusal(
        job=job, actor=shop.actor("tachterly"), as_of=shop.at("09:00"), entry=RefusalEntry(**given)
    )


@pytest.mark.usefixtures("packs")
def test_a_refusal_is_witnessed(shop: Shop, job: Job) -> None:
    shop.publish_later("orrinvale.7.yaml")
    kept = refuse(shop, job)
    assert (kept.witness.login, kept.systems_named) == ("tachterly", ["surround view camera"])


@pytest.mark.usefixtures("packs")
@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"procedure_id": "CP-BOND"}, "not_refusable"),
        ({"procedure_id": "XX-1"}, "unknown_procedure"),
        ({"relation": "neighbour"}, "bad_choice"),
        ({"systems_named": ()}, "list_empty"),
        ({"systems_named": ("the beeping",)}, "bad_choice"),
        ({"signed_at": ""}, "bad_instant"),
    ],
)
def test_refusals_that_are_not_taken(shop: Shop, job: Job, fields: dict[str, Any], code: str) -> None:
    shop.publish_later("orrinvale.7.yaml")
    with pytest.raises(Refused) as refusal:
        refuse(shop, job, **fields)
    assert refusal.value.code == code
    assert not Refusal.objects.exists()


@pytest.mark.usefixtures("packs")
def test_an_organisation_may_accept_no_refusals(shop: Shop, job: Job) -> None:
    shop.publish_later("orrinvale.7.yaml")
    Organisation.objects.filter(pk=shop.organisation.pk).update(refusal_allowed=False)
    job = Job.objects.get(pk=job.pk)
    with pytest.raises(Conflict) as conflict:
        refuse(shop, job)
    assert conflict.value.code == "refusals_not_allowed"


def test_explanations_come_from_reviewers(shop: Shop, job: Job) -> None:
    def explain(login: str, **fields: Any) -> Explanation:
        given: dict[str, Any] = {
            "id": new_id(),
            "module": "Body",
            "code": "b2210-11",
            "text": REASON,
        } | fields
        return decision.explain(
            job=job, actor=shop.actor(login), as_of=shop.at("09:00"), entry=ExplanationEntry(**given)
        )

    with pytest.raises(NotAllowed):
        explain("itolvaar")
    kept = explain("dpell")
    assert (kept.code, kept.ftb, kept.role) == ("B2210", "11", "quality_reviewer")
    # Another VIN in a used module is explained under the word vin.
    assert (explain("dpell", code="vin").code, explain("dpell", code="vin").ftb) == ("vin", "")
    for fields, code in (({"code": "lamp"}, "code_format"), ({"text": "x" * 39}, "text_length")):
        with pytest.raises(Refused) as refusal:
            explain("dpell", **fields)
        assert refusal.value.code == code
