"""Every page in a real browser: nothing overflows or is refused by the policy, keys reach what matters."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Final

import pytest
from django.template.loader import render_to_string
from playwright.sync_api import Browser, BrowserContext, Page, expect

from jobs.demo import evidence
from jobs.demo.world import PASS_PHRASE
from jobs.models import Evidence, unscoped
from rules.advice.target import advice_for
from rules.explain import ContradictionText
from tests.portal.web.played import PlayedDay
from tests.rules.advice.test_target import at
from tests.scenarios.stage import work_off

pytestmark = [pytest.mark.django_db, pytest.mark.slow]

TABLET: Final = (1180, 820)
DESK: Final = (1440, 900)
# WCAG 2.2, 1.4.10: at 320 CSS pixels nothing needs to be scrolled sideways.
SIZES: Final = (TABLET, DESK, (820, 1180), (320, 640))
LOOKS: Final = ("light", "dark", "sunlight")
# Target sizes in CSS pixels: a gloved hand (project default), and WCAG 2.2, 2.5.8.
TABLET_LEAST: Final = 56
DESK_LEAST: Final = 24


@dataclass
class Reader:
    """One signed-in person's browser; ``faults`` collects what the console and the policy complain about."""

    context: BrowserContext
    page: Page
    site: str
    faults: list[str] = field(default_factory=list)

    def open(self, path: str, *, size: tuple[int, int] = TABLET, look: str = "light") -> Page:
        self.page.set_viewport_size({"width": size[0], "height": size[1]})
        self.context.add_cookies([{"name": "look", "value": look, "url": self.site}])
        self.page.goto(self.site + path)
        return self.page


@pytest.fixture
def reader(browser: Browser, site: str) -> Iterator[Callable[[str], Reader]]:
    opened: list[BrowserContext] = []

    def sign_in(login: str) -> Reader:
        context = browser.new_context()
        opened.append(context)
        page = context.new_page()
        found = Reader(context, page, site)
        page.on("console", lambda told: found.faults.append(told.text) if told.type == "error" else None)
        page.on("pageerror", lambda error: found.faults.append(str(error)))
        page.add_init_script(
            "addEventListener('securitypolicyviolation', e => console.error('policy', e.violatedDirective))"
        )
        page.goto(f"{site}/sign-in")
        page.fill("#id_username", login)
        page.fill("#id_password", PASS_PHRASE)
        page.keyboard.press("Enter")
        page.wait_for_url(re.compile(r"/(cars|board|packets)$"))
        return found

    yield sign_in
    for context in opened:
        context.close()


def pages_of(day: PlayedDay) -> dict[str, tuple[str, str]]:
    """Name, who opens it and where it is."""
    return {
        "cars": ("itolvaar", "/cars"),
        "open car": ("itolvaar", f"/cars/{day.waiting.job}"),
        "finished car": ("itolvaar", f"/cars/{day.gone.job}"),
        "board": ("pvantongeren", "/board"),
        "held gate": ("tachterly", f"/gate/{day.waiting.job}"),
        "gate of a car that left": ("tachterly", f"/gate/{day.gone.job}"),
        "packets": ("jquell", "/packets"),
        "packet": ("jquell", f"/packets/{day.packet.id}"),
    }


NAMES: Final = (
    "cars",
    "open car",
    "finished car",
    "board",
    "held gate",
    "gate of a car that left",
    "packets",
    "packet",
)
ON_TABLET: Final = ("cars", "open car", "finished car")
OVERFLOW: Final = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
# Links inside sentences are measured by the line they stand in, not by this rule (WCAG 2.2, 2.5.8, inline).
SMALL: Final = """least => [...document.querySelectorAll(
    'a[href], button, input:not([type=hidden]), select, summary')]
  .filter(item => item.checkVisibility() && !item.closest('.skip, td, p') && !item.matches('.skip'))
  .map(item => [item.getBoundingClientRect().height, item.textContent.trim().slice(0, 40)])
  .filter(([height]) => height < least - 0.01)"""


@pytest.mark.parametrize("name", NAMES)
def test_no_page_overflows_or_complains(name: str, day: PlayedDay, reader: Callable[[str], Reader]) -> None:
    login, path = pages_of(day)[name]
    person = reader(login)
    for size in SIZES:
        for look in LOOKS:
            page = person.open(path, size=size, look=look)
            assert page.evaluate(OVERFLOW) <= 0, (size, look)
            assert page.locator("html").get_attribute("data-theme") == look
    assert person.faults == []


