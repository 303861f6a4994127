"""Digest fields and raw bodies below the level of a request."""

import hashlib
import io

import pytest
from django.http import HttpRequest

from portal.errors import RequestProblem
from portal.parsers import PIECE_BYTES, BodyStream, stated_sha256


@pytest.mark.parametrize(
    ("field", "content"),
    [
        # RFC 9530, section 2 and appendix B: the representation with and without the final line feed.
        ("sha-256=:X48E9qOokqqrvdts8nOJRJN3OWDUoyWxBf7kbu9DBPE=:", b'{"hello": "world"}'),
        ("sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:", b'{"hello": "world"}\n'),
        ("sha-512=:AA==:, sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:", b'{"hello": "world"}\n'),
        (
            " \tsha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:;q=1 , md5=:AA==:",
            b'{"hello": "world"}\n',
        ),
    ],
)
def test_digests_as_published(field: str, content: bytes) -> None:
    assert stated_sha256(field) == hashlib.sha256(content).hexdigest()


@pytest.mark.parametrize(
    ("field", "code"),
    [
        (None, "digest_missing"),
        ("", "digest_missing"),
        ("sha-512=:AA==:", "digest_missing"),
        ("sha-256", "digest_bad"),
        ("sha-256=RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=", "digest_bad"),
        ("sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP_lF5HF9bvEF8FabDg=:", "digest_bad"),
        ("sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabD:", "digest_bad"),
        ("sha-256=:AAAA:", "digest_bad"),
        # Two that differ: nobody can tell which is meant.
        (
            "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:, "
            "sha-256=:X48E9qOokqqrvdts8nOJRJN3OWDUoyWxBf7kbu9DBPE=:",
            "digest_bad",
        ),
    ],
)
def test_digests_that_cannot_be_read(field: str | None, code: str) -> None:
    with pytest.raises(RequestProblem) as refused:
        stated_sha256(field)
    assert refused.value.problem.code == code


def _request(data: bytes, content_length: str) -> HttpRequest:
    request = HttpRequest()
    request.META["CONTENT_LENGTH"] = content_length
    # What the web server's handler sets when it takes a request in.
    request.__dict__.update(_stream=io.BytesIO(data), _read_started=False)
    return request


def _all(stream: BodyStream) -> bytes:
    pieces = []
    while piece := stream.read():
        assert len(piece) <= PIECE_BYTES
        pieces.append(piece)
    return b"".join(pieces)


def test_a_body_is_read_in_pieces() -> None:
    data = bytes(range(256)) * 10_000
    assert _all(BodyStream(_request(data, str(len(data))), len(data))) == data


@pytest.mark.parametrize(
    ("length", "stated", "limit", "code"),
    [
        # Without a stated length the bytes themselves are counted.
        (11, "", 10, "body_too_large"),
        (11, "11", 10, "body_too_large"),
        (9, "10", 20, "body_cut_short"),
        (5, "-1", 20, "bad_request"),
        (5, "five", 20, "bad_request"),
        (5, "9" * 19, 20, "bad_request"),
    ],
)
def test_bodies_that_are_refused(length: int, stated: str, limit: int, code: str) -> None:
    with pytest.raises(RequestProblem) as refused:
        _all(BodyStream(_request(b"x" * length, stated), limit))
    assert refused.value.problem.code == code
