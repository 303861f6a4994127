"""One enrolled device with one person's token: makes ids, stamps times by its own clock, sends, checks."""

import base64
import hashlib
import json
import uuid
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any
from urllib.parse import quote, urlencode

from portal.demo.transport import Answer, Transport

_NAMESPACE = uuid.UUID("6b1d9f0e-4a55-5d0c-9d35-1f7f0a6c2b11")


class RefusedError(Exception):
    """The API answered with a problem."""

    def __init__(self, answer: Answer, what: str) -> None:
        self.answer = answer
        try:
            self.problem: dict[str, Any] = answer.json()
        except ValueError:
            self.problem = {"title": answer.body[:200].decode(errors="replace")}
        super().__init__(f"{what}: {answer.status} {self.problem.get('code')}: {self.problem}")

    @property
    def code(self) -> str:
        return str(self.problem.get("code", ""))


def stable_id(*names: object) -> str:
    """The same id for the same thing on every run, so that a repeated day sends the same rows."""
    return str(uuid.uuid5(_NAMESPACE, "/".join(str(name) for name in names)))


class Tablet:
    """A tablet in the shop.

    Args:
        transport: how requests travel.
        token: the bearer token of the person who holds it.
        device: the id under which the portal knows it.
        clock: reads the tablet's clock (an aware datetime).
    """

    def __init__(self, transport: Transport, token: str, device: str, clock: Callable[[], datetime]) -> None:
        self.transport = transport
        self.token = token
        self.device = device
        self.clock = clock

    def get(self, path: str) -> Any:
        return self._ask("GET", path, None, {}).json()

    def bytes_of(self, path: str) -> bytes:
        return self._ask("GET", path, None, {}).body

    def post(self, path: str, body: Mapping[str, Any], key: str = "") -> Any:
        """Posts; a repeat of the same body is the same request, unless ``key`` tells the two apart."""
        told = stable_id("key", self.token, path, json.dumps(body, sort_keys=True), key)
        headers = {"Idempotency-Key": told}
        return self._ask("POST", path, body, headers).json()

    def put(self, path: str, body: Mapping[str, Any], etag: str) -> Any:
        return self._ask("PUT", path, body, {"If-Match": etag}).json()

    def post_matching(self, path: str, body: Mapping[str, Any], etag: str) -> Any:
        headers = {"If-Match": etag, "Idempotency-Key": stable_id("key", self.token, path, etag)}
        return self._ask("POST", path, body, headers).json()

    def etag(self, path: str) -> str:
        return self._ask("GET", path, None, {}).headers["ETag"]

    def observe_clock(self) -> None:
        """Compares this tablet's clock with the server's: its times are then known to that width."""
        sent = self.clock()
        answer = self.get("/api/v1/clock")
        received = self.clock()
        self.post(
            f"/api/v1/devices/{self.device}/clock-observations",
            {
                "id": stable_id("clock", self.device, sent.isoformat()),
                "ticket": answer["ticket"],
                "device_sent_at": sent.isoformat(),
                "device_received_at": received.isoformat(),
            },
        )

    def upload(
        self, job: str, name: str, data: bytes, *, kind: str, stage: str, **more: str | Sequence[str]
    ) -> str:
        """Sends one evidence file; the id follows from its name, so a retry is the same row."""
        evidence_id = stable_id(job, "evidence", name)
        query = {"kind": kind, "stage": stage, "device": self.device, "file_name": name}
        query |= {key: value if isinstance(value, str) else ",".join(value) for key, value in more.items()}
        query.setdefault("captured_at", self.clock().isoformat())
        digest = base64.b64encode(hashlib.sha256(data).digest()).decode()
        path = f"/api/v1/jobs/{job}/evidence/{evidence_id}?{urlencode(query, quote_via=quote)}"
        headers = {"Authorization": f"Bearer {self.token}", "Repr-Digest": f"sha-256=:{digest}:"}
        headers |= {"Content-Type": "application/octet-stream"}
        answer = self.transport.send("PUT", path, headers, data)
        if answer.status >= 400:
            raise RefusedError(answer, f"upload of {name}")
        return str(answer.json()["id"])

    def _ask(
        self, method: str, path: str, body: Mapping[str, Any] | None, extra: Mapping[str, str]
    ) -> Answer:
        headers = {"Authorization": f"Bearer {self.token}", "Accept": "application/json", **extra}
        data = None
        if body is not None:
            headers["Content-Type"] = "application/json"
            data = json.dumps(body).encode()
        answer = self.transport.send(method, path, headers, data)
        if answer.status >= 400:
            raise RefusedError(answer, f"{method} {path}")
        return answer
