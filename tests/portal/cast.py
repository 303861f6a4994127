"""The cast of the API tests: two organisations, three places, everybody's tokens, and a way to call."""

import base64
import hashlib
import json
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

from django.contrib.auth.hashers import make_password
from django.test import Client

from jobs.access import new_token_text, token_prefix, token_sha256
from jobs.models import ApiToken, Device, Location, Organisation, Person, unscoped
from jobs.models.people import ROLES
from portal.permissions import SCOPES

PIN: Final = "417204"
LONG_AGO: Final = datetime(2026, 1, 5, 12, tzinfo=UTC)
_PIN_HASH: list[str] = []


def pin_hash() -> str:
    """Hashed once for all: the hash is slow on purpose."""
    if not _PIN_HASH:
        _PIN_HASH.append(make_password(PIN))
    return _PIN_HASH[0]


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer; ``code`` is the problem's."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    def json(self) -> Any:
        return json.loads(self.body)

    @property
    def code(self) -> str:
        return str(self.json().get("code", ""))

    @property
    def codes(self) -> tuple[int, str]:
        return self.status, self.code


@dataclass
class Caller:
    """Somebody with a token (or without), calling the API."""

    token: str = ""
    client: Client = field(default_factory=lambda: Client(raise_request_exception=False))

    def get(self, path: str, **headers: str) -> Answer:
        return self.send("GET", path, None, headers)

    def post(self, path: str, body: Any, *, key: str | None = None, **headers: str) -> Answer:
        used = uuid.uuid4().hex if key is None else key
        return self.send("POST", path, body, {"Idempotency-Key": used, **_named(headers)})

    def put(self, path: str, body: Any, **headers: str) -> Answer:
        return self.send("PUT", path, body, headers)

    def patch(self, path: str, body: Any, **headers: str) -> Answer:
        return self.send("PATCH", path, body, headers)

    def upload(self, path: str, data: bytes, *, digest: str | None = None) -> Answer:
        stated = repr_digest(data) if digest is None else digest
        return self.send("PUT", path, data, {"Repr-Digest": stated}, media_type="application/octet-stream")

    def send(
        self,
        method: str,
        path: str,
        body: Any,
        headers: Mapping[str, str],
        *,
        media_type: str = "application/json",
    ) -> Answer:
        """Sends bytes as they are and everything else as JSON."""
        data = body if isinstance(body, bytes) else b"" if body is None else json.dumps(body).encode()
        sent = _named(headers)
        if self.token:
            sent.setdefault("Authorization", f"Bearer {self.token}")
        given = self.client.generic(
            method, path if path.startswith("/") else f"/api/v1/{path}", data, media_type, headers=sent
        )
        content = b"".join(given) if given.streaming else given.content
        return Answer(given.status_code, dict(given.headers), content)


def _named(headers: Mapping[str, str]) -> dict[str, str]:
    return {name.replace("_", "-"): value for name, value in headers.items()}


def repr_digest(data: bytes) -> str:
    """The Repr-Digest header of these bytes (RFC 9530)."""
    return f"sha-256=:{base64.b64encode(hashlib.sha256(data).digest()).decode()}:"


@dataclass
class Site:
    """One location with a capture device."""

    organisation: Organisation
    location: Location
    device: Device


@dataclass
class Cast:
    """``eastmarch`` is home; ``low_mill`` its sibling; ``sallow`` belongs to others."""

    eastmarch: Site
    low_mill: Site
    sallow: Site

    def person(self, login: str, roles: tuple[str, ...], site: Site, *, everywhere: bool = False) -> Person:
        """A person who works at ``site``, or at all locations of its organisation."""
        person = Person.objects.create(
            organisation=site.organisation,
            login=login,
            name=login.replace("-", " ").title(),
            roles=list(roles),
            all_locations=everywhere,
            pin_hash=pin_hash(),
        )
        if not everywhere:
            person.locations.add(site.location)
        return person

    def token(self, person: Person, site: Site, **changes: Any) -> str:
        """A token of that person with every scope, bound to the site's device."""
        text = new_token_text()
        fields: dict[str, Any] = {
            "organisation": person.organisation,
            "name": person.login,
            "prefix": token_prefix(text),
            "sha256": token_sha256(text),
            "scopes": list(SCOPES),
            "person": person,
            "device": site.device,
            "created_at": LONG_AGO,
            "expires_at": LONG_AGO + timedelta(days=3650),
        }
        with unscoped():
            ApiToken.objects.create(**(fields | changes))
        return text

    def caller(
        self, login: str, *roles: str, site: Site | None = None, everywhere: bool = False, **token: Any
    ) -> Caller:
        """A new person with a token, ready to call."""
        place = site or self.eastmarch
        person = self.person(login, roles, place, everywhere=everywhere)
        return Caller(self.token(person, place, **token))


def make_cast() -> Cast:
    """Brackwater with Eastmarch and Low Mill; Sallowfield with its own shop."""
    ours = _organisation("Brackwater Repair Group")
    theirs = _organisation("Sallowfield Mobile Aiming")
    with unscoped():
        return Cast(
            eastmarch=_site(ours, "EM", "Eastmarch"),
            low_mill=_site(ours, "LM", "Low Mill"),
            sallow=_site(theirs, "SW", "Sallow Yard"),
        )


def _organisation(name: str) -> Organisation:
    return Organisation.objects.create(
        name=name,
        kind="repair_group",
        default_tz="America/Chicago",
        release_roles=["location_manager", "operations_manager", "quality_manager"],
        created_at=LONG_AGO,
    )


def _site(organisation: Organisation, code: str, name: str) -> Site:
    location = Location.objects.create(
        organisation=organisation,
        code=code,
        name=name,
        lat=43.1,
        lon=-98.2,
        tz="America/Chicago",
        active_from=date(2020, 1, 1),
    )
    device = Device.objects.create(
        organisation=organisation, location=location, name=f"tablet {code}", enrolled_at=LONG_AGO
    )
    return Site(organisation, location, device)


ALL_ROLES: Final = ROLES
