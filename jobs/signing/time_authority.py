"""Asking a time-stamping authority (RFC 3161) over HTTP: only the configured one, within time and size.

The address comes from the environment. It is still guarded: only http and https, only addresses that are
public or lie in networks named for it, no redirects, and the connection goes to the very address that was
looked at, so that a name which changes its answer in between gains nothing.
"""

import hashlib
import http.client
import ipaddress
import secrets
import socket
import ssl
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final
from urllib.parse import SplitResult, urlsplit

from asn1crypto import tsp
from django.conf import settings

from jobs.errors import Unavailable

MOST_REPLY_BYTES: Final = 64 << 10
LONGEST_NAME: Final = 253
PIECE_BYTES: Final = 4096
GRANTED: Final = ("granted", "granted_with_mods")

# RFC 3161 section 2.4.1: version 1 and the imprint of a SHA-256 digest; then nonce and certReq.
_VERSION: Final = bytes.fromhex("020101")
_IMPRINT: Final = bytes.fromhex("3031300d060960864801650304020105000420")
_WITH_CERTIFICATES: Final = bytes.fromhex("0101ff")


class TimeStampUnavailable(Unavailable):
    """No time stamp now: the authority is away, refuses, or answers with something else."""

    default_code = "time_stamp_unavailable"
    default_message = "The time-stamping authority does not answer."


@dataclass(frozen=True, slots=True, kw_only=True)
class Authority:
    """Where time stamps come from; ``networks`` are private ones that the address may lie in."""

    url: str
    timeout_s: float
    networks: tuple[str, ...] = ()


def authority() -> Authority | None:
    """The authority of the environment; None where none is configured."""
    if not settings.WM_TSA_URL:
        return None
    return Authority(
        url=settings.WM_TSA_URL,
        timeout_s=settings.WM_TSA_TIMEOUT_S,
        networks=tuple(settings.WM_TSA_NETWORKS),
    )


