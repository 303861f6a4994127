"""Regions drawn on a picture in a real browser, by mouse and by keys, are painted over in the new packet."""

import io
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pikepdf
import pytest
from django.db import connection
from playwright.sync_api import Locator, Page, expect

from jobs import storage
from jobs.models import Packet, unscoped
from tests.browser.test_pages import DESK, Reader, reader
from tests.portal.web.played import PlayedDay
from tests.scenarios.stage import work_off

__all__ = ["reader"]

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
DARK = 40
# Left, top, width, height in percent.
DRAWN, TYPED = (20, 30, 25, 25), (50, 10, 45, 50)


def drag(page: Page, canvas: Locator, start: tuple[float, float], end: tuple[float, float]) -> None:
    """With the mouse, from one share of the picture to another, in steps as a hand does it."""
    canvas.scroll_into_view_if_needed()
    expect(canvas.locator("img")).to_have_js_property("complete", True)
    box = canvas.bounding_box()
    assert box is not None
    assert box["height"] > 100

    def at(share: tuple[float, float]) -> tuple[float, float]:
        return box["x"] + share[0] * box["width"], box["y"] + share[1] * box["height"]

    page.mouse.move(*at(start))
    page.mouse.down()
    page.mouse.move(*at(((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)))
    page.mouse.move(*at(end))
    page.mouse.up()


def numbers(field: Locator) -> list[list[float]]:
    return [[float(part) for part in line.split()] for line in field.input_value().splitlines()]


def covers(line: list[float], region: tuple[float, ...]) -> bool:
    """Nothing of the region is left out, and no more than half a percent is taken beside it."""
    left, top, right, bottom = line[0], line[1], line[0] + line[2], line[1] + line[3]
    wanted = region[0], region[1], region[0] + region[2], region[1] + region[3]
    inside = left <= wanted[0] and top <= wanted[1] and right >= wanted[2] and bottom >= wanted[3]
    return inside and max(wanted[0] - left, wanted[1] - top, right - wanted[2], bottom - wanted[3]) < 0.5


def flat_pictures(pdf: bytes, region: tuple[float, ...]) -> int:
    """How many pictures of a PDF are one dark colour in all of the region."""
    found = 0
    with pikepdf.Pdf.open(io.BytesIO(pdf)) as opened:
        images = [item for item in opened.objects if isinstance(item, pikepdf.Stream)]
        for image in images:
            if image.get("/Subtype") != "/Image":
                continue
            grey = np.asarray(pikepdf.PdfImage(image).as_pil_image().convert("L"))
            high, wide = grey.shape
            left, top, width, height = (share / 100 for share in region)
            rows = slice(round(top * high), round((top + height) * high))
            part = grey[rows, round(left * wide) : round((left + width) * wide)].astype(int)
            found += part.size > 100 and bool((abs(part - DARK) < 12).all())
    return found


def built() -> None:
    try:
        work_off()
    finally:
        connection.close()


@pytest.fixture
def page_of(day: PlayedDay, reader: Callable[[str], Reader]) -> Iterator[tuple[Reader, Page]]:
    manager = reader("pvantongeren")
    page = manager.open(f"/packets/{day.packet.id}/redaction", size=DESK)
    yield manager, page
    assert manager.faults == []


def test_what_is_drawn_and_typed_becomes_lines_of_the_field(page_of: tuple[Reader, Page]) -> None:
    _, page = page_of
    first = page.locator("[data-redact]").first
    canvas, field = first.locator(".canvas"), first.locator("textarea")
    regions = canvas.locator(".region")
    drag(page, canvas, (0.45, 0.55), (0.20, 0.30))
    assert len(numbers(field)) == 1
    assert covers(numbers(field)[0], DRAWN)
    expect(regions).to_have_count(1)
    # A click is no region; a line beyond the edge ends at it.
    drag(page, canvas, (0.7, 0.7), (0.7, 0.7))
    expect(regions).to_have_count(1)
    drag(page, canvas, (0.8, 0.9), (1.02, 1.01))
    assert numbers(field)[1][0] + numbers(field)[1][2] == 100
    assert numbers(field)[1][1] + numbers(field)[1][3] == 100
    expect(regions).to_have_count(2)
    field.fill("")
    expect(regions).to_have_count(0)
    field.focus()
    page.keyboard.type("10 20 30 40")
    expect(regions).to_have_count(1)
    box, frame = regions.bounding_box(), canvas.bounding_box()
    assert box is not None
    assert frame is not None
    shares = [
        (box["x"] - frame["x"]) / frame["width"], (box["y"] - frame["y"]) / frame["height"],
        box["width"] / frame["width"], box["height"] / frame["height"],
    ]  # fmt: skip
    assert shares == pytest.approx([0.1, 0.2, 0.3, 0.4], abs=0.01)
    # What is not yet four numbers shows nothing, and is not sent as if it did.
    page.keyboard.press("Enter")
    page.keyboard.type("5 5 x 5")
    expect(regions).to_have_count(1)
    page.fill("#why", "The owner's things are in view.")
    page.get_by_role("button", name="Look at what follows").press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("A region is four numbers")
    assert page.locator("[data-redact] textarea").first.input_value().splitlines() == [
        "10 20 30 40",
        "5 5 x 5",
    ]
    page_of[0].faults.clear()


def test_the_packet_is_painted_where_it_was_drawn_and_typed(
    day: PlayedDay, page_of: tuple[Reader, Page]
) -> None:
    _, page = page_of
    pictures = page.locator("[data-redact]")
    drag(page, pictures.nth(0).locator(".canvas"), (0.20, 0.30), (0.45, 0.55))
    pictures.nth(1).locator("textarea").focus()
    page.keyboard.type("50 10 45 50")
    page.locator("#why").focus()
    page.keyboard.type("The owner's things are in view.")
    page.get_by_role("button", name="Look at what follows").press("Enter")
    expect(page.get_by_role("heading", name="What will be withheld")).to_be_visible()
    # What was drawn is still there, and is sealed by keys alone.
    expect(pictures.nth(0).locator(".region")).to_have_count(1)
    page.get_by_role("button", name="Seal the redacted packet").press("Enter")
    expect(page.get_by_text("is being built")).to_be_visible()
    # In a thread of its own: the browser's driver runs a loop in this one, and signing wants to run one too.
    with ThreadPoolExecutor(max_workers=1) as worker:
        worker.submit(built).result()
    with unscoped():
        sealed = Packet.objects.get(pk=day.packet.id)
        made = Packet.objects.get(kind="redacted", redaction__of=sealed)
    assert made.state == "sealed", made.failure_message
    assert made.merkle_root == sealed.merkle_root
    before, after = storage.read(sealed.pdf_sha256), storage.read(made.pdf_sha256)
    for region in (DRAWN, TYPED):
        assert flat_pictures(before, region) == 0
        assert flat_pictures(after, region) == 1, region
    page.reload()
    expect(page.get_by_text(made.serial).first).to_be_visible()
