"""How a played tablet reaches the API: over HTTP to a running server."""

import json
import urllib.error
import urllib.request
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol


@dataclass(frozen=True, slots=True)
class Answer:
    """One HTTP answer."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    def json(self) -> Any:
        return json.loads(self.body)


class Transport(Protocol):
    """Sends one request; an error status is an answer like any other."""

    def send(self, method: str, path: str, headers: Mapping[str, str], body: bytes | None) -> Answer: ...


class HttpTransport:
    """Talks to a server at ``base`` (http://127.0.0.1:port)."""

    def __init__(self, base: str, timeout_s: float = 60) -> None:
        self.base = base
        self.timeout_s = timeout_s

    def send(self, method: str, path: str, headers: Mapping[str, str], body: bytes | None) -> Answer:
        request = urllib.request.Request(  # noqa: S310 - the address is our own server's
            self.base + path, data=body, headers=dict(headers), method=method
        )
        try:
            with urllib.request.urlopen(request, timeout=self.timeout_s) as answer:  # noqa: S310
                return Answer(answer.status, dict(answer.headers), answer.read())
        except urllib.error.HTTPError as error:
            return Answer(error.code, dict(error.headers), error.read())
