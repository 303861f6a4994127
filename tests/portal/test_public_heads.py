"""What anybody may read of a log: heads, a feed, proofs; hashes only, cached, counted, checked."""

import json
import uuid
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from datetime import datetime
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client

from jobs.ledger import tree
from jobs.models import LogEntry, Organisation, unscoped
from portal import throttle
from rules.canonical import canonical_bytes
from rules.seal.log_proofs import shows_consistency, shows_inclusion
from rules.seal.tree_head import head_fault, read_head
from tests.jobs import rows
from tests.jobs.ledger import logs
from tests.record_guards import without_guards

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _fresh_count() -> Iterator[None]:
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def owner() -> Organisation:
    """Heads over 5 and 12 entries; 15 entries by now."""
    with unscoped():
        made, by = rows.organisation(), logs.signer()
        logs.write(made, 5)
        logs.daily(made, by)
        logs.write(made, 7, start=5)
        logs.daily(made, by, days=1)
        logs.write(made, 3, start=12)
        logs.sealing(made, by)
    return made


@pytest.fixture
def silent() -> Organisation:
    """A log of which nothing was handed outside."""
    with unscoped():
        made = rows.organisation("Sallowfield")
        logs.write(made, 3)
    return made


def get(path: str, **headers: str) -> Any:
    return Client(raise_request_exception=False).get(path, headers=headers)


def told(path: str) -> dict[str, Any]:
    answer = get(path)
    assert answer.status_code == 200, answer.content
    found: dict[str, Any] = json.loads(answer.content)
    return found


def test_heads_with_signatures_and_proofs_newest_first(owner: Organisation) -> None:
    found = told(f"/heads/{owner.pk}/")
    assert (found["format"], found["organisation"]) == ("heads of a log 1", str(owner.pk))
    # The head that went with a packet is its holder's.
    assert [one["head"]["size"] for one in found["heads"]] == [12, 5]
    newest, first = found["heads"]
    for one in (newest, first):
        signature, certificate = (bytes.fromhex(one[name]) for name in ("head_signature", "certificate"))
        assert head_fault(read_head(one["head"]), signature, certificate) == ""
    assert newest["before"] == first["head"]
    path = [bytes.fromhex(step) for step in newest["consistency"]]
    roots = (bytes.fromhex(one["head"]["root"]) for one in (first, newest))
    assert shows_consistency(5, 12, *roots, path)
    assert canonical_bytes(found)
    # The places it names are there.
    assert get(found["consistency"]).status_code == get(found["inclusion"]).status_code == 200


def test_nothing_of_the_record_is_told(owner: Organisation) -> None:
    with unscoped():
        secrets = {str(row.target) for row in LogEntry.objects.all()} | {"itolvaar", "tablet-1", owner.name}
    for path in ("", "atom", "consistency?first=5&second=12", "inclusion/3?size=12"):
        text = get(f"/heads/{owner.pk}/{path}").content.decode()
        assert not [secret for secret in secrets if secret in text], path


def test_a_stranger_checks_a_proof_between_any_two_sizes(owner: Organisation) -> None:
    for first, second in ((1, 12), (5, 12), (7, 9), (12, 12), (3, 4)):
        found = told(f"/heads/{owner.pk}/consistency?first={first}&second={second}")
        roots = bytes.fromhex(found["first_root"]), bytes.fromhex(found["second_root"])
        path = [bytes.fromhex(step) for step in found["path"]]
        assert shows_consistency(first, second, *roots, path)
    heads = told(f"/heads/{owner.pk}/")["heads"]
    found = told(f"/heads/{owner.pk}/consistency?first=5&second=12")
    assert [found["second_root"], found["first_root"]] == [one["head"]["root"] for one in heads]


def test_who_holds_an_entry_checks_that_it_is_in(owner: Organisation) -> None:
    with unscoped():
        leaves = logs.leaves_of(owner)
    for n, size in ((1, 12), (12, 12), (4, 5), (7, 9)):
        found = told(f"/heads/{owner.pk}/inclusion/{n}?size={size}")
        path = [bytes.fromhex(step) for step in found["path"]]
        assert shows_inclusion(leaves[n - 1], n - 1, size, path, bytes.fromhex(found["root"]))
        assert leaves[n - 1].hex() not in json.dumps(found)


@pytest.mark.parametrize(
    ("path", "status", "code"),
    [
        ("consistency?first=5&second=13", 404, "not_found"),  # not handed outside yet
        ("consistency?first=0&second=12", 422, "sizes_out_of_order"),
        ("consistency?first=12&second=5", 422, "sizes_out_of_order"),
        ("consistency?first=5", 400, "bad_number"),
        ("consistency?first=x&second=12", 400, "bad_number"),
        ("consistency?first=-1&second=12", 400, "bad_number"),
        ("consistency?first=٣&second=12", 400, "bad_number"),
        ("consistency?first=1&second=" + "9" * 16, 400, "bad_number"),
        ("consistency?first=1&second=" + "9" * 15, 404, "not_found"),
        ("inclusion/13?size=13", 404, "not_found"),
        ("inclusion/6?size=5", 404, "not_found"),
        ("inclusion/0?size=5", 404, "not_found"),
        ("inclusion/1?size=0", 404, "not_found"),
        ("inclusion/1", 400, "bad_number"),
        ("inclusion/99999999999999999999?size=5", 404, "not_found"),
    ],
)
def test_what_is_not_given(owner: Organisation, path: str, status: int, code: str) -> None:
    answer = get(f"/heads/{owner.pk}/{path}")
    assert (answer.status_code, json.loads(answer.content)["code"]) == (status, code)
    assert answer.headers["Cache-Control"] == "no-store"


