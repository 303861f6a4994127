"""The tenancy matrix: every route × every role × own location, sibling location, other organisation, absent.

Three organisationally different owners of the same thing must be one answer, byte for byte: a sibling's, a
stranger's, and none at all. A route that is not in the permission table and in the rows fails here.
"""

import re
import uuid
from collections.abc import Iterator
from typing import Final

import pytest
from django.db import transaction
from django.urls import URLPattern, URLResolver, get_resolver
from pytest_django.plugin import DjangoDbBlocker

from jobs.models.people import ROLES
from portal.permissions import PERMISSIONS, Rule
from tests.portal.cast import Answer, Caller
from tests.portal.tenancy_rows import API_ROWS, Row
from tests.portal.tenancy_shared import SHARED_ROWS
from tests.portal.tenancy_stage import Stage, Things, build_stage, everything, told, undone
from tests.portal.tenancy_web import WEB_ROWS

# Half a minute of work: left out of what runs before each commit.
pytestmark = [pytest.mark.slow, pytest.mark.django_db]

ROWS: Final = (*API_ROWS, *SHARED_ROWS, *WEB_ROWS)
# They name nothing and tell nothing of the record: whoever comes may have them.
OPEN_TO_ALL: Final = frozenset(
    {
        "livez",
        "readyz",
        "schema",
        "docs",
        "problems",
        "web:sign-in",
        "web:sign-out",
        "web:look",
        "web:verify",
        "heads",
        "heads-atom",
        "heads-consistency",
        "heads-inclusion",
    }
)
# Who holds a link needs no sign-in: the token in the address is what is checked; see the tests of links.
BY_LINK: Final = frozenset(
    {
        "web:link",
        "web:link-passphrase",
        "web:link-packet",
        "web:link-take",
        "web:link-picture",
        "web:link-times",
        "web:link-copy",
        "web:link-bundle",
    }
)
METHODS: Final = ("GET", "POST", "PUT", "PATCH", "DELETE")
# What differs between renderings without telling anything: the form's own random token, and the address that
# the caller asked for, which a page repeats so as to lead back.
_FORM_TOKEN: Final = re.compile(rb'name="csrfmiddlewaretoken" value="[^"]+"')


@pytest.fixture(scope="module")
def stage(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Stage]:
    """Built once; each test takes back what it did, being itself inside this transaction."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield build_stage()
        transaction.set_rollback(True)


def routes() -> Iterator[str]:
    """Every named route that the resolver knows."""

    def walk(patterns: list[URLPattern | URLResolver], spaces: tuple[str, ...]) -> Iterator[str]:
        for pattern in patterns:
            if isinstance(pattern, URLResolver):
                deeper = (*spaces, pattern.namespace) if pattern.namespace else spaces
                yield from walk(pattern.url_patterns, deeper)
            else:
                yield ":".join((*spaces, pattern.name or f"without a name: {pattern.pattern}"))

    return walk(get_resolver().url_patterns, ())


def send(row: Row, caller: Caller, stage: Stage, things: Things) -> Answer:
    """The row's request about ``things``, under one and the same request id."""
    headers = {"X-Request-ID": "same", **row.headers(things)}
    if row.door == "session":
        return send_form(row, caller, stage, things)
    if row.method == "POST":
        headers["Idempotency-Key"] = uuid.uuid4().hex
    body = row.body(stage, things) if row.body is not None else None
    return caller.send(row.method, row.path(things), body, headers)


def send_form(row: Row, caller: Caller, stage: Stage, things: Things) -> Answer:
    """A page or a form of one, as a browser sends it."""
    sent = {"X-Request-ID": "same"}
    if row.method == "GET":
        given = caller.client.get(row.path(things), headers=sent)
    else:
        fields = row.body(stage, things) if row.body is not None else {}
        given = caller.client.post(row.path(things), fields, headers=sent)
    content = b"".join(given) if given.streaming else given.content
    plain = _FORM_TOKEN.sub(b"", content).replace(row.path(things).encode(), b"(address)")
    return Answer(given.status_code, dict(given.headers), plain)


