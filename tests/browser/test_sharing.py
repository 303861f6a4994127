"""Links, the reader, who has access and samples in a real browser: policy, keys, sizes, print, downloads."""

import re
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import pypdf
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Request, expect

from jobs.access import actor_for_person, get_packet_for
from jobs.demo.world import world_id
from jobs.models import AccessGrant, CopyTransfer, Person, scope, unscoped
from jobs.moment import now
from jobs.services.sharing import LinkEntry, share_by_link
from tests.browser.test_pages import DESK, DESK_LEAST, LOOKS, OVERFLOW, SIZES, SMALL, Reader, reader
from tests.portal.web.played import PlayedDay

__all__ = ["reader"]

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
PHRASE: Final = "three brass gauges"


class Stranger:
    """A browser in which nobody ever signed in; it notes every request and every complaint."""

    def __init__(self, context: BrowserContext, site: str) -> None:
        self.context, self.site = context, site
        self.page: Page = context.new_page()
        self.requests: list[Request] = []
        self.faults: list[str] = []
        # A built-in method cannot be handed over: the driver wants to mark what it is given.
        self.page.on("request", lambda request: self.requests.append(request))  # noqa: PLW0108
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("console", lambda told: self.faults.append(told.text) if told.type == "error" else None)
        self.page.add_init_script(
            "addEventListener('securitypolicyviolation', e => console.error('policy', e.violatedDirective))"
        )

    def open(self, path: str, *, size: tuple[int, int] = DESK, look: str = "light") -> Page:
        self.page.set_viewport_size({"width": size[0], "height": size[1]})
        self.context.add_cookies([{"name": "look", "value": look, "url": self.site}])
        self.page.goto(self.site + path)
        return self.page


@pytest.fixture
def stranger(browser: Browser, site: str) -> Iterator[Stranger]:
    context = browser.new_context()
    yield Stranger(context, site)
    context.close()


def link(day: PlayedDay, **fields: Any) -> str:
    """The path of a fresh link to the played packet."""
    with unscoped():
        person = Person.objects.select_related("organisation").get(pk=world_id("person", "tachterly"))
    actor = actor_for_person(person, as_of=now())
    packet = get_packet_for(actor, day.packet.id, as_of=now())
    given: dict[str, Any] = {
        "id": uuid.uuid4(), "to_name": "Hanne Brook", "to_company": "Brook & Vane",
        "purpose": "insurer_audit",
    } | fields  # fmt: skip
    with scope(actor.organisation_id):
        _, text = share_by_link(packets=(packet,), actor=actor, as_of=now(), entry=LinkEntry(**given))
    return f"/s/{text}"


def test_from_the_pass_phrase_to_the_evidence_by_keyboard(day: PlayedDay, stranger: Stranger) -> None:
    path = link(day, passphrase=PHRASE)
    page = stranger.open(path)
    expect(page.locator("#passphrase")).to_be_focused()
    page.keyboard.type("wrong one")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("4 more tries")
    # The refusal is an answer like any other; the console tells of its status.
    stranger.faults.clear()
    page.keyboard.type(PHRASE)
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_contain_text("1 sealed packet")
    page.get_by_role("link", name="Read it here").press("Enter")
    expect(page.locator(".integrity h1")).to_contain_text("Nothing has changed since it was sealed")
    claim = page.locator(".claimlist li", has=page.locator("a[href^='#evidence-']")).first
    to_evidence = claim.locator("a[href^='#evidence-']").first
    target = str(to_evidence.get_attribute("href"))
    to_evidence.press("Enter")
    expect(page.locator(target)).to_be_in_viewport()
    computation = page.locator(".claimlist a[href^='#sheet-']").first
    sheet = str(computation.get_attribute("href"))
    computation.press("Enter")
    expect(page.locator(f"[id='{sheet[1:]}']")).to_be_in_viewport()
    assert stranger.faults == []


def test_photos_are_seen_and_nothing_tells_where_they_were_seen(day: PlayedDay, stranger: Stranger) -> None:
    path = link(day)
    page = stranger.open(f"{path}/packets/{day.packet.id}")
    picture = page.locator(".evidencelist img").first
    picture.scroll_into_view_if_needed()
    page.wait_for_function("() => document.querySelector('.evidencelist img').naturalWidth > 0")
    assert stranger.requests
    for request in stranger.requests:
        assert request.url.startswith(stranger.site)
        # A font is asked for by the style sheet, which may say its own address; the page says none.
        assert "/s/" not in request.headers.get("referer", ""), request.url
    assert stranger.faults == []
    cookies = {str(item.get("name")) for item in stranger.context.cookies()}
    assert cookies == {"look"}


def test_the_button_downloads_a_copy_that_names_its_reader(
    day: PlayedDay, stranger: Stranger, tmp_path: Path
) -> None:
    page = stranger.open(link(day, max_downloads=1))
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Download packet").click()
    file = tmp_path / "packet.pdf"
    waiting.value.save_as(file)
    assert waiting.value.suggested_filename == f"{day.packet.state['serial'].replace('/', '-')}.pdf"
    words = " ".join(pypdf.PdfReader(file).pages[0].extract_text().split())
    assert "link for Hanne Brook at Brook & Vane" in words
    with unscoped():
        grant = AccessGrant.objects.exclude(link=None).order_by("granted_at").last()
        assert grant is not None
        sent = list(CopyTransfer.objects.filter(download__grant=grant))
    assert grant.downloads == 1
    assert any(row.complete for row in sent)
    page.reload()
    expect(page.locator(".takes")).to_contain_text("used up")


