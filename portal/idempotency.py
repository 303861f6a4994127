"""Idempotency keys: a POST that is sent again gives the first answer again and does nothing twice.

The key is claimed in a transaction of its own before the work starts. Only an answer below 400 is kept: a
refusal left nothing behind, so the caller may put right what was wrong and use the key again. A claim whose
worker died is free again after LEASE; the client-made ids of the records then make the repetition harmless.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db import IntegrityError, transaction
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import salted_hmac

from jobs.access import Actor
from jobs.models.token import IdempotencyRecord
from portal.errors import RequestProblem

HEADER: Final = "Idempotency-Key"
REPLAY_HEADER: Final = "Idempotent-Replay"
# Longer than any request may take (the web server's own limit is 60 s), project default.
LEASE: Final = timedelta(seconds=120)
KEPT_HEADERS: Final = ("Location", "ETag", "Content-Type")
_GOOD_KEY: Final = re.compile(r"[\x21-\x7e]{1,200}")


@dataclass(frozen=True, slots=True)
class Claim:
    """A key that this request works under."""

    record_id: int
    started_at: datetime


@dataclass(frozen=True, slots=True)
class StoredAnswer:
    """The answer that was given the first time."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    def response(self) -> HttpResponse:
        headers = {**self.headers, REPLAY_HEADER: "true"}
        return HttpResponse(self.body, status=self.status, headers=headers)


class Replay(Exception):  # noqa: N818 - not an error: the answer is already there
    """Ends the request with the stored answer."""

    def __init__(self, answer: StoredAnswer) -> None:
        self.answer = answer
        super().__init__("replay")


def key_of(request: HttpRequest) -> str:
    """The key as sent.

    Raises:
        RequestProblem: ``idempotency_key_missing`` or ``idempotency_key_bad`` (printable ASCII, 1 to 200).
    """
    key = request.headers.get(HEADER)
    if not key:
        raise RequestProblem("idempotency_key_missing", "Send an Idempotency-Key, new for each new request.")
    if not _GOOD_KEY.fullmatch(key):
        raise RequestProblem("idempotency_key_bad", "A key has 1 to 200 printable ASCII characters.")
    return key


def fingerprint(request: HttpRequest) -> str:
    """A keyed SHA-256 over method, path with query, and body: what makes two requests the same one.

    Keyed, because bodies hold PINs: six digits could be guessed back from a plain hash.
    """
    digest = salted_hmac("portal.idempotency", b"", algorithm="sha256")
    for part in (str(request.method).encode(), request.get_full_path().encode(), request.body):
        digest.update(len(part).to_bytes(8, "big"))
        digest.update(part)
    return digest.hexdigest()


def begin(request: HttpRequest, actor: Actor, *, as_of: datetime) -> Claim:
    """Claims the key of this request for its caller.

    Raises:
        Replay: the same request was answered before.
        RequestProblem: ``idempotency_in_flight``, ``idempotency_key_reused``, and those of ``key_of``.
    """
    key = key_of(request)
    wanted = fingerprint(request)
    caller = caller_of(actor)
    try:
        with transaction.atomic():
            made = IdempotencyRecord.objects.create(
                organisation_id=actor.organisation_id,
                caller=caller,
                key=key,
                method=str(request.method),
                path=request.path[:300],
                request_sha256=wanted,
                started_at=as_of,
            )
    except IntegrityError:
        return _again(actor, caller=caller, key=key, wanted=wanted, as_of=as_of)
    return Claim(made.pk, as_of)


def _again(actor: Actor, *, caller: str, key: str, wanted: str, as_of: datetime) -> Claim:
    in_flight = RequestProblem("idempotency_in_flight", "The first request is still being worked on.")
    with transaction.atomic():
        found = (
            IdempotencyRecord.objects.select_for_update()
            .filter(organisation_id=actor.organisation_id, caller=caller, key=key)
            .first()
        )
        if found is None:
            # It was refused between our two looks: the caller may simply send again.
            raise in_flight
        if found.request_sha256 != wanted:
            raise RequestProblem("idempotency_key_reused", "Use a new key for a new request.")
        if found.status is not None:
            raise Replay(StoredAnswer(found.status, found.headers, bytes(found.body)))
        if as_of - found.started_at < LEASE:
            raise in_flight
        found.started_at = as_of
        found.save(update_fields=["started_at"])
    return Claim(found.pk, as_of)


def finish(claim: Claim, response: HttpResponse, *, as_of: datetime) -> None:
    """Keeps the answer if it is a success; otherwise the key is free again."""
    mine = IdempotencyRecord.objects.filter(pk=claim.record_id, started_at=claim.started_at)
    if response.status_code >= 400:
        mine.delete()
        return
    mine.update(
        status=response.status_code,
        headers={name: response.headers[name] for name in KEPT_HEADERS if name in response.headers},
        body=response.content,
        finished_at=as_of,
    )


def caller_of(actor: Actor) -> str:
    """Keys of different callers never meet: by token where there is one, otherwise by person."""
    return f"token:{actor.token.pk}" if actor.token is not None else f"person:{actor.person.pk}"
