"""The time line as a page: who may see it, the drawing, orders and clocks in words; packets as granted."""

import re
from types import SimpleNamespace

import pytest
from django.test import Client

from tests.portal.intake import OpenJob
from tests.portal.web.played import PlayedDay, client_of
from tests.portal.web.reading import text_of

pytestmark = pytest.mark.django_db


def test_a_job_with_little_on_record_has_a_page_and_strangers_have_none(
    manager: Client, worker: Client, elsewhere: Client, judged: OpenJob
) -> None:
    page = manager.get(f"/gate/{judged.job}/times")
    assert page.status_code == 200
    assert "Who says when" in text_of(page)
    assert worker.get(f"/gate/{judged.job}/times").status_code == 403
    assert elsewhere.get(f"/gate/{judged.job}/times").status_code == 404
    assert Client().get(f"/gate/{judged.job}/times").status_code in (302, 401)


@pytest.mark.slow
def test_drawing_orders_clocks_and_table_say_the_same(day: PlayedDay) -> None:
    page = client_of("tachterly").get(f"/gate/{day.gone.job}/times")
    words = text_of(page)
    markup = page.content.decode()
    assert re.search(r"\d+ orders are shown\.", words)
    assert "All times on record can be true together." in words
    assert "first operation" in words
    svg = markup[markup.index("<svg viewBox") : markup.index("</figure>")]
    assert 'role="img"' in svg
    assert "portal server" in svg
    # Colours come from the page's own names, so that light, dark and print each have theirs.
    assert "var(--ink)" in svg
    assert "#" not in re.sub(r"&#\w+;", "", svg)
    # No device is called by the beginning of its id.
    assert not re.search(r"device [0-9a-f]{8}", words)


@pytest.mark.slow
def test_a_packet_shows_its_times_to_whom_they_are_granted(
    day: PlayedDay, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = f"/packets/{day.packet.id}/times"
    auditor = client_of("jquell")
    page = auditor.get(address)
    assert page.status_code == 200
    assert "As sealed; nothing later is in it." in text_of(page)
    assert client_of("itolvaar").get(address).status_code == 403
    # A grant of parts opens the time line only where it is one of them; grants cannot be changed afterwards.
    for sections, status in ((["evidence"], 404), (["evidence", "time_line"], 200)):
        limited = SimpleNamespace(sections=sections)
        monkeypatch.setattr("portal.web.time_line.grant_of_packet", lambda *_, given=limited, **__: given)
        assert auditor.get(address).status_code == status
