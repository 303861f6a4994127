"""Which bytes a Range header asks for (RFC 9110 section 14), and whose address is believed behind proxies."""

import pytest
from django.http import HttpRequest
from django.test import RequestFactory

from portal.addresses import client_ip
from portal.ranges import Wanted, wanted_bytes

SIZE = 10_000
ETAG = '"abc"'


def request(**headers: str) -> HttpRequest:
    return RequestFactory().get("/", headers={name.replace("_", "-"): text for name, text in headers.items()})


@pytest.mark.parametrize(
    ("header", "first", "end"),
    [
        # The examples of RFC 9110, 14.1.2, for a representation of 10000 bytes.
        ("bytes=0-499", 0, 500),
        ("bytes=500-999", 500, 1000),
        ("bytes=-500", 9500, 10_000),
        ("bytes=9500-", 9500, 10_000),
        # Limits: the last byte, past the end, more than there is, the whole.
        ("bytes=9999-", 9999, 10_000),
        ("bytes=0-20000", 0, 10_000),
        ("bytes=-20000", 0, 10_000),
        # What does not count gives the whole: other units, several at once, backwards, nonsense.
        ("lines=0-5", 0, 10_000),
        ("bytes=0-0,-1", 0, 10_000),
        ("bytes=500-499", 0, 10_000),
        ("bytes=-", 0, 10_000),
        ("bytes=a-b", 0, 10_000),
        ("", 0, 10_000),
    ],
)
def test_which_bytes(header: str, first: int, end: int) -> None:
    found = wanted_bytes(request(Range=header), etag=ETAG, size=SIZE)
    assert found == Wanted(first, end, SIZE)
    assert found.is_part == ((first, end) != (0, SIZE))


@pytest.mark.parametrize("header", ["bytes=10000-", "bytes=20000-30000", "bytes=-0"])
def test_what_lies_outside(header: str) -> None:
    assert wanted_bytes(request(Range=header), etag=ETAG, size=SIZE) is None


def test_a_range_of_another_file_gives_the_whole() -> None:
    same = request(Range="bytes=5-", If_Range=ETAG)
    other = request(Range="bytes=5-", If_Range='"abd"')
    weak = request(Range="bytes=5-", If_Range=f"W/{ETAG}")
    dated = request(Range="bytes=5-", If_Range="Tue, 05 May 2026 12:00:00 GMT")
    firsts = [wanted_bytes(item, etag=ETAG, size=SIZE) for item in (same, other, weak, dated)]
    assert [found.first if found else None for found in firsts] == [5, 0, 0, 0]


@pytest.mark.parametrize(
    ("proxies", "forwarded", "address"),
    [
        # Without a proxy the header is anybody's writing.
        (0, "198.51.100.1", "127.0.0.1"),
        (1, "198.51.100.1", "198.51.100.1"),
        (1, "10.9.9.9, 198.51.100.1", "198.51.100.1"),
        (2, "10.9.9.9, 198.51.100.1, 192.0.2.7", "198.51.100.1"),
        (2, "198.51.100.1", ""),
        (1, "", ""),
        (1, "nobody", ""),
        (1, "2001:DB8::1", "2001:db8::1"),
    ],
)
def test_whose_address(proxies: int, forwarded: str, address: str) -> None:
    sent = request(X_Forwarded_For=forwarded) if forwarded else request()
    assert client_ip(sent, proxies) == address
