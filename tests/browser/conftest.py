"""A real Chromium before a live server of this test run, over a played day of the invented world."""

import os
import shutil
from collections.abc import Iterator

import pytest
from django.contrib.staticfiles.handlers import StaticFilesHandler
from django.test.testcases import LiveServerThread
from playwright.sync_api import Browser, sync_playwright

from tests.portal.web.conftest import day
from tests.portal.web.played import PlayedDay
from tests.scenarios.stage import Stage
from tests.servers import missing

__all__ = ["day"]


@pytest.fixture
def _django_db_helper(django_db_setup: None, stage: Stage) -> None:
    """In place of the transaction around each test: the server writes through connections of its own."""


def _chromium() -> str | None:
    for name in ("chromium", "chromium-browser", "google-chrome"):
        found = shutil.which(name)
        if found:
            return found
    return None


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium without a window; where there is none the test is left out, or fails if that is demanded."""
    program = _chromium()
    if program is None:
        missing("Chromium")
        return
    # The driver runs a loop in this thread; the record is read from it all the same.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    try:
        with sync_playwright() as driver:
            opened = driver.chromium.launch(executable_path=program, args=["--no-sandbox"])
            yield opened
            opened.close()
    finally:
        os.environ.pop("DJANGO_ALLOW_ASYNC_UNSAFE", None)


@pytest.fixture(scope="module")
def stage(day: PlayedDay) -> Stage:
    return day.stage


@pytest.fixture(scope="module")
def site(day: PlayedDay) -> Iterator[str]:
    """Address of a server in threads of this process: it reads the same record and the same shifted clock."""
    server = LiveServerThread("127.0.0.1", StaticFilesHandler, connections_override={})
    server.daemon = True
    server.start()
    server.is_ready.wait()
    if server.error:
        raise server.error
    yield f"http://127.0.0.1:{server.port}"
    server.terminate()