def request_bytes(digest: bytes, nonce: int | None = None) -> bytes:
    """A TimeStampReq for a SHA-256 digest that asks for the authority's certificate (RFC 3161, 2.4.1).

    Args:
        digest: 32 bytes.
        nonce: a number the answer must repeat; left out where None.
    """
    if len(digest) != 32:
        raise ValueError("a SHA-256 digest has 32 bytes")
    number = b""
    if nonce is not None:
        octets = nonce.to_bytes(nonce.bit_length() // 8 + 1, "big")
        number = b"\x02" + bytes([len(octets)]) + octets
    content = _VERSION + _IMPRINT + digest + number + _WITH_CERTIFICATES
    return b"\x30" + bytes([len(content)]) + content


def time_stamp(digest: bytes, source: Authority) -> bytes:
    """A time-stamp token (CMS, DER) over a SHA-256 digest, its imprint and nonce compared with the request.

    Whether its signature holds and whose it is, is for the caller to check.

    Raises:
        TimeStampUnavailable: no answer within the time, a refusal, or an answer to something else.
    """
    nonce = secrets.randbits(63)
    reply = _post(source, request_bytes(digest, nonce))
    try:
        answer = tsp.TimeStampResp.load(reply, strict=True)
        status = answer["status"]["status"].native
        if status not in GRANTED:
            raise TimeStampUnavailable(message=f"The time-stamping authority says: {status}.")
        token = answer["time_stamp_token"]
        told = token["content"]["encap_content_info"]["content"].parsed
        imprint = told["message_imprint"]
        same = (
            imprint["hash_algorithm"]["algorithm"].native == "sha256"
            and imprint["hashed_message"].native == digest
            and told["nonce"].native == nonce
        )
        der: bytes = token.dump()
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise TimeStampUnavailable(message="The answer is no time stamp.") from error
    if not same:
        raise TimeStampUnavailable(message="The time stamp answers another question.")
    return der


def digest_of(data: bytes) -> bytes:
    """SHA-256 as 32 bytes."""
    return hashlib.sha256(data).digest()


# ------------------------------------------------------------------ the connection


def _post(source: Authority, body: bytes) -> bytes:
    target = _target(source.url)
    deadline = time.monotonic() + source.timeout_s
    port = target.port or (443 if target.scheme == "https" else 80)
    host = target.hostname or ""
    address = _allowed_address(host, port, source.networks)
    try:
        with _connected(target, host, address, port, source.timeout_s) as connection:
            connection.request("POST", target.path or "/", body, _headers(target))
            return _answer(connection, deadline)
    except (OSError, http.client.HTTPException, ValueError) as error:
        raise TimeStampUnavailable(
            message=f"The time-stamping authority does not answer: {type(error).__name__}."
        ) from error


def _target(url: str) -> SplitResult:
    try:
        parts = urlsplit(url)
        _ = parts.port
    except ValueError as error:
        raise TimeStampUnavailable(message="The address of the authority cannot be read.") from error
    host = parts.hostname or ""
    if parts.scheme not in ("http", "https") or not host or len(host) > LONGEST_NAME or not host.isascii():
        raise TimeStampUnavailable(message="The address of the authority is neither http nor https.")
    if parts.username is not None or parts.password is not None or parts.fragment:
        raise TimeStampUnavailable(message="The address of the authority carries a name or a fragment.")
    return parts


def _headers(target: SplitResult) -> dict[str, str]:
    return {
        "Host": target.netloc,
        "Content-Type": "application/timestamp-query",
        "Accept": "application/timestamp-reply",
        "Connection": "close",
    }


def _allowed_address(host: str, port: int, networks: tuple[str, ...]) -> str:
    """One address of the host, after all of them were found to be public or in a named network.

    Raises:
        TimeStampUnavailable: the name has no address, or one of them is not allowed.
    """
    try:
        found = {str(entry[4][0]) for entry in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)}
    except (OSError, UnicodeError) as error:
        raise TimeStampUnavailable(message="The name of the authority has no address.") from error
    named = [ipaddress.ip_network(network) for network in networks]
    for text in found:
        address = ipaddress.ip_address(text.partition("%")[0])
        inner = getattr(address, "ipv4_mapped", None) or address
        is_named = any(inner in network for network in named if network.version == inner.version)
        if not is_named and (not inner.is_global or inner.is_multicast):
            raise TimeStampUnavailable(message="The address of the authority is not a public one.")
    return sorted(found)[0]


@contextmanager
def _connected(
    target: SplitResult, host: str, address: str, port: int, timeout_s: float
) -> Iterator[http.client.HTTPConnection]:
    """An HTTP connection over a socket to ``address``; for https the certificate must be the host's."""
    connection = http.client.HTTPConnection(host, port, timeout=timeout_s)
    sock = socket.create_connection((address, port), timeout=timeout_s)
    try:
        if target.scheme == "https":
            sock = ssl.create_default_context().wrap_socket(sock, server_hostname=host)
        connection.sock = sock
        yield connection
    finally:
        connection.close()
        sock.close()


def _answer(connection: http.client.HTTPConnection, deadline: float) -> bytes:
    """The reply, piece by piece: an answer that drips is given up when the time is over."""
    answer = connection.getresponse()
    media_type = (answer.getheader("Content-Type") or "").partition(";")[0].strip().lower()
    if answer.status != 200 or media_type != "application/timestamp-reply":
        raise TimeStampUnavailable(
            message=f"The time-stamping authority answers {answer.status} {media_type[:60]}."
        )
    data = b""
    while piece := answer.read1(PIECE_BYTES):
        data += piece
        if len(data) > MOST_REPLY_BYTES:
            raise TimeStampUnavailable(message="The time-stamping authority answers too much.")
        if time.monotonic() > deadline:
            raise TimeStampUnavailable(message="The time-stamping authority answers too slowly.")
    return data