def rule_of(row: Row) -> Rule:
    return PERMISSIONS[row.route][row.method]


def test_every_route_is_in_the_table_and_in_the_rows() -> None:
    named = set(routes())
    assert named == set(PERMISSIONS) | OPEN_TO_ALL | BY_LINK
    assert not set(PERMISSIONS) & (OPEN_TO_ALL | BY_LINK)
    in_table = {(route, method) for route, rules in PERMISSIONS.items() for method in rules}
    in_rows = [(row.route, row.method) for row in ROWS]
    assert set(in_rows) == in_table
    assert len(in_rows) == len(set(in_rows))


def test_every_rule_names_roles_that_exist() -> None:
    for rules in PERMISSIONS.values():
        for rule in rules.values():
            assert rule.roles
            assert rule.roles <= set(ROLES)


@pytest.mark.parametrize("row", ROWS, ids=str)
def test_nobody_without_a_valid_sign_in(row: Row, stage: Stage) -> None:
    nobody = [Caller(client=stage.plain)]
    if row.door == "token":
        nobody.append(Caller(stage.revoked_token, client=stage.plain))
        # A session of the pages is no way into the API.
        nobody.append(stage.caller(row.by, "session"))
    for caller in nobody:
        answer = send(row, caller, stage, stage.home)
        if row.door == "token":
            assert answer.codes == (401, "not_signed_in")
        else:
            assert answer.status == 302
            assert answer.headers["Location"].startswith("/sign-in?")
        assert stage.home.canary not in told(answer)
    assert everything() == stage.at_rest


@pytest.mark.parametrize("row", ROWS, ids=str)
def test_others_and_nothing_are_one_answer_and_nothing_changes(row: Row, stage: Stage) -> None:
    for role in ROLES:
        caller = stage.caller(role, row.door)
        answers = [
            send(row, caller, stage, things) for things in (stage.sibling, stage.foreign, stage.absent)
        ]
        for answer in answers:
            _no_foreign_word(answer, stage)
        if role not in rule_of(row).roles:
            assert {answer.status for answer in answers} == {403}, role
        elif row.reach == "location":
            assert {answer.status for answer in answers} == {404}, role
        elif row.reach == "organisation":
            assert [answer.status for answer in answers[1:]] == [row_of_others(row), 404], role
        if row.reach == "location":
            assert len({answer.body for answer in answers}) == 1, role
            assert answers[0].headers == answers[1].headers == answers[2].headers, role
    if row.reach != "none":
        assert everything() == stage.at_rest


def row_of_others(row: Row) -> int:
    """Pack editions are named, not numbered: the other organisation's name finds our own edition."""
    return row.gives


@pytest.mark.parametrize("row", ROWS, ids=str)
def test_at_home_every_role_gets_what_the_table_says(row: Row, stage: Stage) -> None:
    rule = rule_of(row)
    assert row.by in rule.roles
    for role in ROLES:
        with undone():
            answer = send(row, stage.caller(role, row.door), stage, stage.home)
            _no_foreign_word(answer, stage)
            if role == row.by:
                assert answer.status == row.gives, (role, answer.body)
            elif role in row.refused_by_service:
                assert answer.status == 403, role
            elif role in rule.roles and not _is_granted_only(row, role):
                assert answer.status == 404 == row.gives or answer.status in (200, 201, 202, 302, 409, 422), (
                    role,
                    answer.status,
                    answer.body[:300],
                )
            elif role not in rule.roles:
                assert answer.status == 403, (role, answer.body[:300])


def _is_granted_only(row: Row, role: str) -> bool:
    """People who look from outside see what was granted to them by name, and here nothing was."""
    return role in ("auditor", "counsel") and row.reach == "location"


