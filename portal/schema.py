"""How the OpenAPI description is made: beside the good answers it tells every problem and every header."""

from typing import Any, Final, Literal

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ResolvedComponent

from portal.errors import MEDIA_TYPE
from portal.permissions import PERMISSIONS

PROBLEM_SCHEMA: Final[dict[str, Any]] = {
    "type": "object",
    "description": "Problem details (RFC 9457). Programs act on `code`.",
    "required": ["type", "title", "status", "code", "request_id"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer", "minimum": 400, "maximum": 599},
        "code": {"type": "string", "pattern": "^[a-z0-9_]+$"},
        "detail": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["field", "code", "detail"],
                "properties": {
                    "field": {"type": "string"},
                    "code": {"type": "string"},
                    "detail": {"type": "string"},
                },
            },
        },
        "request_id": {"type": "string"},
    },
    "additionalProperties": True,
}
_ALWAYS: Final = {
    "400": "The request is malformed.",
    "401": "No token, or one that does not hold.",
    "403": "The token's scope or the person's role does not allow this.",
    "404": "There is no such thing, or it is not yours; the two look the same.",
    "406": "The answer has no form that the Accept header allows.",
    "429": "Too many requests.",
    "500": "The server failed.",
    "503": "A part of the system does not answer.",
}
_WITH_BODY: Final = {
    "409": "The record is not at this step, or the same request is still being worked on.",
    "413": "The body is too large.",
    "415": "The body is of a kind that is not accepted.",
    "422": "The request was understood and is not accepted.",
}
_WITH_IF_MATCH: Final = {
    "412": "If-Match names another version than the present one.",
    "428": "If-Match is missing.",
}


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """Tokens as they are described to others."""

    target_class = "portal.authentication.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        return {"type": "http", "scheme": "bearer", "bearerFormat": "wm_…"}


class ProblemAutoSchema(AutoSchema):
    """Adds problem answers, Idempotency-Key and If-Match, and which scope and roles the table asks for."""

    def get_tags(self) -> list[str]:
        parts = [part for part in self.path.split("/") if part and not part.startswith("{")]
        names = parts[2:]  # behind api/v1
        return [names[1] if len(names) > 1 and names[0] == "jobs" else names[0]]

    def get_description(self) -> str:  # type: ignore[override]
        described: str = super().get_description()
        route = str(getattr(self.view, "route_name", ""))
        rule = PERMISSIONS.get(route, {}).get(self.method)
        if rule is None:
            return described
        roles = ", ".join(sorted(rule.roles))
        return f"{described}\n\nScope `{rule.scope}`; roles: {roles}."

    def _get_parameters(self) -> list[dict[str, Any]]:
        parameters: list[dict[str, Any]] = super()._get_parameters()
        if self.method == "POST":
            parameters.append(
                _header("Idempotency-Key", "New for each new request; the same to send it again.", 200)
            )
        if self._needs_if_match():
            parameters.append(_header("If-Match", "The ETag of what was read.", 2000))
        return parameters

    def _needs_if_match(self) -> bool:
        return self.method in getattr(self.view, "needs_if_match", ())

    def _get_response_bodies(self, direction: Literal["request", "response"] = "response") -> dict[str, Any]:
        bodies: dict[str, Any] = super()._get_response_bodies(direction)
        problems = dict(_ALWAYS)
        if self.method in ("POST", "PUT", "PATCH"):
            problems |= _WITH_BODY
        if self._needs_if_match():
            problems |= _WITH_IF_MATCH
        component = ResolvedComponent(  # type: ignore[no-untyped-call]
            name="Problem", type=ResolvedComponent.SCHEMA, schema=PROBLEM_SCHEMA, object="problem"
        )
        self.registry.register_on_missing(component)
        for status, words in problems.items():
            bodies.setdefault(
                status, {"description": words, "content": {MEDIA_TYPE: {"schema": component.ref}}}
            )
        return bodies


def _header(name: str, words: str, longest: int) -> dict[str, Any]:
    return {
        "name": name,
        "in": "header",
        "required": True,
        "description": words,
        "schema": {"type": "string", "minLength": 1, "maxLength": longest},
    }