def test_a_silent_log_and_none_are_one_answer(silent: Organisation) -> None:
    for path in ("", "atom", "consistency?first=1&second=3", "inclusion/1?size=3"):
        answers = [
            get(f"/heads/{which}/{path}", **{"X-Request-ID": "same"}) for which in (silent.pk, uuid.uuid4())
        ]
        assert [answer.status_code for answer in answers] == [404, 404]
        assert answers[0].content == answers[1].content
        assert answers[0].headers == answers[1].headers


def test_nothing_can_be_sent(owner: Organisation) -> None:
    client = Client(raise_request_exception=False)
    for path in ("", "atom", "consistency?first=5&second=12", "inclusion/3?size=12"):
        for method in ("post", "put", "patch", "delete"):
            assert getattr(client, method)(f"/heads/{owner.pk}/{path}").status_code == 405, (path, method)
        head = client.head(f"/heads/{owner.pk}/{path}")
        assert (head.status_code, head.content) == (200, b"")


def test_answers_may_be_kept_and_are_asked_for_by_their_tag(owner: Organisation) -> None:
    listed, proof = f"/heads/{owner.pk}/", f"/heads/{owner.pk}/consistency?first=5&second=12"
    assert get(listed).headers["Cache-Control"] == "public, max-age=300"
    assert get(proof).headers["Cache-Control"] == "public, max-age=31536000, immutable"
    for path in (listed, proof, f"{listed}atom", f"{listed}inclusion/3?size=12"):
        answer = get(path)
        assert answer.headers["Access-Control-Allow-Origin"] == "*"
        assert "Set-Cookie" not in answer.headers
        assert "Cookie" not in answer.headers.get("Vary", "")
        again = get(path, **{"If-None-Match": f'"other", W/{answer.headers["ETag"]}'})
        assert (again.status_code, again.content) == (304, b"")
        assert again.headers["ETag"] == answer.headers["ETag"]
        assert get(path, **{"If-None-Match": '"other"'}).status_code == 200
    before = get(listed).headers["ETag"]
    with unscoped():
        logs.daily(owner, logs.signer(), days=2)
    assert get(listed).headers["ETag"] != before
    assert told(proof)["second"] == 12


ATOM = "{http://www.w3.org/2005/Atom}"


def test_the_feed_is_what_rfc_4287_asks_for(owner: Organisation) -> None:
    answer = get(f"/heads/{owner.pk}/atom")
    assert answer.headers["Content-Type"] == "application/atom+xml; charset=utf-8"
    feed = ET.fromstring(answer.content)  # noqa: S314 - our own answer
    assert feed.tag == f"{ATOM}feed"
    # RFC 4287 section 4.1.1: exactly one id, title and updated; an author for all; a link to itself.
    for name in ("id", "title", "updated"):
        assert len(feed.findall(ATOM + name)) == 1
    assert feed.findtext(f"{ATOM}id") == f"urn:uuid:{owner.pk}"
    assert feed.find(f"{ATOM}author/{ATOM}name") is not None
    assert {link.get("rel") for link in feed.findall(f"{ATOM}link")} == {"alternate", "self"}
    entries = feed.findall(f"{ATOM}entry")
    assert len(entries) == 2
    ids = {entry.findtext(f"{ATOM}id") for entry in entries}
    assert len(ids) == 2
    for entry in entries:
        # Section 4.1.2, and 3.3: instants as in RFC 3339.
        for name in ("id", "title", "updated"):
            assert len(entry.findall(ATOM + name)) == 1
        assert uuid.UUID(str(entry.findtext(f"{ATOM}id")))
        assert datetime.fromisoformat(str(entry.findtext(f"{ATOM}updated"))).tzinfo is not None
    heads = told(f"/heads/{owner.pk}/")["heads"]
    summary = str(entries[0].findtext(f"{ATOM}summary"))
    assert heads[0]["head"]["root"] in summary.replace(" ", "")
    assert get(f"/heads/{owner.pk}/atom").content == answer.content


def test_too_many_questions_a_minute_are_put_off(
    owner: Organisation, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(throttle, "PER_MINUTE", 3)
    at = datetime.fromisoformat("2026-05-12T17:00:48+00:00")
    monkeypatch.setattr(throttle, "now", lambda: at)
    path = f"/heads/{owner.pk}/"
    assert [get(path).status_code for _ in range(4)] == [200, 200, 200, 429]
    refused = get(f"{path}atom")
    assert (refused.status_code, refused.headers["Retry-After"]) == (429, "12")
    assert json.loads(refused.content)["code"] == "too_many_requests"
    # Another address is not made to wait, and the same one no longer than the minute.
    assert Client(REMOTE_ADDR="192.0.2.7").get(path).status_code == 200
    monkeypatch.setattr(throttle, "now", lambda: at.replace(minute=1, second=0))
    assert get(path).status_code == 200


def test_a_log_with_a_gap_gives_no_proof(owner: Organisation) -> None:
    with without_guards():
        logs.execute("DELETE FROM jobs_logentry WHERE n = 6")
    answer = get(f"/heads/{owner.pk}/consistency?first=5&second=12")
    assert (answer.status_code, json.loads(answer.content)["code"]) == (503, "log_has_a_gap")


def test_the_proof_of_a_rewritten_log_does_not_lead_to_the_head_that_was_kept(owner: Organisation) -> None:
    kept = read_head(told(f"/heads/{owner.pk}/")["heads"][1]["head"])
    with without_guards():
        logs.execute("UPDATE jobs_logentry SET who = 'somebody' WHERE n = 2")
    found = told(f"/heads/{owner.pk}/consistency?first=5&second=12")
    roots = kept.root_bytes, bytes.fromhex(found["second_root"])
    path = [bytes.fromhex(step) for step in found["path"]]
    assert not shows_consistency(5, 12, *roots, path)
    assert tree.TILE == 256