@pytest.mark.parametrize("below", ["", "/packets/{packet}"])
def test_no_page_of_a_link_overflows_or_complains(below: str, day: PlayedDay, stranger: Stranger) -> None:
    path = link(day) + below.format(packet=day.packet.id)
    for size in SIZES:
        for look in LOOKS:
            page = stranger.open(path, size=size, look=look)
            assert page.evaluate(OVERFLOW) <= 0, (size, look)
            assert page.locator("html").get_attribute("data-theme") == look
    assert page.evaluate(SMALL, DESK_LEAST) == []
    assert stranger.faults == []


def test_a_closed_link_is_a_plain_page(day: PlayedDay, stranger: Stranger) -> None:
    page = stranger.open(f"/s/{'x' * 43}")
    expect(page.get_by_role("alert")).to_contain_text("There is no such link")
    assert page.evaluate(OVERFLOW) <= 0


def test_the_reader_prints_its_claims_without_its_furniture(day: PlayedDay, stranger: Stranger) -> None:
    page = stranger.open(f"{link(day)}/packets/{day.packet.id}")
    page.emulate_media(media="print")
    expect(page.locator(".contents")).to_be_hidden()
    expect(page.locator(".integrity .actions")).to_be_hidden()
    expect(page.locator("#claims-head")).to_be_visible()
    expect(page.locator(".printhead")).to_contain_text("link for Hanne Brook at Brook & Vane")
    plate = page.locator("#statement")
    assert plate.evaluate("item => getComputedStyle(item).backgroundColor") == "rgb(255, 255, 255)"


def test_a_manager_makes_a_link_and_shuts_it(
    day: PlayedDay, reader: Callable[[str], Reader], stranger: Stranger
) -> None:
    manager = reader("tachterly")
    page = manager.open(f"/gate/{day.gone.job}/access", size=DESK)
    page.fill("#to-name", "Lena Moor")
    page.fill("#to-company", "Moor Claims")
    page.get_by_role("button", name="Make the link").click()
    address = page.locator("[data-address]").inner_text().strip()
    assert re.fullmatch(rf"{re.escape(manager.site)}/s/[A-Za-z0-9_-]{{43}}", address)
    assert address in page.locator("#mail").input_value()
    opened = stranger.open(address.removeprefix(stranger.site))
    expect(opened.locator("h1")).to_contain_text("1 sealed packet")
    page.goto(f"{manager.site}/gate/{day.gone.job}/access")
    assert address.rpartition("/")[2] not in page.content()
    row = page.locator("tr", has_text="Lena Moor")
    expect(row).to_contain_text("open")
    row.get_by_role("button", name="Shut the link").click()
    expect(page.locator("tr", has_text="Lena Moor")).to_contain_text("taken back")
    stranger.open(address.removeprefix(stranger.site))
    expect(opened.get_by_role("alert")).to_contain_text("There is no such link")
    assert manager.faults == []


def test_a_sample_is_opened_and_drawn(day: PlayedDay, reader: Callable[[str], Reader]) -> None:
    auditor = reader("jquell")
    page = auditor.open("/samples?lot=400&one_in=20&confidence=0.95", size=DESK)
    expect(page.locator("h1")).to_contain_text("look at 55 of 400")
    page.fill("#from-on", "2026-05-05")
    page.fill("#to-on", "2026-05-05")
    page.get_by_role("button", name="Commit a seed").click()
    expect(page.locator("h1")).to_contain_text("look at 1 of 1")
    assert page.get_by_text("with the draw").is_visible()
    page.fill("#word", "lantern")
    page.get_by_role("button", name="Draw 1 of 1").click()
    expect(page.locator("#drawn")).to_be_visible()
    page.get_by_role("link", name=day.packet.state["serial"]).click()
    expect(page.locator(".integrity h1")).to_contain_text("Nothing has changed")
    assert auditor.faults == []


@pytest.mark.parametrize(
    ("login", "path"),
    [
        ("jquell", "/samples"),
        ("tachterly", "/samples"),
        ("tachterly", "/gate/{job}/access"),
        ("jquell", "/packets/{packet}"),
    ],
)
def test_pages_of_access_and_samples_fit(
    login: str, path: str, day: PlayedDay, reader: Callable[[str], Reader]
) -> None:
    person = reader(login)
    address = path.format(job=day.gone.job, packet=day.packet.id)
    for size in SIZES:
        for look in LOOKS:
            page = person.open(address, size=size, look=look)
            page.evaluate("document.querySelectorAll('details').forEach(item => { item.open = true; })")
            assert page.evaluate(OVERFLOW) <= 0, (size, look)
    page = person.open(address, size=DESK)
    assert page.evaluate(SMALL, DESK_LEAST) == []
    assert person.faults == []
