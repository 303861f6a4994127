"""Tokens of links stay out of every line: the program's own, exceptions, and the web server's two logs."""

import io
import logging
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client
from gunicorn.config import Config

from portal.log_lines import LinkFreeFormatter, LinkFreeLogger, without_links

# Of the length and letters of a real one; fixed, because names of tests are made from it.
TOKEN = "w1tness-mark_of-a-link_that-n0body-was-givn"


@pytest.mark.parametrize(
    ("line", "kept"),
    [
        (f"GET /s/{TOKEN} HTTP/1.1", "GET /s/[link] HTTP/1.1"),
        (f"/s/{TOKEN}/packets/7/copy?x=1", "/s/[link]/packets/7/copy?x=1"),
        (f'"https://host.example/s/{TOKEN}"', '"https://host.example/s/[link]"'),
        (f"next=%2Fs%2F{TOKEN}&y", "next=%2Fs%2F[link]&y"),
        (f"two /s/{TOKEN} and /s/abc", "two /s/[link] and /s/[link]"),
        ("/static/s.css /samples/new /jobs/s", "/static/s.css /samples/new /jobs/s"),
    ],
)
def test_what_is_left_out(line: str, kept: str) -> None:
    assert without_links(line) == kept


@pytest.mark.django_db
def test_the_programs_own_lines(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    written = io.StringIO()
    ours = [item for item in logging.getLogger().handlers if isinstance(item.formatter, LinkFreeFormatter)]
    assert ours
    for handler in ours:
        monkeypatch.setattr(handler, "stream", written)
    assert client.get(f"/s/{TOKEN}").status_code == 404
    assert client.get(f"/s/{TOKEN}/nowhere").status_code == 404
    try:
        raise ValueError(f"no page at /s/{TOKEN}")
    except ValueError:
        logging.getLogger("portal").exception("failed at /s/%s", TOKEN)
    told = written.getvalue()
    for line in ("Not Found: /s/[link]", "/s/[link]/nowhere", "failed at /s/[link]", "no page at /s/[link]"):
        assert line in told
    assert TOKEN not in told


def test_the_web_servers_lines() -> None:
    config = Config()
    config.set("accesslog", "-")
    config.set("errorlog", "-")
    logger = LinkFreeLogger(config)
    written = io.StringIO()
    for log in (logger.access_log, logger.error_log):
        for handler in log.handlers:
            handler.setStream(written)
    request = SimpleNamespace(headers=[("REFERER", f"http://h/s/{TOKEN}")])
    answer = SimpleNamespace(status="200 OK", sent=5, headers=[])
    environ: dict[str, Any] = {
        "REQUEST_METHOD": "GET", "RAW_URI": f"/s/{TOKEN}", "SERVER_PROTOCOL": "HTTP/1.1",
        "REMOTE_ADDR": "203.0.113.9", "HTTP_REFERER": f"http://h/s/{TOKEN}", "HTTP_USER_AGENT": "A",
    }  # fmt: skip
    logger.access(answer, request, environ, timedelta(seconds=1))
    logger.error("Error handling request %s", f"/s/{TOKEN}")
    told = written.getvalue()
    assert "GET /s/[link] HTTP/1.1" in told
    assert "Error handling request /s/[link]" in told
    assert TOKEN not in told