@pytest.mark.parametrize("name", NAMES)
def test_controls_are_large_enough(name: str, day: PlayedDay, reader: Callable[[str], Reader]) -> None:
    login, path = pages_of(day)[name]
    tablet = name in ON_TABLET
    page = reader(login).open(path, size=TABLET if tablet else DESK)
    least = TABLET_LEAST if tablet else DESK_LEAST
    assert page.evaluate(SMALL, least) == []
    for sheet in page.locator(".sheet").all():
        page.goto(f"{page.url.split('#')[0]}#{sheet.get_attribute('id')}")
        assert page.evaluate(SMALL, least) == []
        assert page.evaluate(OVERFLOW) <= 0


@pytest.mark.parametrize("name", NAMES)
def test_the_main_actions_are_reached_by_keyboard(
    name: str, day: PlayedDay, reader: Callable[[str], Reader]
) -> None:
    login, path = pages_of(day)[name]
    page = reader(login).open(path, size=DESK)
    wanted = page.evaluate(
        "[...document.querySelectorAll('main a[href], main button, .foot a, .deskfoot a, main summary')]"
        ".filter(item => item.checkVisibility()).length"
    )
    seen: set[str] = set()
    for _ in range(wanted + 20):
        page.keyboard.press("Tab")
        told = page.evaluate(
            "() => { const a = document.activeElement; if (!a || a === document.body) return '';"
            "const inside = a.closest('main, .foot, .deskfoot') !== null && a.matches('a, button, summary');"
            "const all = [...document.querySelectorAll('a, button, summary')];"
            "return inside ? String(all.indexOf(a)) : ''; }"
        )
        seen |= {told} - {""}
    assert len(seen) >= wanted


OPEN_ALL: Final = "document.querySelectorAll('details').forEach(item => { item.open = true; })"


@pytest.mark.parametrize("name", ["open car", "finished car", "held gate", "gate of a car that left"])
def test_nothing_overflows_with_every_part_opened(
    name: str, day: PlayedDay, reader: Callable[[str], Reader]
) -> None:
    login, path = pages_of(day)[name]
    person = reader(login)
    for size in SIZES:
        page = person.open(path, size=size)
        page.evaluate(OPEN_ALL)
        assert page.evaluate(OVERFLOW) <= 0, size
    assert person.faults == []


def test_the_time_line_is_printed_though_it_is_shut(day: PlayedDay, reader: Callable[[str], Reader]) -> None:
    page = reader("tachterly").open(f"/gate/{day.gone.job}", size=DESK)
    cell = page.locator("#times td", has_text="Setting of the glass")
    expect(cell).to_be_hidden()
    assert page.evaluate(SHOWN, "#times td") is False
    page.emulate_media(media="print")
    page.wait_for_function(SHOWN, arg="#times td", timeout=5000)
    page.emulate_media(media="screen")
    page.locator("#times summary").click()
    expect(cell).to_be_visible()


SHOWN: Final = "what => document.querySelector(what).checkVisibility({contentVisibilityAuto: true})"


@pytest.mark.parametrize("look", LOOKS)
def test_boxes_of_advice_and_contradiction_fit_every_size(
    look: str, day: PlayedDay, reader: Callable[[str], Reader]
) -> None:
    """The played day has neither: both boxes are put into a page of it."""
    claim = (
        "the setting of the glass was not after 20 May 2026, 08:40:00 UTC-05:00 (13:40:00 UTC) by the clock"
    )
    contrary = ContradictionText(
        sentence="", lead="The two claims cannot all be true.", claims=(claim, claim)
    )
    advice = {"procedure": "Forward camera, standing still (Corran)", "advice": advice_for(at(aside=7.4))}
    shown = {"page": {"targets": [advice], "contradictions": [contrary]}}
    boxes = "".join(render_to_string(f"parts/{part}.html", shown) for part in ("targets", "contradictions"))
    person = reader("tachterly")
    for size in SIZES:
        page = person.open(f"/gate/{day.waiting.job}", size=size, look=look)
        page.evaluate("text => document.querySelector('main').insertAdjacentHTML('afterbegin', text)", boxes)
        expect(page.locator(".advice .action")).to_contain_text("move the stand 7.4 mm")
        expect(page.locator(".claims li")).to_have_count(2)
        assert page.evaluate(OVERFLOW) <= 0, size
    assert person.faults == []


def test_focus_is_seen(day: PlayedDay, reader: Callable[[str], Reader]) -> None:
    page = reader("itolvaar").open(f"/cars/{day.waiting.job}")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    width = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
    assert float(width.removesuffix("px")) >= 4


def test_what_has_the_focus_is_not_hidden_by_the_foot_bar(
    day: PlayedDay, reader: Callable[[str], Reader]
) -> None:
    """WCAG 2.2, 2.4.11."""
    page = reader("itolvaar").open(f"/cars/{day.waiting.job}")
    foot = page.locator(".foot").bounding_box()
    assert foot is not None
    for _ in range(40):
        page.keyboard.press("Tab")
        hidden = page.evaluate(
            "top => { const a = document.activeElement; const box = a.getBoundingClientRect();"
            "return a.closest('main') !== null && box.bottom > top + 0.5 ? a.textContent : ''; }",
            foot["y"],
        )
        assert hidden == ""


