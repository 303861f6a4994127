"""A pack edition on its way through the API: drafted, read over, approved by a second person, taken back."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.portal.api.conftest import PACKS
from tests.portal.cast import Answer, Caller, Cast, repr_digest

pytestmark = pytest.mark.django_db

COMMON = (PACKS / "common-practice.3.yaml").read_bytes()
HERE = "packs/common-practice/4"


def text(days: int = 30, edition: int = 4) -> bytes:
    """Common practice as its next edition, in force from some days on."""
    day = (datetime.now(tz=UTC) + timedelta(days=days)).date().isoformat()
    changed = COMMON.replace(b"edition: 3\n", f"edition: {edition}\n".encode(), 1)
    return changed.replace(b'from: "2026-01-01"', f'from: "{day}"'.encode(), 1)


@pytest.fixture
def writer(cast: Cast) -> Caller:
    return cast.caller("perla", "operations_manager", everywhere=True)


@pytest.fixture
def second(cast: Cast) -> Caller:
    return cast.caller("dagny", "quality_reviewer", everywhere=True)


@pytest.fixture
def foreign(cast: Cast) -> Caller:
    """Has every role of the desk, in another organisation."""
    return cast.caller(
        "foreign", "operations_manager", "quality_manager", "quality_reviewer", site=cast.sallow
    )


def put(caller: Caller, data: bytes, where: str = HERE) -> Answer:
    return caller.send("PUT", f"{where}/draft", data, {"Repr-Digest": repr_digest(data)})


def approved(caller: Caller, sha256: str) -> Answer:
    return caller.post(f"{HERE}/approval", {"sha256": sha256})


def test_a_draft_comes_in_with_its_exact_bytes(
    packs: None, writer: Caller, technician: Caller, foreign: Caller, second: Caller
) -> None:
    data = text()
    for wrong in (technician, second):
        assert put(wrong, data).codes == (403, "role_missing")
    kept = put(writer, data)
    assert (kept.status, kept.json()["state"], kept.json()["edition"]) == (200, "draft", 4)
    assert writer.get(f"{HERE}/text").body == data
    assert put(writer, data).json() == kept.json()
    assert put(writer, data, "packs/common-practice/5").codes == (422, "other_edition")
    assert writer.send("PUT", f"{HERE}/draft", data, {}).codes == (400, "digest_missing")
    other = {"Repr-Digest": repr_digest(data + b"\n")}
    assert writer.send("PUT", f"{HERE}/draft", data, other).codes == (422, "digest_mismatch")
    assert put(writer, COMMON, "packs/common-practice/3").json()["state"] == "published"
    assert put(writer, COMMON + b"# \n", "packs/common-practice/3").codes == (409, "edition_exists")
    faulty = put(writer, data + b"colour: red\n")
    assert faulty.codes == (422, "pack_faulty")
    assert {"line", "code", "message", "expected", "found"} == set(faulty.json()["faults"][0])
    # It is a draft of this organisation only.
    assert foreign.get(f"{HERE}/text").codes == (404, "not_found")


def test_read_over_acknowledged_and_approved(
    packs: None, writer: Caller, technician: Caller, second: Caller, foreign: Caller
) -> None:
    sha256 = put(writer, text()).json()["sha256"]
    for path in ("review", "effect"):
        assert technician.get(f"{HERE}/{path}").codes == (403, "role_missing")
    for path in ("review", "difference", "effect"):
        assert foreign.get(f"{HERE}/{path}").codes == (404, "not_found")
    told = second.get(f"{HERE}/review").json()
    assert (told["sha256"], told["may_be_approved"], told["faults"]) == (sha256, False, [])
    assert told["open_names"] == [warning["name"] for warning in told["warnings"]]
    assert approved(second, sha256).codes == (409, "warnings_open")
    names = {"names": told["open_names"]}
    assert technician.post(f"{HERE}/acknowledgements", names).codes == (403, "role_missing")
    assert foreign.post(f"{HERE}/acknowledgements", names).codes == (404, "not_found")
    assert second.post(f"{HERE}/acknowledgements", {"names": ["other"]}).codes == (422, "unknown_warning")
    made = second.post(f"{HERE}/acknowledgements", names)
    assert (made.status, [item["by"] for item in made.json()]) == (201, ["dagny"])
    assert second.get(f"{HERE}/review").json()["may_be_approved"] is True
    assert approved(writer, sha256).codes == (403, "same_person")
    assert approved(technician, sha256).codes == (403, "role_missing")
    assert approved(foreign, sha256).codes == (404, "not_found")
    assert approved(second, "0" * 64).codes == (409, "draft_changed")
    done = approved(second, sha256)
    assert (done.status, done.json()["state"]) == (200, "published")
    assert approved(second, sha256).codes == (409, "not_a_draft")
    three = next(row for row in writer.get("packs").json()["results"] if row["edition"] == 3)
    assert (three["state"], three["in_force_until"]) == ("superseded", done.json()["in_force_from"])


def test_the_difference_to_the_edition_before(packs: None, writer: Caller, technician: Caller) -> None:
    put(writer, text().replace(b"z: 1.645", b"z: 2.0") if b"z: 1.645" in text() else text())
    told = technician.get(f"{HERE}/difference").json()
    assert told["since"] == 3
    assert "Edition was 3, now 4." in [change["words"] for change in told["changes"]]
    assert technician.get("packs/common-practice/3/difference").json() == {"since": None, "changes": []}


def test_the_effect_pages(packs: None, writer: Caller, second: Caller) -> None:
    put(writer, text())
    told = second.get(f"{HERE}/effect").json()
    assert (told["archived_jobs"], told["open_jobs"], told["jobs"], told["next_after"]) == (0, 0, [], None)
    assert told["statement"] == "Judged by a text that was not in force when the work was done."
    assert told["line"] == "Of 0 archived jobs, all would be judged the same."
    for wrong in ("limit=0", "limit=201", "limit=x", "after=x"):
        assert second.get(f"{HERE}/effect?{wrong}").codes == (400, "bad_parameter")
    assert second.get(f"{HERE}/effect?before=1").codes == (400, "unknown_parameter")


def test_a_withdrawal(
    packs: None, writer: Caller, second: Caller, technician: Caller, foreign: Caller
) -> None:
    where = "packs/common-practice/3/withdrawal"
    today = datetime.now(tz=UTC).date()
    body = {"on": "2126-01-01", "severity": "safety", "reason": "The limit was wrong."}
    for wrong in (technician, second):
        assert wrong.post(where, body).codes == (403, "role_missing")
    assert foreign.post(where, body).codes == (404, "not_found")
    past = body | {"on": "2026-01-02", "severity": "caution"}
    assert writer.post(where, past).codes == (409, "from_in_the_past")
    assert writer.post(where, body | {"reason": "x"}).codes == (400, "text_length")
    done = writer.post(where, body).json()
    assert done["state"] == "withdrawn"
    assert abs((datetime.fromisoformat(done["withdrawn_on"]).date() - today).days) <= 1
    assert writer.post(where, body).codes == (409, "already_withdrawn")
    put(writer, text())
    assert writer.post(f"{HERE}/withdrawal", body).codes == (409, "not_published")
