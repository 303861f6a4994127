"""Links and samples through the API: made, told once, seen by who gave them, taken back."""

import uuid
from typing import Any

import pytest

from jobs.models import IdempotencyRecord, unscoped
from tests.portal.api.test_assessments import judge, seal
from tests.portal.cast import Caller, Cast
from tests.portal.intake import OpenJob, earlier

pytestmark = [pytest.mark.django_db, pytest.mark.slow]


@pytest.fixture
def packet(cast: Cast, packs: None, technician: Caller, estimator: Caller, job: OpenJob) -> str:
    """The path of a sealed packet."""
    judge(cast, technician, job)
    return seal(cast, estimator, job)


def body(packet: str, **fields: Any) -> dict[str, Any]:
    return {
        "id": str(uuid.uuid4()), "packets": [packet.rpartition("/")[2]], "to_name": "Hanne Brook",
        "to_company": "Brook & Vane", "purpose": "insurer_audit", "until": earlier(days=-20),
    } | fields  # fmt: skip


def test_a_link_is_told_once_and_kept_nowhere(
    cast: Cast, packet: str, technician: Caller, estimator: Caller, stranger: Caller
) -> None:
    asked = body(packet)
    assert technician.post("links", asked).codes == (403, "role_missing")
    manager_elsewhere = cast.caller("wenna-manager", "location_manager", site=cast.sallow)
    assert manager_elsewhere.post("links", asked).codes == (404, "not_found")
    made = estimator.post("links", asked, key="one")
    assert made.status == 201, made.body
    address = made.json()["address"]
    token = address.rpartition("/s/")[2]
    assert len(token) == 43
    assert made.json()["recipient"] == "link for Hanne Brook at Brook & Vane"
    again = estimator.post("links", asked, key="one")
    assert (again.status, again.json()["address"]) == (201, "")
    assert estimator.post("links", asked, key="two").codes == (409, "link_made_before")
    with unscoped():
        for kept in IdempotencyRecord.objects.all():
            assert token not in bytes(kept.body).decode() + str(kept.headers)
    page = Caller().client.get(f"/s/{token}")
    assert page.status_code == 200
    assert "Brook &amp; Vane" in page.content.decode()
    told = estimator.get(f"{packet}/access").json()
    (row,) = told["access"]
    assert (row["recipient"], row["words"], row["downloads"]) == (made.json()["recipient"], "open", 0)
    assert stranger.get(f"{packet}/access").status in (403, 404)
    where = f"links/{made.json()['id']}/revocation"
    assert manager_elsewhere.post(where, {}).codes == (404, "not_found")
    assert estimator.post(where, {}).status == 200
    assert estimator.post(where, {}).codes == (409, "already_revoked")
    assert Caller().client.get(f"/s/{token}").status_code == 404
    (row,) = estimator.get(f"{packet}/access").json()["access"]
    assert (row["is_open"], row["words"]) == (False, "taken back")


@pytest.mark.parametrize(
    ("fields", "codes"),
    [
        ({"packets": []}, (400, "wrong_type")),
        ({"packets": [str(uuid.uuid4())]}, (404, "not_found")),
        ({"until": earlier(days=-91)}, (422, "grant_too_long")),
        ({"passphrase": "short"}, (422, "passphrase_short")),
        ({"max_downloads": 0}, (400, "bad_number")),
        ({"ends_when": ["never"]}, (400, "bad_choice")),
        ({"sections": ["everything"]}, (400, "bad_choice")),
        ({"token": "x" * 43}, (400, "unknown_field")),
    ],
)
def test_what_a_link_cannot_be(
    packet: str, estimator: Caller, fields: dict[str, Any], codes: tuple[int, str]
) -> None:
    answer = estimator.post("links", body(packet, **fields))
    assert answer.status == codes[0], answer.body
    if fields != {"packets": []}:
        assert answer.code in (codes[1], "bad_choice", "bad_number")


def test_how_many_to_look_at(estimator: Caller, technician: Caller) -> None:
    told = estimator.get("sample-plan?lot=400&one_in=20&confidence=0.95").json()
    assert (told["bad"], told["look_at"]) == (20, 55)
    assert told["sentence"].endswith("look at 55 of 400.")
    assert technician.get("sample-plan?lot=400").codes == (403, "role_missing")
    for wrong in ("", "lot=0", "lot=400&one_in=x", "lot=400&confidence=1", "lot=400&extra=1", "lot=-5"):
        assert estimator.get(f"sample-plan?{wrong}").status == 400


def test_a_sample_through_the_api(
    cast: Cast, packet: str, estimator: Caller, technician: Caller, stranger: Caller
) -> None:
    auditor = cast.caller("joris-quell", "auditor", site=cast.sallow)
    manager = cast.caller("perla", "operations_manager", everywhere=True)
    today = earlier(hours=0)[:10]
    asked = {
        "id": str(uuid.uuid4()), "from_on": "2020-01-01", "to_on": "2020-01-02", "for_person": "joris-quell",
    }  # fmt: skip
    assert technician.post("samples", asked).codes == (403, "role_missing")
    assert manager.post("samples", asked).codes == (409, "nothing_to_sample")
    made = manager.post("samples", asked | {"from_on": earlier(days=2)[:10], "to_on": today})
    assert made.status == 201, made.body
    sample = f"samples/{asked['id']}"
    assert (made.json()["lot"], made.json()["seed"], made.json()["drawn_at"]) == (1, "", None)
    assert estimator.get(sample).codes == (404, "not_found")
    assert auditor.get(packet).codes == (404, "not_found")
    assert manager.post(f"{sample}/draw", {"word": "x"}).codes == (403, "not_yours_to_draw")
    assert auditor.post(f"{sample}/archives", {"id": str(uuid.uuid4())}).codes == (409, "not_drawn")
    drawn = auditor.post(f"{sample}/draw", {"word": "lantern"})
    assert (drawn.status, drawn.json()["word"], len(drawn.json()["seed"])) == (200, "lantern", 64)
    assert auditor.get(packet).status == 200
    assert [row["id"] for row in auditor.get("samples").json()["results"]] == [asked["id"]]
    asked_for = auditor.post(f"{sample}/archives", {"id": str(uuid.uuid4())})
    assert (asked_for.status, asked_for.json()["state"], asked_for.json()["total"]) == (202, "waiting", 1)
    archive = f"sample-archives/{asked_for.json()['id']}"
    assert manager.get(archive).codes == (404, "not_found")
    assert auditor.get(archive).status == 200
    assert auditor.get(f"{archive}/content").codes == (410, "copy_gone")