def test_a_sheet_takes_the_focus_and_gives_it_back(day: PlayedDay, reader: Callable[[str], Reader]) -> None:
    page = reader("itolvaar").open(f"/cars/{day.waiting.job}")
    link = page.locator(".foot a", has_text="Sign the work")
    link.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#sign-role")).to_be_focused()
    page.wait_for_timeout(300)
    assert page.evaluate("scrollY") == 0, "the page behind stays where it was"
    page.keyboard.press("Escape")
    expect(page.locator("#sign")).to_be_hidden()
    expect(link).to_be_focused()


def test_a_photo_from_the_camera_gives_a_new_judgement(
    day: PlayedDay, reader: Callable[[str], Reader]
) -> None:
    with unscoped():
        before = Evidence.objects.filter(job_id=day.waiting.job).count()
    person = reader("itolvaar")
    page = person.open(f"/cars/{day.waiting.job}")
    page.locator(".foot a", has_text="Photo").click()
    field = page.locator("#photo-file")
    assert field.get_attribute("capture") == "environment"
    assert page.locator("#photo-shows").input_value() == "dash_lamps_after"
    # The camera's clock is this machine's, months off the played day: the page compares it with the server's.
    taken_at = datetime.now(tz=UTC)
    data = evidence.photo("dash_lamps_after", taken_at=taken_at, lat=43.1, lon=-98.2, job="EM-2026-0418")
    page.select_option("#photo-device", label="tablet-em-2, this device")
    page.wait_for_function("document.querySelector('[data-clock=ticket]').value !== ''")
    field.set_input_files({"name": "IMG_0001.jpg", "mimeType": "image/jpeg", "buffer": data})
    page.get_by_role("button", name="Keep this photo").click()
    expect(page.get_by_role("status").filter(has_text=f"Evidence {before + 1} kept")).to_be_visible()
    old = page.locator("[data-refresh]").get_attribute("data-state")
    work_off()
    # The page asks for itself and shows the new judgement without anybody touching it.
    expect(page.locator("[data-refresh]")).not_to_have_attribute("data-state", str(old), timeout=15_000)
    expect(page.locator("#proof-CP-EVERY-photos")).to_have_class("proof met")
    assert person.faults == []


def test_typing_is_not_lost_when_a_new_judgement_arrives(
    day: PlayedDay, reader: Callable[[str], Reader]
) -> None:
    page = reader("itolvaar").open(f"/cars/{day.waiting.job}")
    page.locator(".foot a", has_text="Sign the work").click()
    page.fill("#sign-pin", "4172")
    tablet = day.stage.tablet("itolvaar")
    day.waiting.record(tablet, "lamp-records", "while-typing", states={"lane_symbol": "outline_only"})
    work_off()
    note = page.locator("[data-fresh]")
    expect(note).to_be_visible(timeout=15_000)
    assert page.locator("#sign-pin").input_value() == "4172"
    page.locator("#sign-pin").fill("")
    note.get_by_role("link", name="Show them").click()
    expect(page.locator("[data-fresh]")).to_be_hidden()


def test_no_signal_is_said_and_nothing_is_taken_away(day: PlayedDay, reader: Callable[[str], Reader]) -> None:
    person = reader("itolvaar")
    page = person.open(f"/cars/{day.waiting.job}")
    page.locator(".foot a", has_text="Sign the work").click()
    page.fill("#sign-pin", "4172")
    person.context.set_offline(True)
    expect(page.locator("[data-refresh]")).to_contain_text("No signal", timeout=15_000)
    assert page.locator("#sign-pin").input_value() == "4172"
    person.context.set_offline(False)
    expect(page.locator("[data-refresh]")).not_to_contain_text("No signal", timeout=15_000)


def test_the_auditor_takes_a_packet_with_one_press(day: PlayedDay, reader: Callable[[str], Reader]) -> None:
    page = reader("jquell").open(f"/packets/{day.packet.id}", size=DESK)
    with page.expect_download() as taken:
        page.get_by_role("button", name="Download packet").click()
    assert taken.value.suggested_filename == f"{day.packet.state['serial'].replace('/', '-')}.pdf"


def test_without_a_script_the_sheets_open_all_the_same(browser: Browser, site: str, day: PlayedDay) -> None:
    context: Any = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{site}/sign-in")
    page.fill("#id_username", "itolvaar")
    page.fill("#id_password", PASS_PHRASE)
    page.click("form.stack button")
    page.goto(f"{site}/cars/{day.waiting.job}")
    page.locator(".foot a", has_text="Photo").click()
    expect(page.locator("#photo-file")).to_be_visible()
    page.locator("#photo header a").click()
    expect(page.locator("#photo-file")).to_be_hidden()
    context.close()