def _no_foreign_word(answer: Answer, stage: Stage) -> None:
    text = told(answer)
    for things in (stage.sibling, stage.foreign):
        assert things.canary not in text
        assert things.canary[-12:] not in text


@pytest.mark.parametrize("row", [row for row in ROWS if row.reach == "location"], ids=str)
def test_who_works_everywhere_sees_the_sibling_and_no_stranger(row: Row, stage: Stage) -> None:
    if "operations_manager" not in rule_of(row).roles or row.door != "token":
        assert row.door == "session" or "operations_manager" not in rule_of(row).roles
        return
    caller = Caller(stage.everywhere_token)
    with undone():
        assert send(row, caller, stage, stage.sibling).status in (200, 201, 202, 404, 409, 422)
        foreign = send(row, caller, stage, stage.foreign)
        absent = send(row, caller, stage, stage.absent)
    assert (foreign.status, foreign.body) == (404, absent.body)


@pytest.mark.parametrize("row", ROWS, ids=str)
def test_methods_beside_the_table_are_nobodys(row: Row, stage: Stage) -> None:
    caller = stage.caller(row.by, row.door)
    for method in METHODS:
        if method not in PERMISSIONS[row.route]:
            path = row.path(stage.home)
            headers = {"Idempotency-Key": uuid.uuid4().hex, "If-Match": "*"}
            answer = caller.send(method, path, {}, headers)
            assert answer.status in (403, 405), (method, answer.status)
    assert everything() == stage.at_rest


# Every place in a body that names a thing: with a stranger's or a sibling's id it is as if there were none.
NAMED_IN_BODIES: Final = (
    ("orders", "vehicle", "vehicle"),
    ("orders", "location", "location"),
    ("orders", "device", "device"),
    ("identity-readings", "evidence", "evidence"),
    ("identity-readings", "device", "device"),
    ("glass-sets", "operation", "operation"),
    ("glass-sets", "climate_log", "evidence"),
    ("readings", "session", "session"),
    ("readings", "instrument", "tag"),
    ("statements", "session", "session"),
    ("statements", "sessions", "session"),
    ("function-checks", "session", "session"),
    ("target-identities", "session", "session"),
    ("lamp-records", "evidence", "evidence"),
    ("operations", "estimate_line", "line"),
    ("operations", "evidence", "evidence"),
    ("sessions", "reuses_part_of", "session"),
    ("sessions", "tool", "tag"),
    ("screen-observations", "tag", "tag"),
    ("reuse-decisions", "other", "evidence"),
    ("reuse-decisions", "other_job", "job"),
)


@pytest.mark.parametrize(("route", "name", "thing"), NAMED_IN_BODIES)
def test_ids_in_bodies(route: str, name: str, thing: str, stage: Stage) -> None:
    row = next(row for row in API_ROWS if row.route == f"api:{route}" and row.method == "POST")
    assert row.body is not None
    caller = stage.caller(row.by, "token")
    answers = []
    for things in (stage.foreign, stage.absent):
        value = getattr(things, thing)
        as_list = name in ("evidence", "sessions")
        body = row.body(stage, stage.home) | {name: [value] if as_list else value}
        headers = {"X-Request-ID": "same", "Idempotency-Key": uuid.uuid4().hex}
        answer = caller.send("POST", row.path(stage.home), body, headers)
        assert answer.status in (404, 422), answer.body
        _no_foreign_word(answer, stage)
        answers.append(answer)
    assert answers[0].codes == answers[1].codes
    assert everything() == stage.at_rest


def test_a_session_named_in_an_upload_is_of_the_same_job(stage: Stage) -> None:
    caller = stage.caller("technician", "token")
    codes = set()
    for things in (stage.sibling, stage.foreign, stage.absent):
        where = (
            f"jobs/{stage.home.job}/evidence/{uuid.uuid4()}?kind=photo&stage=intake&session={things.session}"
        )
        codes.add(caller.upload(where, b"never looked at").codes)
    assert codes == {(422, "unknown_reference")}
    assert everything() == stage.at_rest
