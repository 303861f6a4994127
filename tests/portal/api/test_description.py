"""The API's description: valid OpenAPI 3.1, complete for every route, and the page that shows it."""

from typing import Any

import pytest
from django.core.management import call_command
from django.urls import reverse
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.validation import validate_schema

from portal.api.urls import urlpatterns
from portal.permissions import PERMISSIONS
from tests.portal.cast import Caller

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def described() -> dict[str, Any]:
    document: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    return document


def operations(document: dict[str, Any]) -> list[tuple[str, str, dict[str, Any]]]:
    return [
        (path, method.upper(), operation)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    ]


def test_it_is_valid_openapi_3_1(described: dict[str, Any]) -> None:
    assert described["openapi"].startswith("3.1")
    validate_schema(described)  # type: ignore[no-untyped-call]


def test_it_is_made_without_a_warning(tmp_path: Any) -> None:
    file = tmp_path / "schema.yaml"
    call_command("spectacular", "--validate", "--fail-on-warn", "--file", str(file))
    assert file.stat().st_size > 50_000


def test_every_route_and_method_of_the_table_is_described(described: dict[str, Any]) -> None:
    told = {(path, method) for path, method, _ in operations(described)}
    assert len(told) == sum(len(rules) for route, rules in PERMISSIONS.items() if route.startswith("api:"))
    assert len(described["paths"]) == len(urlpatterns)


def test_every_operation_tells_its_problems_and_its_token(described: dict[str, Any]) -> None:
    for path, method, operation in operations(described):
        for status in ("400", "401", "403", "404", "500"):
            content = operation["responses"][status]["content"]
            assert list(content) == ["application/problem+json"], (path, method, status)
        assert operation["security"] == [{"token": []}], (path, method)
        assert "Scope `" in operation["description"], (path, method)
    assert described["components"]["securitySchemes"]["token"]["scheme"] == "bearer"


def test_every_post_asks_for_a_key_and_every_shared_edit_for_a_version(described: dict[str, Any]) -> None:
    for path, method, operation in operations(described):
        headers = {entry["name"] for entry in operation.get("parameters", []) if entry["in"] == "header"}
        assert ("Idempotency-Key" in headers) is (method == "POST"), (path, method)
        assert ("If-Match" in headers) is ("412" in operation["responses"]), (path, method)


# Acts that the address says whole: judge now, take back, agree to lift.
WITHOUT_BODY = ("/assessments", "/revocation", "/lifting")


def test_every_body_is_described(described: dict[str, Any]) -> None:
    for path, method, operation in operations(described):
        if method in ("POST", "PUT", "PATCH") and not path.endswith(WITHOUT_BODY):
            assert operation["requestBody"]["content"], (path, method)


def test_the_description_is_served_in_both_forms() -> None:
    nobody = Caller()
    as_yaml = nobody.get(reverse("schema"))
    assert (as_yaml.status, as_yaml.body[:8]) == (200, b"openapi:")
    as_json = nobody.get(reverse("schema"), Accept="application/vnd.oai.openapi+json")
    assert as_json.json()["info"]["title"] == "Witness Mark"


def test_the_page_renders_with_files_of_our_own_and_no_inline_script_or_style() -> None:
    page = Caller().get(reverse("docs"), Accept="text/html")
    text = page.body.decode()
    assert page.status == 200
    assert "<style" not in text
    assert "<script>" not in text
    assert "//" not in text.replace("https://", "").replace("<!DOCTYPE html>", "").split("src=", 1)[1]
    assert "script-src 'self'" in page.headers["Content-Security-Policy"]
    script = Caller().get(f"{reverse('docs')}?script=", Accept="*/*")
    assert script.headers["Content-Type"].startswith("application/javascript")
    assert reverse("schema") in script.body.decode()


@pytest.mark.parametrize(
    "name", ["swagger-ui.css", "swagger-ui-bundle.js", "swagger-ui-standalone-preset.js"]
)
def test_the_files_of_the_page_are_there(name: str) -> None:
    assert Caller().get(f"/static/drf_spectacular_sidecar/swagger-ui-dist/{name}").status == 200


def test_what_the_type_of_a_problem_points_at() -> None:
    table = Caller().get(reverse("problems")).json()["problems"]
    told = {row["code"]: row["status"] for row in table}
    assert told["not_found"] == 404
    assert told["digest_mismatch"] == 422
    assert all(row["title"] for row in table)


def test_health() -> None:
    nobody = Caller()
    assert nobody.get("/livez").json() == {"ready": True, "checks": {"process": True}}
    ready = nobody.get("/readyz")
    assert (ready.status, ready.json()["ready"]) == (200, True)
    assert nobody.post("/livez", {}).status == 405
