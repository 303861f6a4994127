"""Signing in and out, the look, forms from elsewhere, and pages for addresses that are not there."""

import re
import uuid

import pytest
from django.test import Client

from tests.portal.cast import Cast
from tests.portal.web.reading import signed_in, text_of, without_request_id

pytestmark = pytest.mark.django_db
PASS_PHRASE = "a line scribed across two parts"


@pytest.fixture
def login(cast: Cast) -> str:
    person = cast.person("ines-signs-in", ("technician",), cast.eastmarch)
    person.set_password(PASS_PHRASE)
    person.save(update_fields=["password"])
    return person.login


def test_the_right_pass_phrase_and_the_wrong_one(login: str) -> None:
    client = Client()
    wrong = client.post("/sign-in", {"username": login, "password": "another"})
    unknown = client.post("/sign-in", {"username": "nobody", "password": PASS_PHRASE})
    assert (wrong.status_code, unknown.status_code) == (403, 403)
    same = [
        without_request_id(answer).replace(login, "").replace("nobody", "") for answer in (wrong, unknown)
    ]
    assert same[0] == same[1]
    right = client.post("/sign-in", {"username": login, "password": PASS_PHRASE, "next": "/cars"})
    assert (right.status_code, right.headers["Location"]) == (302, "/cars")
    assert client.get("/cars").status_code == 200


@pytest.mark.parametrize(
    "address", ["https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)"]
)
def test_nobody_is_sent_to_another_site(login: str, address: str) -> None:
    answer = Client().post("/sign-in", {"username": login, "password": PASS_PHRASE, "next": address})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/")


def test_a_page_asks_to_sign_in_and_a_form_does_not_come_back_as_an_address(login: str) -> None:
    client = Client()
    assert client.get("/cars").headers["Location"] == "/sign-in?next=%2Fcars"
    sent = client.post(f"/gate/{uuid.uuid4()}/release", {"id": str(uuid.uuid4())})
    assert sent.headers["Location"] == "/sign-in?next=%2F"


def test_signed_out_is_signed_out(worker: Client) -> None:
    assert worker.get("/cars").status_code == 200
    worker.post("/sign-out")
    assert worker.get("/cars").status_code == 302


def test_each_role_starts_at_its_own_page(cast: Cast) -> None:
    starts = {
        ("technician",): "/cars",
        ("glass_installer",): "/cars",
        ("location_manager",): "/board",
        ("operations_manager",): "/board",
        ("auditor",): "/packets",
    }
    for roles, page in starts.items():
        client = signed_in(cast.person(f"start-{roles[0]}", roles, cast.eastmarch))
        assert client.get("/").headers["Location"] == page
        assert client.get(page).status_code == 200


def test_the_look_is_kept_and_an_unknown_one_is_not(worker: Client) -> None:
    worker.post("/look", {"look": "sunlight", "next": "/cars"})
    assert 'data-theme="sunlight"' in worker.get("/cars").content.decode()
    worker.post("/look", {"look": '"><script>', "next": "/cars"})
    assert 'data-theme="sunlight"' in worker.get("/cars").content.decode()


def test_a_form_needs_its_token_and_the_origin_of_this_site(login: str) -> None:
    client = Client(enforce_csrf_checks=True)
    bare = client.post("/sign-in", {"username": login, "password": PASS_PHRASE})
    assert bare.status_code == 403
    assert "Nothing was kept" in text_of(bare)
    page = client.get("/sign-in").content.decode()
    found = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page)
    assert found is not None
    form = {"username": login, "password": PASS_PHRASE, "csrfmiddlewaretoken": found[1]}
    # What a browser sends from another site, and from a page whose policy hides its address.
    for origin in ("https://elsewhere.example", "null"):
        assert client.post("/sign-in", form, headers={"Origin": origin}).status_code == 403
    own = client.post("/sign-in", form, headers={"Origin": "http://testserver"})
    assert own.status_code == 302


def test_the_pages_let_browsers_name_their_origin(worker: Client) -> None:
    """With ``no-referrer`` a browser sends ``Origin: null`` with every form (Fetch standard, 4.6)."""
    assert worker.get("/cars").headers["Referrer-Policy"] == "same-origin"


def test_pages_are_kept_by_nobody(worker: Client) -> None:
    for path in ("/cars", "/sign-in", f"/cars/{uuid.uuid4()}"):
        assert "no-store" in worker.get(path).headers["Cache-Control"]
    policy = worker.get("/cars").headers["Content-Security-Policy"]
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy


def test_an_unknown_address_and_a_strangers_car_are_the_same_words(worker: Client) -> None:
    unknown = worker.get("/nowhere")
    absent = worker.get(f"/cars/{uuid.uuid4()}")
    assert (unknown.status_code, absent.status_code) == (404, 404)
    assert "Nothing is here" in text_of(unknown)
    assert text_of(unknown)[:60] == text_of(absent)[:60]


def test_a_fault_of_ours_says_so_without_its_inside(worker: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("the inside of the server")

    monkeypatch.setattr("django.template.loader.select_template", broken)
    monkeypatch.setattr("django.contrib.auth.get_user", broken)
    answer = worker.get("/cars", headers={"X-Request-ID": "asked-by-test"})
    assert answer.status_code == 500
    assert "asked-by-test" in text_of(answer)
    assert "inside" not in text_of(answer)
